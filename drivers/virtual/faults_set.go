package virtual

import (
	"errors"
	"fmt"
	"strings"
)

// SetFaults replaces all faults of the bench. An error lists every mistake and
// leaves the faults as they were.
func (b *Bench) SetFaults(list []Fault) error {
	checked := make([]fault, 0, len(list))
	var all []error
	for i, x := range list {
		f, err := b.check(x)
		if err != nil {
			all = append(all, fmt.Errorf("fault %d (%s): %w", i+1, x.Name, err))
			continue
		}
		f.index = i
		checked = append(checked, f)
	}
	if err := errors.Join(all...); err != nil {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.change(func() { b.faults = checked })
	return nil
}

// Faults lists the faults in force.
func (b *Bench) Faults() []Fault {
	b.mu.Lock()
	defer b.mu.Unlock()
	list := make([]Fault, len(b.faults))
	for i, f := range b.faults {
		list[i] = f.Fault
	}
	return list
}

func (b *Bench) check(x Fault) (fault, error) {
	f := fault{Fault: x}
	k, err := kindNamed(x.Name)
	if err != nil {
		return f, err
	}
	f.kind = k
	if f.Instrument == "" {
		if f.Instrument, err = b.ownerOf(k); err != nil {
			return f, err
		}
	}
	if err := b.checkPlace(f); err != nil {
		return f, err
	}
	f.amount, err = k.unit.read(first(x.Amount, k.Default))
	return f, err
}

// ownerOf is the instrument that a fault means when it names none.
func (b *Bench) ownerOf(k kind) (string, error) {
	if k.Role != RoleSource {
		return b.counter.sc.Name, nil
	}
	if len(b.sources) == 1 {
		return b.sources[0].sc.Name, nil
	}
	names := make([]string, len(b.sources))
	for i, s := range b.sources {
		names[i] = s.sc.Name
	}
	return "", fmt.Errorf("instrument is missing; it must be one of the sources %s", strings.Join(names, ", "))
}

func (b *Bench) checkPlace(f fault) error {
	d, err := b.device(f.Instrument)
	if err != nil {
		return err
	}
	_, isCounter := d.(*counter)
	switch k := f.kind; {
	case k.Role == RoleCounter && !isCounter:
		return fmt.Errorf("instrument %q is a source; this is a fault of the counter", f.Instrument)
	case k.Role == RoleSource && isCounter:
		return fmt.Errorf("instrument %q is the counter; this is a fault of a source", f.Instrument)
	case f.Input != "" && k.Role != RoleCounter:
		return errors.New("input is not a parameter of this fault")
	case f.Input != "" && b.counter.inputNamed(f.Input) == nil:
		return fmt.Errorf("input %q is none of the counter's; it has %s", f.Input, b.counter.inputNames())
	case f.Reply != "" && k.talk == nil:
		return errors.New("reply is a parameter of faults of the conversation only")
	case (f.From != nil || f.To != nil) && k.talk != nil:
		return errors.New("a fault of the conversation does not depend on frequency; from and to are no parameters")
	case k.Needs == "from" && f.From == nil || k.Needs == "to" && f.To == nil:
		return fmt.Errorf("%s is missing; it must be a frequency", k.Needs)
	case f.From != nil && f.To != nil && f.From.Cmp(*f.To) > 0:
		return fmt.Errorf("from %s lies above to %s", f.From, f.To)
	case f.Probability != nil && (f.Probability.Sign() < 0 || f.Probability.Float() > 1):
		return fmt.Errorf("probability %s is not between 0 and 1", f.Probability)
	case f.Amount != "" && k.unit.what == "":
		return errors.New("amount is not a parameter of this fault")
	}
	return nil
}

func first(list ...string) string {
	for _, s := range list {
		if s != "" {
			return s
		}
	}
	return ""
}
