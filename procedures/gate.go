package procedures

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// GateTime is a gate time as a procedure asks for it: a duration, or "auto".
type GateTime struct {
	Fixed quantity.Duration // zero where Auto
	Auto  bool
}

const auto = "auto"

// UnmarshalText reads "auto" or a duration.
func (g *GateTime) UnmarshalText(text []byte) error {
	if string(text) == auto {
		*g = GateTime{Auto: true}
		return nil
	}
	d, err := quantity.Parse[quantity.Second](string(text))
	if err != nil {
		return fmt.Errorf("%w, or \"auto\"", err)
	}
	*g = GateTime{Fixed: d}
	return nil
}

// MarshalText writes the form of String.
func (g GateTime) MarshalText() ([]byte, error) { return []byte(g.String()), nil }

// String writes what UnmarshalText reads.
func (g GateTime) String() string {
	if g.Auto {
		return auto
	}
	return g.Fixed.String()
}

// Pattern returns a regular expression of what UnmarshalText reads, and an example.
func (g GateTime) Pattern() (pattern, example string) {
	pattern, example = g.Fixed.Pattern()
	return "^" + auto + "$|" + pattern, example
}

const (
	// gateRatio is the ratio of the limit to what the unit's own scatter and the
	// bench may add: four to one (common practice, no source).
	gateRatio = 4
	// asGood is how near to the longest gate's ratio a gate must come where none
	// reaches four to one.
	asGood = 0.9
)

// coarsest is the largest share of the frequency that counts and trigger error
// may be, so that a miscount shows also where no gate shows the timebase.
var coarsest = quantity.Of[quantity.One](1, -2)

// candidates lists the gates that a sweep may use, shortest first: the one that
// it states; or those of the counter within its bounds, or where the counter
// takes any gate, the bounds and the steps of 1, 2 and 5 between them.
func (s Sweep) candidates(known []quantity.Duration) ([]quantity.Duration, error) {
	if !s.Gate.Auto {
		return []quantity.Duration{s.Gate.Fixed}, nil
	}
	if s.GateRange == nil || s.GateRange[0].Sign() <= 0 {
		return nil, errors.New("the gate is to be chosen, and gate_range states no bounds")
	}
	low, high := s.GateRange[0], s.GateRange[1]
	var list []quantity.Duration
	if len(known) > 0 {
		for _, g := range known {
			if g.Cmp(low) >= 0 && g.Cmp(high) <= 0 {
				list = append(list, g)
			}
		}
		if len(list) == 0 {
			return nil, fmt.Errorf("the counter has no gate time within %s to %s; it has %s", low, high, joined(known))
		}
		return list, nil
	}
	list = append(list, low)
	for decade := int32(math.Floor(math.Log10(low.Float()))); ; decade++ {
		for _, digit := range []int64{1, 2, 5} {
			g := quantity.Of[quantity.Second](digit, decade)
			if g.Cmp(high) >= 0 {
				return append(list, high), nil
			}
			if g.Cmp(low) > 0 {
				list = append(list, g)
			}
		}
	}
}

func joined(list []quantity.Duration) string {
	words := make([]string, len(list))
	for k, d := range list {
		words[k] = d.String()
	}
	return strings.Join(words, ", ")
}

// gated completes a point for each candidate gate and returns the one with the
// shortest gate that still allows as good a verdict as any:
//
//   - neither rule 7 nor rule 9 speaks against it: its limit is not vacuous, and
//     the guard band leaves room within it;
//   - the limit is at least four times what the bench and the unit's own scatter
//     (counts and trigger error, triangular) add up to, expanded; where not even
//     the longest gate gives that, nine tenths of the longest gate's ratio. What
//     a short gate widens is then at most √6/8 of the limit, so that an error
//     1.45 times what the specification allows of timebase and residual together
//     fails at every gate that may be chosen;
//   - counts and trigger error are at most a hundredth of the frequency. Where
//     not even the longest gate gives that, the longest is taken.
//
// The bench's own TUR is no criterion: it only grows as the gate shortens,
// because the limit does.
func (l *planner) gated(i Input, s Sweep, p Point, source Source) (Point, error) {
	gates, err := s.candidates(l.o.Capabilities[""].Gates)
	if err != nil {
		return Point{}, err
	}
	longest, err := l.judgeable(i, p, source, gates[len(gates)-1])
	if err != nil {
		return Point{}, err
	}
	if !s.Gate.Auto {
		return longest.Point, nil
	}
	chosen := longest
	enough := float64(gateRatio)
	if longest.ratio < enough {
		enough = asGood * longest.ratio
	}
	for _, g := range gates[:len(gates)-1] {
		if x, err := l.judgeable(i, p, source, g); err == nil && x.ratio >= enough && x.fine {
			chosen = x
			break
		}
	}
	p = chosen.Point
	p.Longest = &gates[len(gates)-1]
	return p, nil
}

// gatedPoint is a point with one of the gates that it may have.
type gatedPoint struct {
	Point
	ratio float64 // limit over bench and scatter of the unit, expanded
	fine  bool    // counts and trigger error are a small part of the frequency
}

// judgeable completes a point for a gate; the error tells why no verdict could
// come of it.
func (l *planner) judgeable(i Input, p Point, source Source, gate quantity.Duration) (gatedPoint, error) {
	reference := p.Frequency.Exact().Mul(l.plan.Topology[source.Name].Factor)
	p.Gate = gate
	limit, err := l.plan.LimitAt(i, p, reference, gate)
	if err != nil {
		return gatedPoint{}, err
	}
	if limit.Vacuous(reference) {
		return gatedPoint{}, errors.New("limit is more than a tenth of the frequency: meeting it shows nothing; lengthen the gate")
	}
	bench := l.plan.BenchBudget(source, p.Frequency)
	u, err := bench.Combine()
	if err != nil {
		return gatedPoint{}, err
	}
	p.Limit, p.LimitPPM, p.BenchU = limit, PPM(limit.Total, reference), u.Expanded
	if tur, limited := decision.TUR(limit.Total, u.Expanded); limited {
		p.TUR = &tur
	}
	if w := l.p.Decision.GuardBand(limit.Total, u); limit.Total.Cmp(w) < 0 {
		return gatedPoint{}, errors.New("guard band is wider than the limit: no error could pass")
	}
	p.Coherent = l.plan.Topology[source.Name].Coherent && i.Accuracy.At(p.Frequency).WholeCounts(p.Frequency.Exact(), gate)
	ratio, err := scatterRatio(limit, bench)
	return gatedPoint{p, ratio, limit.Scatter().Cmp(reference.Mul(coarsest.Exact())) <= 0}, err
}

// scatterRatio is the limit over the expanded uncertainty that bench, counts
// and trigger error have together. With one count and no trigger error it is
// the test uncertainty ratio that includes the unit's resolution.
func scatterRatio(limit accuracy.Limit, bench uncertainty.Budget) (float64, error) {
	u, err := with(bench, uncertainty.Line("scatter of the unit", limit.Scatter().Float(), uncertainty.Triangular, 0, "as the limit allows")).Combine()
	if err != nil {
		return 0, err
	}
	return limit.Total.Float() / u.Expanded, nil
}

// longest is the gate that the point would have if none were chosen.
func (p Point) longest() quantity.Duration {
	if p.Longest == nil {
		return p.Gate
	}
	return *p.Longest
}

// fixedSeconds is what the point takes with that gate and all readings.
func (p Point) fixedSeconds() float64 {
	if p.FixedSeconds == 0 {
		return p.Seconds
	}
	return p.FixedSeconds
}

// checkGate checks a gate time and its bounds.
func (c checker) checkGate(path string, s Sweep) {
	bounds := path + ".gate_range"
	switch {
	case !s.Gate.Auto:
		c.time(path+".gate", s.Gate.Fixed, "1 µs", "10000 s")
		if c.d.Has(bounds) && c.given(path+".gate") {
			c.add(bounds, "goes with gate = \"auto\" only; the gate is %s", s.Gate.Fixed)
		}
		return
	case !c.d.Has(bounds):
		c.add(path+".gate", "is \"auto\" and needs gate_range, the shortest and longest gate, such as [\"10 ms\", \"10 s\"]")
		return
	case !c.given(bounds):
		return
	}
	for k := range s.GateRange {
		c.time(fmt.Sprintf("%s[%d]", bounds, k), s.GateRange[k], "1 µs", "10000 s")
	}
	if c.given(bounds) && s.GateRange[0].Cmp(s.GateRange[1]) >= 0 {
		c.add(bounds, "is reversed: %s is not below %s; write [shortest, longest]", s.GateRange[0], s.GateRange[1])
	}
}
