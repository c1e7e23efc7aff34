package virtual

import (
	"fmt"
	"strings"

	"bandproof/procedures/quantity"
)

// Fault is one fault of the catalogue with its parameters, as a scenario or a
// command line states it. Which parameters a fault takes is told by [Catalogue].
type Fault struct {
	Name       string `toml:"name"`
	Instrument string `toml:"instrument,omitempty"` // the counter unless stated, or the only source
	Input      string `toml:"input,omitempty"`      // every input unless stated
	Amount     string `toml:"amount,omitempty"`     // how much, in the fault's own unit
	Reply      string `toml:"reply,omitempty"`      // only replies to messages that hold this text
	Stage      string `toml:"stage,omitempty"`      // of a fault "stage": which one
	Mode       string `toml:"mode,omitempty"`       // of a fault "stage": in which way, see Bench.Stages

	From *quantity.Frequency `toml:"from,omitempty"` // only at and above this frequency, as set
	To   *quantity.Frequency `toml:"to,omitempty"`   // only at and below

	Probability *quantity.Ratio       `toml:"probability,omitempty"` // at each gate, try or reply; always unless stated
	After       *quantity.Duration    `toml:"after,omitempty"`       // only once powered for this long
	Until       *quantity.Duration    `toml:"until,omitempty"`       // only until powered for this long
	Above       *quantity.Temperature `toml:"above,omitempty"`       // only in a room at least this warm
	Below       *quantity.Temperature `toml:"below,omitempty"`       // only in a room at most this warm
}

// ParseFault reads "deaf:input=B,amount=6 dB,from=1 GHz". The keys are those of
// a [[fault]] table. Whether they fit the fault is checked by [Bench.SetFaults].
func ParseFault(text string) (Fault, error) {
	name, rest, _ := strings.Cut(text, ":")
	f := Fault{Name: strings.TrimSpace(name)}
	if f.Name == "" {
		return f, fmt.Errorf("fault %q has no name; expected such as \"deaf:input=B,amount=6 dB\"", text)
	}
	for part := range strings.SplitSeq(rest, ",") {
		if strings.TrimSpace(part) == "" {
			continue
		}
		key, value, ok := strings.Cut(part, "=")
		if !ok {
			return f, fmt.Errorf("fault %s: %q is not key=value", f.Name, part)
		}
		if err := f.set(strings.TrimSpace(key), strings.TrimSpace(value)); err != nil {
			return f, fmt.Errorf("fault %s: %w", f.Name, err)
		}
	}
	return f, nil
}

func (f *Fault) set(key, value string) error {
	var err error
	switch key {
	case "instrument":
		f.Instrument = value
	case "input":
		f.Input = value
	case "amount":
		f.Amount = value
	case "reply":
		f.Reply = value
	case "stage":
		f.Stage = value
	case "mode":
		f.Mode = value
	case "from":
		f.From, err = parsed[quantity.Hertz](value)
	case "to":
		f.To, err = parsed[quantity.Hertz](value)
	case "probability":
		f.Probability, err = parsed[quantity.One](value)
	case "after":
		f.After, err = parsed[quantity.Second](value)
	case "until":
		f.Until, err = parsed[quantity.Second](value)
	case "above":
		f.Above, err = parsed[quantity.Celsius](value)
	case "below":
		f.Below, err = parsed[quantity.Celsius](value)
	default:
		return fmt.Errorf("unknown key %q; known are instrument, input, stage, mode, amount, reply, from, to, probability, after, until, above, below", key)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", key, err)
	}
	return nil
}

func parsed[D quantity.Dimension](text string) (*quantity.Value[D], error) {
	v, err := quantity.Parse[D](text)
	if err != nil {
		return nil, err
	}
	return &v, nil
}

// String writes what ParseFault reads.
func (f Fault) String() string {
	var parts []string
	add := func(key, value string) { parts = append(parts, key+"="+value) }
	for _, p := range []struct{ key, value string }{{"instrument", f.Instrument}, {"input", f.Input}, {"stage", f.Stage}, {"mode", f.Mode}, {"amount", f.Amount}, {"reply", f.Reply}} {
		if p.value != "" {
			add(p.key, p.value)
		}
	}
	addIf("from", f.From, add)
	addIf("to", f.To, add)
	addIf("probability", f.Probability, add)
	addIf("after", f.After, add)
	addIf("until", f.Until, add)
	addIf("above", f.Above, add)
	addIf("below", f.Below, add)
	if len(parts) == 0 {
		return f.Name
	}
	return f.Name + ":" + strings.Join(parts, ",")
}

func addIf[D quantity.Dimension](key string, v *quantity.Value[D], add func(key, value string)) {
	if v != nil {
		add(key, v.String())
	}
}

// fault is a Fault that has been checked.
type fault struct {
	Fault
	kind   kind
	amount amount
	index  int    // tells two faults of one name apart in the draws
	stage  *stage // of a fault of a stage
	mode   stageMode
}

// occasion is where and when a fault might show.
type occasion struct {
	instrument string
	input      string
	message    string
	f          float64 // frequency as set, 0 if none
	powered    float64 // s
	ambient    float64 // °C
	draw       draw
	at         *input // with the signal that it sees, where a counter counts
	signal     signal
}

// active tells whether the fault shows on an occasion.
func (f *fault) active(o occasion) bool {
	if !f.applies(o) {
		return false
	}
	p := f.chance()
	return p >= 1 || o.draw.uniform(f.purpose()) < p
}

// chance is how likely the fault shows on an occasion that it applies to.
func (f *fault) chance() float64 {
	p := 1.0
	if f.Probability != nil {
		p = f.Probability.Float()
	}
	if f.mode.chance {
		p *= f.amount.x
	}
	return p
}

// applies tells whether the fault can show on an occasion.
func (f *fault) applies(o occasion) bool {
	switch {
	case f.Instrument != o.instrument,
		f.Input != "" && f.Input != o.input,
		f.Reply != "" && !strings.Contains(strings.ToUpper(o.message), strings.ToUpper(f.Reply)),
		f.From != nil && o.f < f.From.Float(),
		f.To != nil && o.f > f.To.Float(),
		f.After != nil && o.powered < f.After.Float(),
		f.Until != nil && o.powered > f.Until.Float(),
		f.Above != nil && o.ambient < f.Above.Float(),
		f.Below != nil && o.ambient > f.Below.Float():
		return false
	}
	return true
}

// purpose names the fault's own draws.
func (f *fault) purpose() string { return fmt.Sprintf("fault %d %s", f.index, f.Name) }
