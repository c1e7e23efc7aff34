package profile

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
)

// actionTable says which table of the file an action of an example needs.
var actionTable = map[string]string{
	"identify": "identify", "input": "input", "gate": "gate", "read": "read", "self_test": "self_test",
	"rf_off": "rf_off", "rf_on": "rf_on", "frequency": "frequency", "level": "level", "lock": "lock",
	"route": "route", "position": "position", "correction": "correction", "measure": "measure", "zero": "zero",
	"temperature": "temperature", "humidity": "humidity", "reference": "reference", "errors": "errors",
}

// examples checks the conversation that the profile carries.
func (c *checker) examples() {
	for i, e := range c.file.Examples {
		at := fmt.Sprintf("example[%d]", i)
		c.example(at, i, e)
	}
}

func (c *checker) example(at string, i int, e Example) {
	table, known := actionTable[e.Do]
	switch {
	case i == 0 && e.Do != "open" && c.Has(at+".do"):
		c.Add(at+".do", "is %q; the first example must be \"open\"", e.Do)
	case e.Do == "open" && i > 0:
		c.Add(at+".do", "is \"open\" once more; the examples are one conversation")
	case e.Do == "open" || e.Do == "close" || !c.Has(at+".do"):
	case !known:
		c.Add(at+".do", "is %q; expected open, close or one of %s", e.Do, strings.Join(sortedKeys(actionTable), ", "))
	case !c.Has(table):
		c.Add(at+".do", "is %q, but the profile has no [%s]", e.Do, table)
	}
	if err := e.argument(); err != nil {
		c.Add(at+".with", "%s", strings.TrimPrefix(err.Error(), "not a quantity: "))
	}
	for j, x := range e.Exchange {
		if why := x.mistake(); why != "" {
			c.Add(fmt.Sprintf("%s.exchange[%d]", at, j), "%s", why)
		}
	}
}

// argument checks what the action is asked for.
func (e Example) argument() error {
	var err error
	switch e.Do {
	case "gate":
		_, err = quantity.Parse[quantity.Second](e.With)
	case "frequency", "correction":
		_, err = quantity.Parse[quantity.Hertz](e.With)
	case "level":
		_, err = quantity.ParseLevel(e.With)
	case "input", "route":
		if strings.TrimSpace(e.With) == "" {
			err = fmt.Errorf("is empty; expected the name of an input or a position")
		}
	default:
		if e.With != "" {
			err = fmt.Errorf("has no meaning with %q", e.Do)
		}
	}
	return err
}

// Perform does the action of an example on an instrument that was opened from
// the profile, and returns what it gave, as the program prints it. "open" does
// nothing: it is done by then.
func (e Example) Perform(ctx context.Context, instrument drivers.Instrument) (string, error) {
	switch e.Do {
	case "open":
		return "", nil
	case "close":
		return "", instrument.Close()
	case "identify":
		id, err := instrument.Identify(ctx)
		return strings.Join([]string{id.Maker, id.Model, id.Serial, id.Firmware}, "|"), err
	}
	if text, err, done := e.performAbility(ctx, instrument); done {
		return text, err
	}
	if text, err, done := e.performDevice(ctx, instrument); done {
		return text, err
	}
	switch i := instrument.(type) {
	case drivers.Counter:
		return e.performCounter(ctx, i)
	case drivers.Source:
		return e.performSource(ctx, i)
	}
	return "", fmt.Errorf("%s has none of the roles of a profile", instrument.Name())
}

func (e Example) performAbility(ctx context.Context, instrument drivers.Instrument) (text string, err error, done bool) {
	switch e.Do {
	case "lock":
		if i, ok := instrument.(drivers.LockReporter); ok {
			locked, err := i.Locked(ctx)
			return map[bool]string{true: wordLocked, false: wordUnlocked}[locked], err, true
		}
	case "reference":
		if i, ok := instrument.(drivers.ReferenceReporter); ok {
			text, err := i.Reference(ctx)
			return text, err, true
		}
	case "errors":
		if i, ok := instrument.(drivers.ErrorQueue); ok {
			list, err := i.Errors(ctx)
			return strings.Join(list, "|"), err, true
		}
	case "self_test":
		if i, ok := instrument.(drivers.SelfTester); ok {
			text, passed, err := i.SelfTest(ctx)
			return text + map[bool]string{true: " passed", false: " failed"}[passed], err, true
		}
	}
	if slices.Contains([]string{"lock", "reference", "errors", "self_test"}, e.Do) {
		return "", fmt.Errorf("%s cannot do %q", instrument.Name(), e.Do), true
	}
	return "", nil, false
}

func (e Example) performCounter(ctx context.Context, c drivers.Counter) (string, error) {
	switch e.Do {
	case "input":
		return "", c.SelectInput(ctx, e.With)
	case "gate":
		gate, err := quantity.Parse[quantity.Second](e.With)
		if err != nil {
			return "", err
		}
		got, err := c.SetGate(ctx, gate)
		return got.String(), err
	case "read":
		r, err := c.Read(ctx)
		if err == nil && r.Mark != drivers.None {
			return string(r.Mark), nil
		}
		return r.Frequency.String(), err
	}
	return "", fmt.Errorf("a counter cannot do %q", e.Do)
}

func (e Example) performSource(ctx context.Context, s drivers.Source) (string, error) {
	switch e.Do {
	case "rf_off":
		return "", s.RFOff(ctx)
	case "rf_on":
		return "", s.RFOn(ctx)
	case "frequency":
		f, err := quantity.Parse[quantity.Hertz](e.With)
		if err != nil {
			return "", err
		}
		got, err := s.SetFrequency(ctx, f)
		return got.String(), err
	case "level":
		l, err := quantity.ParseLevel(e.With)
		if err != nil {
			return "", err
		}
		got, err := s.SetLevel(ctx, l)
		return got.String(), err
	}
	return "", fmt.Errorf("a source cannot do %q", e.Do)
}
