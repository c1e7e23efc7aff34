package manual

import (
	"fmt"
	"strings"
	"time"

	"bandproof/procedures/quantity"

	"github.com/cockroachdb/apd/v3"
)

// Panel is what there is to see and to turn on the front of an instrument. The
// zero value is one of which nothing is known: each entry needs its unit.
type Panel struct {
	// Unit of the display, such as "MHz", for entries without one; "" for none.
	Unit string
	// Gates are the positions of the gate switch; empty: any.
	Gates []Gate
	// Inputs says what the panel calls each input; empty: as the procedure does.
	Inputs map[string]string
	// Step of the frequency setting; zero: not known.
	Step quantity.Frequency
	// LevelStep is the step of the level setting in dB.
	LevelStep float64
	// RFOff says how RF is switched off: "key RF ON/OFF, lamp out".
	RFOff string
	// LockLamp and ReferenceLamp name what shows that a source is locked, and
	// that it runs from its external reference; "" where nothing does.
	LockLamp, ReferenceLamp string
	// Settle is how long after a change the signal must not be trusted.
	Settle quantity.Duration
	// Wait is the longest wait for an answer; 0: as long as the context allows.
	Wait time.Duration
}

// Gate is one position of the gate switch.
type Gate struct {
	Time     quantity.Duration
	Position string // what stands there; "" for the time itself
	// Resolution is the last digit of the display there; zero: one count.
	Resolution quantity.Frequency
}

// gate finds a position; any time will do where none are stated.
func (p Panel) gate(t quantity.Duration) (Gate, error) {
	if t.Sign() <= 0 {
		return Gate{}, fmt.Errorf("%s is no gate time; expected above zero", t)
	}
	known := make([]string, 0, len(p.Gates))
	for _, g := range p.Gates {
		if g.Time.Cmp(t) == 0 {
			return g, nil
		}
		known = append(known, g.Time.String())
	}
	if len(known) > 0 {
		return Gate{}, fmt.Errorf("no such gate position; the bench file knows %s", strings.Join(known, ", "))
	}
	return Gate{Time: t}, nil
}

// show writes a frequency as the display would: in its unit, to its step.
func (p Panel) show(f quantity.Frequency) string {
	if p.Step.Sign() > 0 {
		step := p.Step.Trimmed().Decimal()
		var r apd.Decimal
		// Where the value is finer than the step it is shown with all digits.
		if c, err := apd.BaseContext.WithPrecision(100).Quantize(&r, f.Decimal(), step.Exponent); err == nil && !c.Inexact() {
			f = quantity.New[quantity.Hertz](&r)
		}
	}
	if p.Unit == "" {
		return blanks(f.Grouped())
	}
	return blanks(quantity.Group(f.In(p.Unit))) + " " + p.Unit
}

// blanks are what every terminal shows and what can be typed.
func blanks(text string) string {
	return strings.NewReplacer("\u202f", " ", "\u2212", "-").Replace(text)
}

// places are the decimals of a display in this unit that resolves to step.
func (p Panel) places(step quantity.Frequency) (n int, known bool) {
	if p.Unit == "" || step.Sign() <= 0 {
		return 0, false
	}
	_, fraction, _ := strings.Cut(step.Trimmed().In(p.Unit), ".")
	return len(fraction), true
}
