package procedures

import (
	"fmt"

	"bandproof/procedures/quantity"
)

// Prompts says how long a question waits for the person at the bench, and what
// happens then.
type Prompts struct {
	Timeout   *quantity.Duration `toml:"timeout,omitempty" json:"timeout,omitempty" jsonschema_description:"How long a question waits for its answer; without end unless stated. An instrument that a person works may state its own."`
	OnTimeout string             `toml:"on_timeout,omitempty" json:"on_timeout,omitempty" jsonschema:"enum=wait,enum=skip,enum=stop" jsonschema_description:"What happens then. wait (unless stated): it goes on waiting; skip: the input is offered once more at the end of the run, then not judged; stop: RF off, and the run ends so that it can be resumed."`
	TellAfter *quantity.Duration `toml:"tell_after,omitempty" json:"tell_after,omitempty" jsonschema_description:"How long a question waits before somebody is told of it, and then at growing intervals; 1 min unless stated."`
}

// What happens when nobody answers.
const (
	WaitOn   = "wait"
	SkipIt   = "skip"
	StopThen = "stop"
)

// Then is what happens at the time-out.
func (p Prompts) Then() string {
	if p.OnTimeout == "" {
		return WaitOn
	}
	return p.OnTimeout
}

// Telling is how long a question waits before somebody is told.
func (p Prompts) Telling() quantity.Duration {
	if p.TellAfter == nil {
		return quantity.Of[quantity.Second](60, 0)
	}
	return *p.TellAfter
}

// Check lists what is wrong, by key.
func (p Prompts) Check() (wrong []Wrong) {
	between := func(key string, d *quantity.Duration) {
		low, high := quantity.MustParse[quantity.Second]("1 s"), quantity.MustParse[quantity.Second]("7 d")
		if d != nil && (d.Cmp(low) < 0 || d.Cmp(high) > 0) {
			wrong = append(wrong, Wrong{key, fmt.Sprintf("is %s; expected %s to %s", d, low, high)})
		}
	}
	between("timeout", p.Timeout)
	between("tell_after", p.TellAfter)
	switch p.Then() {
	case WaitOn:
	case SkipIt, StopThen:
		if p.Timeout == nil {
			wrong = append(wrong, Wrong{"on_timeout", "is " + p.OnTimeout + ", but no timeout says when; give timeout, such as \"30 min\""})
		}
	default:
		wrong = append(wrong, Wrong{"on_timeout", fmt.Sprintf("is %q; expected one of wait, skip, stop", p.OnTimeout)})
	}
	return wrong
}
