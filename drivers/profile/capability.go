package profile

import (
	"math"
	"time"

	"bandproof/procedures/quantity"
)

// Capability is what a plan has to know of an instrument, as plain values.
type Capability struct {
	Role string `json:"role"`

	// Counters.
	Inputs  []string            `json:"inputs,omitempty"` // known names; empty: any is taken as it is
	Gates   []quantity.Duration `json:"gates,omitempty"`  // the only gate times, shortest first; empty: any
	Discard int                 `json:"discard"`          // readings to throw away after a change
	// Overhead is what a reading takes beyond its gate.
	Overhead             quantity.Duration `json:"overhead"`
	GateLengthened       bool              `json:"gate_lengthened"`         // by the prescaler
	DisplayAndReplyAgree bool              `json:"display_and_reply_agree"` // a coarse reply is the unit's fault
	ZeroIsNoCount        bool              `json:"zero_is_no_count"`

	// InputByHand and GateByHand: a person sets it at the front panel.
	InputByHand bool `json:"input_by_hand,omitempty"`
	GateByHand  bool `json:"gate_by_hand,omitempty"`

	// Sources.
	Settle              quantity.Duration  `json:"settle"`               // after each set
	FrequencyResolution quantity.Frequency `json:"frequency_resolution"` // smallest step
	LevelResolution     quantity.Gain      `json:"level_resolution"`     // smallest step

	// Switches.
	Positions []string `json:"positions,omitempty"` // their names

	// Power meters and thermometers.
	Zeroes        bool `json:"zeroes,omitempty"`
	Corrects      bool `json:"corrects,omitempty"` // wants to know the frequency
	TellsHumidity bool `json:"tells_humidity,omitempty"`

	TellsIdentity  bool `json:"tells_identity"`
	TellsLock      bool `json:"tells_lock"`
	TellsReference bool `json:"tells_reference"`
	TellsErrors    bool `json:"tells_errors"`
	SelfTests      bool `json:"self_tests"`
}

// Capability returns what a plan has to know of the instrument.
func (p *Profile) Capability() Capability {
	f := &p.file
	c := Capability{
		Role:          f.Role,
		Inputs:        p.inputs(),
		Discard:       p.discard(),
		TellsIdentity: f.Identify != nil, TellsLock: f.Lock != nil,
		TellsReference: f.Reference != nil, TellsErrors: f.Errors != nil, SelfTests: f.SelfTest != nil,
	}
	c.Zeroes, c.Corrects, c.TellsHumidity = f.Zero != nil, f.Correction != nil, f.Humidity != nil
	if f.Route != nil {
		c.Positions = sortedKeys(f.Route.Map)
	}
	c.InputByHand = f.Input != nil && f.Input.ByHand
	c.GateByHand = f.Gate != nil && f.Gate.ByHand
	for _, g := range p.gates {
		c.Gates = append(c.Gates, g.gate)
	}
	if r := f.Read; r != nil {
		c.Overhead = or(r.Overhead, quantity.Duration{})
		c.GateLengthened, c.DisplayAndReplyAgree, c.ZeroIsNoCount = r.GateLengthened, r.DisplayAndReplyAgree, r.ZeroIsNoCount
	}
	if f.Settle != nil {
		c.Settle = f.Settle.Time
	}
	if f.Frequency != nil {
		c.FrequencyResolution = f.Frequency.Resolution
	}
	if f.Level != nil {
		c.LevelResolution = f.Level.Resolution
	}
	return c
}

func (p *Profile) inputs() []string {
	if p.file.Input == nil {
		return nil
	}
	return sortedKeys(p.file.Input.Map)
}

// discard is one full gate unless the profile says otherwise: the gate that
// was open when the signal changed. An instrument that talks by itself may hold
// a reading back besides while it sends the one before.
func (p *Profile) discard() int {
	if p.file.Role != RoleCounter {
		return 0
	}
	if p.file.Read.Talks {
		return or(p.file.Read.Discard, 2)
	}
	return or(p.file.Read.Discard, 1)
}

// or returns what the file states, else the default.
func or[T any](stated *T, otherwise T) T {
	if stated == nil {
		return otherwise
	}
	return *stated
}

// clock turns an exact duration into one of the clock, rounded up so that
// nothing is ever waited for too shortly.
func clock(d quantity.Duration) time.Duration {
	ns := math.Ceil(d.Float() * float64(time.Second))
	switch {
	case ns <= 0:
		return 0
	case ns >= math.MaxInt64/2:
		return math.MaxInt64 / 2
	}
	return time.Duration(ns)
}

// clockOr is clock of a stated duration, else the default.
func clockOr(stated *quantity.Duration, otherwise time.Duration) time.Duration {
	if stated == nil {
		return otherwise
	}
	return clock(*stated)
}
