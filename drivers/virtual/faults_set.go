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
	if k.stage != (f.Stage != "") || k.stage != (f.Mode != "") {
		return f, stageAndMode(k)
	}
	if f.Instrument == "" {
		if f.Instrument, err = b.ownerOf(k); err != nil {
			return f, err
		}
	}
	if err := b.checkPlace(f); err != nil {
		return f, err
	}
	if k.stage {
		return b.checkStage(f)
	}
	f.amount, err = k.unit.read(first(x.Amount, k.Default))
	return f, err
}

// ownerOf is the instrument that a fault means when it names none: the counter,
// or the only one of its role.
func (b *Bench) ownerOf(k kind) (string, error) {
	devices, roles := b.devices()
	if k.Role == "" || k.Role == RoleCounter {
		return devices[0].name(), nil
	}
	var names []string
	for i, d := range devices {
		if roles[i] == k.Role {
			names = append(names, d.name())
		}
	}
	switch len(names) {
	case 0:
		return "", fmt.Errorf("the bench has no %s", k.Role)
	case 1:
		return names[0], nil
	}
	return "", fmt.Errorf("instrument is missing; it must be one of the %ss %s", k.Role, strings.Join(names, ", "))
}

// roleOf tells which faults an instrument can have: a monitor those of a counter.
func (b *Bench) roleOf(name string) string {
	for _, i := range b.Instruments() {
		if i.Name == name && i.Role != RoleMonitor {
			return i.Role
		}
	}
	return RoleCounter
}

func (b *Bench) checkPlace(f fault) error {
	d, err := b.device(f.Instrument)
	if err != nil {
		return err
	}
	with, _ := d.(*counter)
	switch k := f.kind; {
	case k.Role != "" && k.Role != b.roleOf(f.Instrument):
		return fmt.Errorf("instrument %q is a %s; this is a fault of a %s", f.Instrument, b.roleOf(f.Instrument), k.Role)
	case f.Input != "" && k.Role != RoleCounter:
		return errors.New("input is not a parameter of this fault")
	case f.Input != "" && with.inputNamed(f.Input) == nil:
		return fmt.Errorf("input %q is none of the counter's; it has %s", f.Input, with.inputNames())
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
	case f.Amount != "" && k.unit.what == "" && !k.stage:
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
