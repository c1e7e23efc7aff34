package layered

import (
	"cmp"
	"math"
	"slices"
)

// rounds in which boxes move towards what they are connected with.
const rounds = 40

// run is nodes that lie on one straight line, after Brandes and Köpf (2002), who
// align nodes likewise; here it is the ends of lines at the nodes that lie level.
type run struct {
	y     float64
	pulls []pull
	over  []bound // runs that lie above, with how far at least
	under []bound
}

// pull is where a run is drawn to: another run, with the difference that makes
// their line straight.
type pull struct {
	run    int
	diff   float64
	weight int
}

type bound struct {
	run  int
	room float64
}

// level gives each node its height.
func (s *strip) level() {
	partOf, shift, pulls := s.align()
	runs := make([]run, slices.Max(partOf)+1)
	for _, p := range pulls {
		a, b := partOf[p.left], partOf[p.right]
		if a == b {
			continue
		}
		diff := shift[p.left] + p.leftOff - shift[p.right] - p.rightOff // y(b) - y(a)
		runs[b].pulls = append(runs[b].pulls, pull{a, diff, p.weight})
		runs[a].pulls = append(runs[a].pulls, pull{b, -diff, p.weight})
	}
	for _, col := range s.columns {
		for i := 0; i+1 < len(col); i++ {
			a, b := col[i], col[i+1]
			room := s.apart(a, b) + shift[a] - shift[b]
			runs[partOf[b]].over = append(runs[partOf[b]].over, bound{partOf[a], room})
			runs[partOf[a]].under = append(runs[partOf[a]].under, bound{partOf[b], room})
		}
	}
	order := fromTop(runs)
	for _, k := range order {
		for _, o := range runs[k].over {
			runs[k].y = max(runs[k].y, math.Ceil(runs[o.run].y+o.room))
		}
	}
	for i := range rounds {
		moved := false
		for j := range order {
			k := order[j]
			if i%2 == 0 {
				k = order[len(order)-1-j]
			}
			moved = runs[k].move(runs) || moved
		}
		if !moved && i > 0 {
			break
		}
	}
	top := math.Inf(1)
	for k := range s.nodes {
		n := &s.nodes[k]
		n.y = runs[partOf[k]].y + shift[k]
		top = min(top, n.y-n.up)
	}
	for k := range s.nodes {
		s.nodes[k].y -= top
	}
}

// move draws a run to the weighted median of where it is pulled, as far as those
// above and below it let it.
func (r *run) move(runs []run) bool {
	if len(r.pulls) == 0 {
		return false
	}
	type want struct {
		y      float64
		weight int
	}
	wants, all := make([]want, len(r.pulls)), 0
	for k, p := range r.pulls {
		wants[k] = want{runs[p.run].y + p.diff, p.weight}
		all += p.weight
	}
	slices.SortFunc(wants, func(a, b want) int { return cmp.Compare(a.y, b.y) })
	y, sum := 0.0, 0
	for _, w := range wants {
		if sum += w.weight; 2*sum >= all {
			y = math.Round(w.y)
			break
		}
	}
	for _, b := range r.under {
		y = min(y, math.Floor(runs[b.run].y-b.room))
	}
	for _, b := range r.over {
		y = max(y, math.Ceil(runs[b.run].y+b.room))
	}
	if y == r.y {
		return false
	}
	r.y = y
	return true
}

// apart is the least distance of the middles of two neighbours in a column.
func (s *strip) apart(a, b int) float64 {
	x, y := &s.nodes[a], &s.nodes[b]
	gap := lineGap
	if x.box >= 0 && y.box >= 0 {
		gap = boxGap
	}
	return x.down + gap + y.up
}

// fromTop lists runs so that those above come first (Kahn 1962).
func fromTop(runs []run) []int {
	waiting := make([]int, len(runs))
	var order []int
	for k, r := range runs {
		if waiting[k] = len(r.over); waiting[k] == 0 {
			order = append(order, k)
		}
	}
	for k := 0; k < len(order); k++ {
		for _, b := range runs[order[k]].under {
			if waiting[b.run]--; waiting[b.run] == 0 {
				order = append(order, b.run)
			}
		}
	}
	return order
}
