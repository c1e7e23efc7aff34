package procedures

import (
	"fmt"
	"math"
	"strings"

	"bandproof/procedures/quantity"
)

// Impure is what is wrong with the signal of a point: harmonics or subharmonics
// of the source, after what the path takes off them, stand above what the
// procedure allows at the input, or are not known.
type Impure struct {
	Says string `json:"says"`
	// TooHigh: known to be above what is allowed, so that a wrong reading is not
	// laid on the unit.
	TooHigh bool `json:"too_high,omitempty"`
}

// orders of harmonics and subharmonics that are looked at; higher ones are weaker
// (common practice, no source).
var orders = []int64{2, 3}

// purity says what is wrong with the signal at f, or nil.
func (i Input) purity(s Source, path Path, f quantity.Frequency) *Impure {
	var list []string
	high := false
	look := func(name string, has, most *quantity.Gain, at func(n int64) quantity.Frequency) {
		switch {
		case most == nil:
		case has == nil:
			list = append(list, fmt.Sprintf("source %s states no %s, and at most %s dB are allowed", s.Name, name, most.Plain()))
		default:
			worst := math.Inf(-1)
			for _, n := range orders {
				worst = math.Max(worst, has.Float()-path.rejection(f, at(n)))
			}
			if worst > most.Float()+1e-9 {
				high = true
				list = append(list, fmt.Sprintf("%s of source %s up to %.0f dB, at most %s dB allowed", name, s.Name, worst, most.Plain()))
			}
		}
	}
	look("harmonics", s.Harmonics, i.HarmonicsMost, func(n int64) quantity.Frequency { return f.Scale(n, 0) })
	look("subharmonics", s.Subharmonics, i.SubharmonicsMost, func(n int64) quantity.Frequency {
		return quantity.Significant(f.Float()/float64(n), 12)
	})
	if len(list) == 0 {
		return nil
	}
	return &Impure{strings.Join(list, "; "), high}
}

// rejection is how many dB more a path takes off at a spurious frequency than at
// the wanted one. A part whose table does not reach it, or that lets it through
// with less loss, is taken to take off nothing.
func (p Path) rejection(wanted, spurious quantity.Frequency) float64 {
	var sum float64
	for _, part := range p.Parts {
		here, err := part.at(wanted)
		if err != nil {
			continue
		}
		if there, err := part.at(spurious); err == nil {
			sum += math.Max(0, there-here)
		}
	}
	return sum
}

// purer ranks the signal of points: clean, unknown, known to be too high.
func purer(p Point) int {
	switch {
	case p.Impure == nil:
		return 2
	case !p.Impure.TooHigh:
		return 1
	}
	return 0
}

// warnPurity says at how many points the signal is not as the procedure asks.
func (l *planner) warnPurity() {
	type place struct {
		input, path string
		high        bool
	}
	says, count := map[place]string{}, map[place]int{}
	var order []place
	for _, p := range l.plan.Points {
		if p.Impure == nil {
			continue
		}
		at := place{p.Input, p.Path, p.Impure.TooHigh}
		if count[at]++; count[at] == 1 {
			order, says[at] = append(order, at), p.Impure.Says
		}
	}
	for _, at := range order {
		l.plan.Warnings = append(l.plan.Warnings, fmt.Sprintf("input %s, path %s: at %d points the signal is not as pure as the procedure asks (the first: %s); a path with a filter among its parts, whose loss table reaches the third harmonic or subharmonic, would help",
			at.input, at.path, count[at], says[at]))
	}
}

// dBc checks a level relative to the carrier.
func (c checker) dBc(path string, g *quantity.Gain) {
	if g != nil && c.given(path) && (g.Float() >= 0 || g.Float() < -200) {
		c.add(path, "is %s; expected a level below the carrier, such as -30 dBc", g)
	}
}
