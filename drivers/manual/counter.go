package manual

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
)

// counter plays drivers.Counter, drivers.Expecter and drivers.ByHand.
type counter struct {
	hand
	input  string
	gate   Gate
	set    bool // input and gate were set by the person
	expect drivers.Expectation
	since  time.Time       // when the signal last changed
	taken  int             // readings since
	last   drivers.Reading // the last one that is a number, at this setting
	at     time.Time       // of the last entry
	stands bool            // what looked like a slip was entered twice at this setting
	coarse map[string]bool // digits that were entered twice, by input and gate
}

// OpenCounter returns a counter that a person reads. Nothing is asked yet.
//
// After each change of the signal it waits for two gates before it asks, and
// between readings for one. The reading to discard is what the first that counts
// is compared with, so that a slip is noticed there too.
func OpenCounter(o Opening) (drivers.Counter, error) {
	h, err := newHand(o, "counter")
	if err != nil {
		return nil, err
	}
	// By then the display may show the next count: what it did show is asked for.
	h.insist = "if the display did show it, enter the same again, whatever it shows by now"
	return &counter{hand: h, coarse: map[string]bool{}}, nil
}

// Discard implements drivers.Counter; see OpenCounter.
func (c *counter) Discard() int { return 1 }

// Recover has nothing to clear: no answer comes late from a display.
func (c *counter) Recover(ctx context.Context) error { return ctx.Err() }

// Close has nothing to end.
func (c *counter) Close() error { return nil }

const whenDone = "press Enter when it is so"

// SelectInput has the person select an input.
func (c *counter) SelectInput(ctx context.Context, input string) error {
	return c.act(ctx, "select input "+input, func(ctx context.Context) error {
		name := input
		if len(c.Panel.Inputs) > 0 {
			var ok bool
			if name, ok = c.Panel.Inputs[input]; !ok {
				known := make([]string, 0, len(c.Panel.Inputs))
				for k := range c.Panel.Inputs {
					known = append(known, k)
				}
				slices.Sort(known)
				return fmt.Errorf("no such input on the panel; the bench file knows %s", strings.Join(known, ", "))
			}
		}
		if c.input == input {
			return nil
		}
		c.input = ""
		if err := c.done(ctx, "select input "+name); err != nil {
			return err
		}
		c.input = input
		return nil
	})
}

// done asks until Enter is pressed or a yes is given.
func (h *hand) done(ctx context.Context, do string) error {
	q := Question{Do: do, Answer: whenDone}
	for {
		text, err := h.ask(ctx, q)
		if err != nil {
			return err
		}
		switch strings.ToLower(text) {
		case "", "y", "yes", "done":
			return nil
		}
		q.Wrong = "that was not asked; " + whenDone
	}
}

// SetGate has the person set the gate, and takes it as set.
func (c *counter) SetGate(ctx context.Context, gate quantity.Duration) (quantity.Duration, error) {
	err := c.act(ctx, "set the gate to "+gate.String(), func(ctx context.Context) error {
		g, err := c.Panel.gate(gate)
		if err != nil || c.set && c.gate.Time.Cmp(gate) == 0 {
			return err
		}
		c.set = false
		do := "set the gate to " + gate.String()
		if g.Position != "" {
			do += " (position " + g.Position + ")"
		}
		if err := c.done(ctx, do); err != nil {
			return err
		}
		c.gate, c.set = g, true
		c.Expect(drivers.Expectation{})
		return nil
	})
	return gate, err
}

// Expect implements drivers.Expecter.
func (c *counter) Expect(e drivers.Expectation) {
	c.expect, c.since, c.taken, c.stands = e, c.Clock.Now(), 0, false
	if !rfIsOff(e) {
		c.last = drivers.Reading{}
	}
}

// rfIsOff tells an expectation of nothing from none.
func rfIsOff(e drivers.Expectation) bool { return e.Frequency.Sign() <= 0 && e.Input != "" }

// Read asks for one reading.
func (c *counter) Read(ctx context.Context) (drivers.Reading, error) {
	var got drivers.Reading
	err := c.act(ctx, "read the display", func(ctx context.Context) (err error) {
		got, err = c.read(ctx)
		return err
	})
	return got, err
}

// longGate is from when on a person is told that there is something to wait for.
const longGate = 5 * time.Second

func (c *counter) read(ctx context.Context) (drivers.Reading, error) {
	if !c.set {
		return drivers.Reading{}, errors.New("no gate time is set; set one first")
	}
	if err := c.newCount(ctx); err != nil {
		return drivers.Reading{}, err
	}
	off := rfIsOff(c.expect)
	same := off && c.last.Frequency.Sign() > 0
	e, err := enter(ctx, &c.hand, c.question(off, same), func(text string) (drivers.Reading, error) { return c.understand(text, same) }, c.wrong,
		func(r drivers.Reading) string { return string(r.Mark) + r.Frequency.Decimal().Text('e') })
	if err != nil {
		return drivers.Reading{}, err
	}
	r := e.value
	r.Text, r.Twice, r.Questioned = e.text, e.twice, e.questioned
	r.At, r.By = c.Clock.Now(), c.By()
	c.at, c.taken = r.At, c.taken+1
	if r.Mark == drivers.None && !off {
		c.remember(r)
	}
	return r, nil
}

// remember keeps what the next readings are compared with, and what the person
// has insisted on.
func (c *counter) remember(r drivers.Reading) {
	c.last = r
	if r.Twice {
		c.stands = c.stands || slip(c.expect, c.Panel, r.Frequency) != ""
		c.coarse[c.digitsKey(r.Frequency)] = digits(c.expect, c.Panel, c.gate, r.Frequency) != ""
	}
}

// newCount waits until what the display shows must have been counted since the
// signal changed, and since the last reading.
func (c *counter) newCount(ctx context.Context) error {
	gate := time.Duration(c.gate.Time.Float() * float64(time.Second))
	ready := c.at.Add(gate)
	if x := c.since.Add(2*gate + time.Duration(c.Panel.Settle.Float()*float64(time.Second))); x.After(ready) {
		ready = x
	}
	wait := ready.Sub(c.Clock.Now())
	if wait >= longGate {
		c.Person.Tell(fmt.Sprintf("counter: wait %s, the display must count anew", wait.Round(time.Second)))
	}
	return c.Clock.Sleep(ctx, max(wait, 0))
}

func (c *counter) question(off, same bool) Question {
	unit := "with its unit"
	if c.Panel.Unit != "" {
		unit = "in " + c.Panel.Unit
	}
	if off {
		q := Question{Do: "RF is off: what does the display show now?", Answer: "type it " + unit + `, "-" where it counts nothing`}
		if c.taken > 0 {
			q.Do = "RF is still off: and a count later?"
		}
		if same {
			q.Answer += `, "same" where it still shows ` + typed(c.Panel, c.last.Frequency)
		}
		return q
	}
	if n, known := c.Panel.places(c.gate.Resolution); known {
		unit += fmt.Sprintf(" with %d decimals", n)
	}
	if c.taken > 0 {
		return Question{Do: fmt.Sprintf("reading %d: read the next new count", c.taken+1), Answer: unit}
	}
	return Question{Do: fmt.Sprintf("input %s, gate %s: read the display", c.input, c.gate.Time),
		Answer: "type every digit " + unit + `, "-" for no count, "over" for overflow`}
}

// understand reads one entry: a frequency, or what stands for none.
func (c *counter) understand(text string, same bool) (drivers.Reading, error) {
	switch strings.ToLower(strings.Join(strings.Fields(text), " ")) {
	case "-", "--", "---", "\u2212", "\u2013", "none", "no count", "nothing":
		return drivers.Reading{Mark: drivers.NoSignal}, nil
	case "over", "overflow", "over-range":
		return drivers.Reading{Mark: drivers.OverRange}, nil
	case "same":
		if same {
			return drivers.Reading{Frequency: c.last.Frequency}, nil
		}
		return drivers.Reading{}, fmt.Errorf("%w: type the digits of each reading, also where they are the same", quantity.ErrSyntax)
	}
	f, err := quantity.ParseEntry[quantity.Hertz](text, c.Panel.Unit)
	if err == nil && f.Sign() < 0 {
		err = fmt.Errorf("%w: a frequency can't be negative", quantity.ErrSyntax)
	}
	return drivers.Reading{Frequency: f}, err
}

// wrong says what makes an entry look like a slip, or "".
func (c *counter) wrong(r drivers.Reading) string {
	f := r.Frequency
	if r.Mark != drivers.None || f.Sign() <= 0 || c.expect.Frequency.Sign() <= 0 {
		return ""
	}
	if why := slip(c.expect, c.Panel, f); why != "" {
		if c.stands && c.apart(f).Cmp(c.expect.Scatter) <= 0 {
			return c.digits(f) // that is what the unit shows at this setting
		}
		return why
	}
	if why := c.digits(f); why != "" {
		return why
	}
	if c.last.Frequency.Sign() > 0 && c.expect.Scatter.Sign() > 0 && c.apart(f).Cmp(c.expect.Scatter) > 0 {
		return fmt.Sprintf("%s lies %s from the reading before, more than a steady signal explains", typed(c.Panel, f), about(c.apart(f)))
	}
	return ""
}

func (c *counter) apart(f quantity.Frequency) quantity.Exact {
	return f.Exact().Sub(c.last.Frequency.Exact()).Abs()
}

// digits questions digits left out or too many, once at each input and gate.
func (c *counter) digits(f quantity.Frequency) string {
	if c.coarse[c.digitsKey(f)] {
		return ""
	}
	return digits(c.expect, c.Panel, c.gate, f)
}

func (c *counter) digitsKey(f quantity.Frequency) string {
	return fmt.Sprintf("%s %s %d", c.input, c.gate.Time, f.Decimal().Exponent)
}
