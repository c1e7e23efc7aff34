package procedures

import (
	"fmt"
	"math"
	"strings"
	"time"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// Topology is what unit and source run from at one point, and what follows for
// limit, reference value and budget (five rows: own timebase against a
// reference; one shared reference; two references; both own timebases; source
// driven by the unit).
type Topology struct {
	Name string `json:"name"`
	// TimebaseTested: the timebase term belongs into the limit.
	TimebaseTested bool `json:"timebase_tested"`
	// Coherent: unit and source share one reference, so that the phase between
	// signal and gate may stand still.
	Coherent bool `json:"coherent"`
	// Says is the sentence for the record.
	Says string `json:"says"`
	// UnitReference is what the unit must report where it can: own or external.
	UnitReference string `json:"unit_reference"`
	// Factor is f_ref / f_set, exactly.
	Factor quantity.Exact `json:"factor"`
	// Relative is the budget of f_ref / f_set, as fractions of the frequency.
	Relative uncertainty.Budget `json:"relative_budget,omitempty"`
}

const (
	runsOwn  = "own"
	runsUnit = "unit"
)

// topologyOf finds the row for one source. now is the time for drift since
// calibration. It fails where bench file leaves a reference unstated.
func topologyOf(b *Bench, s Source, now time.Time) (Topology, error) {
	unit, source := b.Counter.Reference, s.Reference
	if other, ok := b.Source(unit); ok {
		// The unit uses the reference output of a source: it then runs from
		// whatever that source runs from.
		unit = other.Reference
		if unit == runsOwn {
			unit = "source " + other.Name
		}
	}
	if source == runsOwn && unit == "source "+s.Name {
		return shared("the timebase of source " + s.Name), nil
	}
	switch {
	case unit == runsOwn && source == runsUnit:
		return Topology{Name: "source driven by the unit", Coherent: true, UnitReference: "own", Factor: quantity.ExactInt(1),
			Says: "Source locked to the unit's timebase output: counting tested, timebase not tested."}, nil
	case unit == runsOwn && source == runsOwn:
		return ownOwn(b, s, now)
	case unit == runsOwn:
		y, lines, err := referenceOffset(b, source, now)
		return Topology{Name: "independent", TimebaseTested: true, UnitReference: "own", Factor: onePlus(y), Relative: lines,
			Says: fmt.Sprintf("Unit on its own timebase, source locked to %s: timebase tested.", source)}, err
	case unit == source:
		return shared(source), nil
	case source == runsUnit:
		return Topology{}, fmt.Errorf("source %q is driven by the unit, but the unit does not run from its own timebase; state reference = \"own\" for the counter", s.Name)
	}
	return twoReferences(b, unit, s, now)
}

func shared(name string) Topology {
	return Topology{Name: "shared", Coherent: true, UnitReference: "external", Factor: quantity.ExactInt(1),
		Says: fmt.Sprintf("Unit and source share %s, whose offset cancels: counting tested, timebase not tested.", name)}
}

func ownOwn(b *Bench, s Source, now time.Time) (Topology, error) {
	y, lines, err := offsetOf(b, "source "+s.Name, now)
	if err != nil {
		return Topology{}, err
	}
	return Topology{Name: "both own", TimebaseTested: true, UnitReference: "own", Factor: onePlus(y), Relative: lines,
		Says: fmt.Sprintf("Unit on its own timebase, source %s on its own: timebase tested against the source.", s.Name)}, nil
}

// twoReferences: f_ref = f_set·(1 + y_source)/(1 + y_unit). Where one steers
// the other, the part that both have in common cancels: only what the follower
// adds stays in the budget.
func twoReferences(b *Bench, unit string, s Source, now time.Time) (Topology, error) {
	yu, lu, err := offsetOf(b, unit, now)
	if err != nil {
		return Topology{}, err
	}
	t := Topology{Name: "two references", UnitReference: "external"}
	from := s.Reference
	if from == runsOwn {
		from = "source " + s.Name
	}
	ys, ls, err := offsetOf(b, from, now)
	if err != nil {
		return Topology{}, err
	}
	t.Factor = onePlus(ys).Quo(onePlus(yu))
	t.Relative = append(ls, lu...)
	u, _ := b.Reference(unit)
	r, _ := b.Reference(s.Reference)
	switch {
	case u.Ancestor != "" && u.Ancestor == s.Reference:
		t.Relative = lu
	case r.Ancestor != "" && r.Ancestor == unit:
		t.Relative = ls
	}
	t.Says = fmt.Sprintf("Unit runs from %s, source from %s: counting tested, timebase not tested.", unit, s.Reference)
	return t, nil
}

// offsetOf returns the known offset and its budget of a reference, or of the
// own timebase of a source ("source G1").
func offsetOf(b *Bench, name string, now time.Time) (quantity.Exact, uncertainty.Budget, error) {
	s, ok := b.Source(strings.TrimPrefix(name, "source "))
	if !ok || !strings.HasPrefix(name, "source ") {
		return referenceOffset(b, name, now)
	}
	if s.OwnTimebase == nil {
		return quantity.Exact{}, nil, fmt.Errorf("source %q runs from its own timebase; own_timebase must state its accuracy", s.Name)
	}
	return s.OwnOffset.Exact(), uncertainty.Budget{uncertainty.Line("timebase of "+name, s.OwnTimebase.Float(), uncertainty.Rectangular, 0, "bench file")}, nil
}

func onePlus(y quantity.Exact) quantity.Exact { return quantity.ExactInt(1).Add(y) }

// referenceOffset returns the known offset of a reference and its budget.
func referenceOffset(b *Bench, name string, now time.Time) (quantity.Exact, uncertainty.Budget, error) {
	r, ok := b.Reference(name)
	if !ok {
		return quantity.Exact{}, nil, fmt.Errorf("reference %q is not in the bench file", name)
	}
	lines := uncertainty.Budget{uncertainty.Line("reference "+name, r.Uncertainty.Float()/2, uncertainty.Normal, 0, "certificate "+r.Certificate+", k = 2")}
	if r.Drift.Sign() != 0 {
		// Whole days, so that plans of one day are alike.
		days := math.Floor(now.Sub(r.Calibrated.Time).Hours() / 24)
		if r.Calibrated.IsZero() || days < 0 {
			return quantity.Exact{}, nil, fmt.Errorf("reference %q has drift_per_day but no date of calibration before today", name)
		}
		lines = append(lines, uncertainty.Line("drift of reference "+name, r.Drift.Float()*days, uncertainty.Rectangular, 0,
			fmt.Sprintf("%s per day over %.0f d", r.Drift, days)))
	}
	return r.Offset.Exact(), lines, nil
}
