package procedures

import (
	"errors"
	"fmt"
	"math/big"

	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// UnitReferences lists what the unit of a single judgement may run from.
func UnitReferences() []string { return []string{"own", "external", "shared", "drives-source"} }

// Single is one reading, or a few, against one specification, without a bench.
type Single struct {
	Nominal  quantity.Frequency // what the source is set to
	Readings []quantity.Frequency
	Gate     quantity.Duration
	Spec     accuracy.Spec
	// Level at the input across Impedance; only a trigger noise needs it.
	Level     quantity.Level
	Impedance quantity.Resistance
	// Timebase is the promised |relative error| of the unit's own timebase; nil
	// where it is not stated.
	Timebase *quantity.Ratio
	// UnitReference is one of UnitReferences: the unit on its own timebase and
	// the source on a reference; on two references; on a shared one; or the
	// source driven by the unit.
	UnitReference string
	// Known fractional offsets, and expanded uncertainties (k = 2), of what the
	// source and the unit run from.
	ReferenceOffset, ReferenceU         quantity.Ratio
	UnitReferenceOffset, UnitReferenceU quantity.Ratio
	Rule                                decision.Rule
}

// Judge judges the readings. It fails where what is stated contradicts itself
// or is not enough.
func (s Single) Judge() (Topology, Judgement, error) {
	if err := s.check(); err != nil {
		return Topology{}, Judgement{}, err
	}
	t := s.topology()
	reference := s.Nominal.Exact().Mul(t.Factor)
	c := accuracy.Conditions{Nominal: s.Nominal, Reference: reference, Gate: s.Gate, Level: s.Level, Impedance: s.Impedance}
	if t.TimebaseTested {
		x := s.Timebase.Exact()
		c.Timebase, c.TimebaseHow = &x, "stated "+s.Timebase.String()
	}
	limit, err := s.Spec.Limit(c)
	if err != nil {
		return Topology{}, Judgement{}, err
	}
	if limit.Vacuous(reference) {
		return Topology{}, Judgement{}, fmt.Errorf("limit %s Hz is more than a tenth of %s: meeting it would show nothing; lengthen the gate", limit.Total, s.Nominal)
	}
	m := Measurement{Reference: reference, Limit: limit, Counting: s.Spec.At(s.Nominal).Counting}
	for _, c := range t.Relative {
		m.Bench = append(m.Bench, uncertainty.Line(c.Name, c.Value*s.Nominal.Float(), c.Distribution, c.DegreesOfFreedom, c.Source))
	}
	for _, r := range s.Readings {
		if r.Sign() == 0 {
			m.Symptom = decision.NoCount
			continue
		}
		m.Readings = append(m.Readings, r.Exact())
	}
	if m.Symptom == "" && Spread(m.Readings).Cmp(limit.Scatter().Mul(quantity.ExactInt(2))) > 0 {
		m.Symptom = decision.Unstable
	}
	j, err := Judge(s.Rule, m)
	return t, j, err
}

func (s Single) check() error {
	switch {
	case s.Nominal.Sign() <= 0:
		return fmt.Errorf("nominal frequency is %s; expected above zero", s.Nominal)
	case len(s.Readings) == 0:
		return errors.New("there is no reading; give at least one")
	case s.Timebase == nil && s.UnitReference == "own":
		return errors.New("the unit runs from its own timebase, which is then tested: state what it promises (0 ppm for nothing)")
	case s.Timebase != nil && s.Timebase.Sign() < 0:
		return fmt.Errorf("timebase accuracy is %s; expected at least zero", s.Timebase)
	case s.ReferenceU.Sign() < 0 || s.UnitReferenceU.Sign() < 0:
		return errors.New("an uncertainty can't be negative")
	case s.UnitReference != "external" && (s.UnitReferenceOffset.Sign() != 0 || s.UnitReferenceU.Sign() != 0):
		return fmt.Errorf("a reference of the unit is stated, but with %q it has none of its own", s.UnitReference)
	}
	for _, r := range s.Readings {
		if r.Sign() < 0 {
			return fmt.Errorf("reading %s is negative", r)
		}
		if r.Cmp(marker) >= 0 {
			return fmt.Errorf("reading %s is a marker (SCPI 9.9E37: over-range, 9.91E37: no measurement), not a frequency", r)
		}
	}
	if err := s.figures(); err != nil {
		return err
	}
	one := big.NewRat(1, 100)
	for _, r := range []quantity.Ratio{s.ReferenceOffset, s.UnitReferenceOffset, s.ReferenceU, s.UnitReferenceU} {
		if new(big.Rat).Abs(r.Rat()).Cmp(one) > 0 {
			return fmt.Errorf("%s is no offset or uncertainty of a reference; expected within 1 %%", r)
		}
	}
	for key, what := range s.Rule.Check() {
		return fmt.Errorf("decision rule: %s %s", key, what)
	}
	return nil
}

// marker is where the special numbers of SCPI begin.
var marker = quantity.Of[quantity.Hertz](98, 36)

// figures checks what is stated of the unit.
func (s Single) figures() error {
	f := s.Spec.Figures
	switch {
	case f.Trigger.Sign() < 0 || f.TriggerNoise.Sign() < 0:
		return errors.New("a trigger error or noise can't be negative")
	case f.Trigger.Sign() > 0 && f.TriggerNoise.Sign() > 0:
		return errors.New("trigger error and trigger noise are both stated; give one of them")
	case f.Display.Sign() < 0:
		return fmt.Errorf("display resolution is %s; expected above zero", f.Display)
	case f.Truncates && f.Display.Sign() == 0:
		return errors.New("a truncating display needs its resolution stated")
	case f.Harmonic < 0 || f.Prescale < 0:
		return errors.New("a factor can't be negative")
	}
	for _, r := range s.Spec.Residuals {
		if r.Error.Sign() < 0 {
			return fmt.Errorf("residual error is %s; expected at least zero", r.Error)
		}
	}
	return nil
}

// Notes says what a reader of the judgement must know besides.
func (s Single) Notes(j Judgement) []string {
	list := s.Cancelled()
	if j.GuardBand.Cmp(j.Limit.Total) > 0 {
		list = append(list, "the guard band is wider than the limit: no error could pass by this rule")
	}
	if j.Bias.Sign() != 0 {
		list = append(list, fmt.Sprintf("the display truncates: readings are low by %s Hz on average, the best estimate of the error is %s Hz", j.Bias.Neg(), j.Error.Sub(j.Bias)))
	}
	return list
}

// Cancelled says what was stated and does not enter, because unit and source
// share a timebase or the unit does not run from its own.
func (s Single) Cancelled() []string {
	var list []string
	if s.Timebase != nil && s.UnitReference != "own" {
		list = append(list, "the accuracy of the unit's own timebase does not enter: the unit does not run from it, or it drives the source")
	}
	if (s.UnitReference == "shared" || s.UnitReference == "drives-source") && (s.ReferenceOffset.Sign() != 0 || s.ReferenceU.Sign() != 0) {
		list = append(list, "offset and uncertainty of the reference do not enter: what unit and source share cancels")
	}
	return list
}

// topology makes the row of the reference topology from what is stated.
func (s Single) topology() Topology {
	line := func(name string, u quantity.Ratio) uncertainty.Budget {
		if u.Sign() == 0 {
			return nil
		}
		return uncertainty.Budget{uncertainty.Line(name, u.Float()/2, uncertainty.Normal, 0, "as stated, k = 2")}
	}
	switch s.UnitReference {
	case "own":
		return Topology{Name: "independent", TimebaseTested: true, Factor: onePlus(s.ReferenceOffset.Exact()), Relative: line("reference of the source", s.ReferenceU),
			Says: "Unit on its own timebase, source on a reference: timebase tested."}
	case "external":
		return Topology{Name: "two references", Factor: onePlus(s.ReferenceOffset.Exact()).Quo(onePlus(s.UnitReferenceOffset.Exact())),
			Relative: append(line("reference of the source", s.ReferenceU), line("reference of the unit", s.UnitReferenceU)...),
			Says:     "Unit and source on two references: counting tested, timebase not tested."}
	case "drives-source":
		return Topology{Name: "source driven by the unit", Coherent: true, Factor: quantity.ExactInt(1),
			Says: "Source locked to the unit's timebase output: counting tested, timebase not tested."}
	}
	return shared("one reference")
}
