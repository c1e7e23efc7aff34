package layered

import (
	"cmp"
	"slices"
)

// sweeps of the barycentre, and rounds of swapping neighbours afterwards.
const (
	sweeps    = 16
	swaps     = 8
	mostSwaps = 4000 // nodes, above which neighbours are not swapped
)

// link is a connection between neighbouring columns, as far as order matters.
type link struct{ left, right int }

// arrange orders the nodes of each column so that few lines cross.
func (s *strip) arrange() {
	s.columns = make([][]int, len(s.channels)-1)
	for k, n := range s.nodes {
		s.columns[n.column] = append(s.columns[n.column], k)
	}
	a := arranger{s: s, at: make([]int, len(s.nodes)), links: make([][]link, len(s.channels)),
		lefts: make([][]int, len(s.nodes)), rights: make([][]int, len(s.nodes)), beside: make([]int, len(s.nodes))}
	for k := range s.nodes {
		a.beside[k] = -1
	}
	for c, list := range s.channels {
		for _, g := range list {
			a.turn(g.lefts)
			a.turn(g.rights)
			for _, l := range g.lefts {
				for _, r := range g.rights {
					a.links[c] = append(a.links[c], link{l.node, r.node})
					a.rights[l.node] = append(a.rights[l.node], r.node)
					a.lefts[r.node] = append(a.lefts[r.node], l.node)
				}
			}
		}
	}
	for _, col := range s.columns {
		slices.SortStableFunc(col, func(x, y int) int { return cmp.Compare(s.nodes[x].order, s.nodes[y].order) })
	}
	a.number()
	best, least := a.copy(), a.crossings()
	for k := 0; k < sweeps && least > 0; k++ {
		a.sweep(k%2 == 0)
		if n := a.crossings(); n < least {
			best, least = a.copy(), n
		}
	}
	s.columns = best
	a.number()
	if len(s.nodes) <= mostSwaps {
		for k := 0; k < swaps && a.swap(); k++ {
		}
	}
}

type arranger struct {
	s             *strip
	at            []int // place in its column of each node
	links         [][]link
	lefts, rights [][]int // neighbours of each node
	turns         []link  // a box and what passes it in the same column, of lines that go back
	beside        []int   // the box where a node is the latter; -1
}

// turn notes ends between which a line turns back.
func (a *arranger) turn(ends []end) {
	box, passes := -1, -1
	for _, e := range ends {
		if e.passes {
			passes = e.node
		} else {
			box = e.node
		}
	}
	if len(ends) == 2 && box >= 0 && passes >= 0 && a.s.nodes[box].column == a.s.nodes[passes].column && a.s.nodes[passes].back {
		a.turns = append(a.turns, link{box, passes})
		a.beside[passes] = box
	}
}

func (a *arranger) number() {
	for _, col := range a.s.columns {
		for i, k := range col {
			a.at[k] = i
		}
	}
}

func (a *arranger) copy() [][]int {
	list := make([][]int, len(a.s.columns))
	for c, col := range a.s.columns {
		list[c] = slices.Clone(col)
	}
	return list
}

// sweep puts each column in the order of the mean places of its neighbours in the
// one before.
func (a *arranger) sweep(right bool) {
	n := len(a.s.columns)
	for i := 1; i < n; i++ {
		c, near := i, a.lefts
		if !right {
			c, near = n-1-i, a.rights
		}
		col := a.s.columns[c]
		mean := make(map[int]float64, len(col))
		for _, k := range col {
			mean[k] = float64(a.at[k])
			if len(near[k]) > 0 {
				sum := 0
				for _, other := range near[k] {
					sum += a.at[other]
				}
				mean[k] = float64(sum) / float64(len(near[k]))
			}
		}
		for _, k := range col {
			if a.beside[k] >= 0 && len(near[k]) == 0 {
				mean[k] = mean[a.beside[k]] + 0.01
			}
		}
		slices.SortStableFunc(col, func(x, y int) int { return cmp.Compare(mean[x], mean[y]) })
		for i, k := range col {
			a.at[k] = i
		}
	}
}

// crossings counts pairs of links that cross, and what lies between the ends of a
// turn.
func (a *arranger) crossings() int {
	sum := 0
	for _, t := range a.turns {
		sum += max(a.at[t.left]-a.at[t.right], a.at[t.right]-a.at[t.left]) - 1
	}
	for c, list := range a.links {
		if len(list) < 2 {
			continue
		}
		slices.SortFunc(list, func(x, y link) int {
			return cmp.Or(cmp.Compare(a.at[x.left], a.at[y.left]), cmp.Compare(a.at[x.right], a.at[y.right]))
		})
		tree := make([]int, len(a.s.columns[c])+1) // Fenwick: how many ended at a place
		for seen, l := range list {
			above := 0
			for k := a.at[l.right] + 1; k > 0; k -= k & -k {
				above += tree[k]
			}
			sum += seen - above
			for k := a.at[l.right] + 1; k < len(tree); k += k & -k {
				tree[k]++
			}
		}
	}
	return sum
}

// swap exchanges neighbours in a column where that saves crossings.
func (a *arranger) swap() bool {
	changed := false
	for _, col := range a.s.columns {
		for i := 0; i+1 < len(col); i++ {
			x, y := col[i], col[i+1]
			if a.between(x, y) > a.between(y, x) {
				col[i], col[i+1] = y, x
				a.at[x], a.at[y] = i+1, i
				changed = true
			}
		}
	}
	return changed
}

// between counts the crossings of the links of two nodes, the first above the other.
func (a *arranger) between(x, y int) int {
	sum := 0
	for _, near := range [][][]int{a.lefts, a.rights} {
		for _, p := range near[x] {
			for _, q := range near[y] {
				if a.at[p] > a.at[q] {
					sum++
				}
			}
		}
	}
	return sum
}
