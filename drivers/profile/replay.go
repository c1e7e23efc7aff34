package profile

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
)

// Played is an example as it went when it was played through the profile.
type Played struct {
	File    string   `json:"file"`
	Line    int      `json:"line"`
	Do      string   `json:"do"`
	With    string   `json:"with,omitempty"`
	Gives   string   `json:"gives,omitempty"`
	Problem *Problem `json:"problem,omitempty"` // nil: it passed
}

// Problem is where an example and what the program does part.
type Problem struct {
	Line int    `json:"line"`
	Key  string `json:"key"`            // as a person would say it: example[3].exchange[1].send
	Byte int    `json:"byte,omitempty"` // of the message, the first is 1; 0 where no byte is meant
	Text string `json:"text"`
}

// String says all of it but the file.
func (p Problem) String() string {
	return fmt.Sprintf("%d: %s: %s", p.Line, p.Key, p.Text)
}

// ErrNoExamples: the profile shows nothing that could be played.
var ErrNoExamples = errors.New("the profile carries no [[example]]")

// Replay plays the conversation that the profile carries through its driver,
// byte for byte, and returns how each example went, in order. After the first
// that did not pass nothing is played any more: the conversation has ended
// there. No time passes.
func (p *Profile) Replay(ctx context.Context) ([]Played, error) {
	if len(p.file.Examples) == 0 {
		return nil, fmt.Errorf("%w; give one conversation, from open to close, from the instrument's manual", ErrNoExamples)
	}
	s := &stage{profile: p}
	var instrument drivers.Instrument
	played := make([]Played, 0, len(p.file.Examples))
	for i, e := range p.file.Examples {
		s.begin(i)
		text, err := "", error(nil)
		if i == 0 {
			instrument, err = p.open(ctx, Opening{Name: p.file.Name, Link: s, Interlock: anyLevel{}, Clock: noTime{},
				ByHand: func(context.Context, string) error { return nil }})
		} else {
			text, err = e.Perform(ctx, instrument)
		}
		if err != nil {
			text = ""
		}
		file, line, _ := p.document.Where(fmt.Sprintf("example[%d]", i))
		one := Played{File: file, Line: line, Do: e.Do, With: e.With, Gives: text, Problem: s.finish(e, text, err)}
		played = append(played, one)
		if one.Problem != nil || ctx.Err() != nil {
			break
		}
	}
	s.over = true
	if instrument != nil {
		_ = instrument.Close() // nothing is said on the stage any more
	}
	return played, ctx.Err()
}

// open opens the instrument by its role.
func (p *Profile) open(ctx context.Context, o Opening) (drivers.Instrument, error) {
	switch p.file.Role {
	case RoleCounter:
		return noNil(p.OpenCounter(ctx, o))
	case RoleSwitch:
		return noNil(p.OpenSwitch(ctx, o))
	case RolePowerMeter:
		return noNil(p.OpenPowerMeter(ctx, o))
	case RoleThermometer:
		return noNil(p.OpenThermometer(ctx, o))
	}
	return noNil(p.OpenSource(ctx, o))
}

// noNil keeps an interface that holds nothing from looking like an instrument.
func noNil[I drivers.Instrument](i I, err error) (drivers.Instrument, error) {
	if err != nil {
		return nil, err
	}
	return i, nil
}

// anyLevel is an interlock where nothing can be damaged.
type anyLevel struct{}

func (anyLevel) Permit(string, quantity.Level) error { return nil }

// noTime is a clock on which pauses take no time.
type noTime struct{ drivers.WallClock }

func (noTime) Sleep(ctx context.Context, _ time.Duration) error { return ctx.Err() }
