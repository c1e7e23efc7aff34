package layered

import (
	"cmp"
	"math"
	"slices"
)

// part is what has one track: a segment, or half of one that is split.
type part struct {
	g             *segment
	second        bool
	lefts, rights []float64 // heights of its ends
	low, high     float64
	track         int
}

func (s *strip) height(e end) float64 { return s.nodes[e.node].y + e.off }

// straight tells whether a segment has no piece up or down.
func (g *segment) straight(s *strip) bool {
	return len(g.lefts) == 1 && len(g.rights) == 1 && math.Abs(s.height(g.lefts[0])-s.height(g.rights[0])) < 1e-6
}

// tracks gives the segments of a channel their places from the left, so that no
// piece lies on another, and few cross. It returns how many there are.
func (s *strip) tracks(channel int) int {
	var parts []*part
	var used []float64 // heights at which something runs
	for _, g := range s.channels[channel] {
		p := &part{g: g}
		for _, e := range g.lefts {
			p.lefts = append(p.lefts, s.height(e))
		}
		for _, e := range g.rights {
			p.rights = append(p.rights, s.height(e))
		}
		used = append(append(used, p.lefts...), p.rights...)
		if !g.straight(s) {
			p.span()
			parts = append(parts, p)
		}
	}
	parts = untangle(parts, used)
	order := inOrder(parts)
	most := 0
	for i, p := range order {
		for _, before := range order[:i] {
			if before.track >= p.track && (before.overlaps(p) || before.mustPrecede(p)) {
				p.track = before.track + 1
			}
		}
		most = max(most, p.track+1)
	}
	for _, p := range parts {
		if p.second {
			p.g.secondTrack = p.track
		} else {
			p.g.track = p.track
		}
	}
	return most
}

func (p *part) span() {
	all := append(slices.Clone(p.lefts), p.rights...)
	p.low, p.high = slices.Min(all), slices.Max(all)
}

func (p *part) overlaps(o *part) bool { return p.low < o.high+near && o.low < p.high+near }

// mustPrecede tells whether a part has to lie left of another, because what comes
// to it from the left would else lie on what leaves the other to the right.
func (p *part) mustPrecede(o *part) bool {
	if p.g == o.g {
		return o.second && !p.second
	}
	for _, l := range p.lefts {
		for _, r := range o.rights {
			if math.Abs(l-r) < near {
				return true
			}
		}
	}
	return false
}

// untangle splits parts that would have to lie left of each other, so that every
// order that is wanted can be had. A part that was split is in no circle: the
// first half has to precede only, the second to follow only.
func untangle(parts []*part, used []float64) []*part {
	for k := 0; k < len(parts); k++ {
		p := parts[k]
		if p.second || p.g.split || !inCircle(parts, k) {
			continue
		}
		y := freeHeight(p, used)
		used = append(used, y)
		second := &part{g: p.g, second: true, lefts: []float64{y}, rights: p.rights}
		p.rights = []float64{y}
		p.span()
		second.span()
		p.g.split, p.g.middle = true, y
		parts = append(parts, second)
	}
	return parts
}

// inCircle tells whether a part has to lie left of itself, by way of others.
func inCircle(parts []*part, from int) bool {
	visited := make([]bool, len(parts))
	stack := []int{from}
	for len(stack) > 0 {
		k := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		for i, o := range parts {
			if i != k && !visited[i] && parts[k].mustPrecede(o) {
				if visited[i] = true; i == from {
					return true
				}
				stack = append(stack, i)
			}
		}
	}
	return false
}

// freeHeight is one near the middle of a part at which nothing runs.
func freeHeight(p *part, used []float64) float64 {
	middle := math.Round((p.low + p.high) / 2)
	for step := 0.0; step < 1000; step += 0.5 {
		for _, y := range []float64{middle + step, middle - step} {
			if !slices.ContainsFunc(used, func(u float64) bool { return math.Abs(u-y) < near }) {
				return y
			}
		}
	}
	return middle
}

// inOrder lists parts from the left: as they must, then as it saves crossings.
func inOrder(parts []*part) []*part {
	n := len(parts)
	must := make([][]bool, n) // k before i
	waits := make([]int, n)   // how many must precede
	saves := make([][]int, n) // crossings that k before i saves
	sum := make([]int, n)     // over those that are left
	placed := make([]bool, n)
	for k := range parts {
		must[k], saves[k] = make([]bool, n), make([]int, n)
	}
	for k := range parts {
		for i := range parts {
			if i != k {
				must[k][i] = parts[k].mustPrecede(parts[i])
				saves[k][i] = parts[i].over(parts[k]) - parts[k].over(parts[i])
				sum[k] += saves[k][i]
				if must[k][i] {
					waits[i]++
				}
			}
		}
	}
	order := make([]*part, 0, n)
	for range parts {
		best := -1
		for k := range parts {
			if placed[k] || waits[k] > 0 {
				continue
			}
			if best < 0 || cmp.Or(cmp.Compare(sum[k], sum[best]), cmp.Compare(parts[best].low, parts[k].low)) > 0 {
				best = k
			}
		}
		if best < 0 { // only where rounding makes a circle
			best = slices.Index(placed, false)
		}
		placed[best] = true
		order = append(order, parts[best])
		for i := range parts {
			if must[best][i] {
				waits[i]--
			}
			sum[i] -= saves[i][best]
		}
	}
	return order
}

// over counts the crossings where a part lies left of another.
func (p *part) over(o *part) int {
	n := 0
	for _, r := range p.rights {
		if r > o.low && r < o.high {
			n++
		}
	}
	for _, l := range o.lefts {
		if l > p.low && l < p.high {
			n++
		}
	}
	return n
}
