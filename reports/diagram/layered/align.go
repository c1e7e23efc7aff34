package layered

import (
	"cmp"
	"slices"
)

// tie is a pair of ends that a line would best join without a bend.
type tie struct {
	channel           int
	left, right       int // nodes
	leftOff, rightOff float64
	weight            int
	rank              int // lower first
}

// align chooses which ties are straight: lines that pass first, then those that
// are the only ones of both their ends, then those in the middle. Ties that are
// straight do not cross, so the runs have an order from the top.
func (s *strip) align() (partOf []int, shift []float64, ties []tie) {
	at := make([]int, len(s.nodes))
	for _, col := range s.columns {
		for i, k := range col {
			at[k] = i
		}
	}
	ties = s.ties()
	byRank := slices.Clone(ties)
	slices.SortStableFunc(byRank, func(a, b tie) int { return cmp.Compare(a.rank, b.rank) })
	next, before := make([]int, len(s.nodes)), make([]int, len(s.nodes))
	for k := range next {
		next[k], before[k] = -1, -1
	}
	offset := make([]float64, len(s.nodes)) // of a node over the one that it is tied to
	straight := make([][]tie, len(s.channels))
	for _, t := range byRank {
		if next[t.left] >= 0 || before[t.right] >= 0 || crosses(straight[t.channel], t, at) {
			continue
		}
		next[t.left], before[t.right] = t.right, t.left
		offset[t.right] = t.leftOff - t.rightOff
		straight[t.channel] = append(straight[t.channel], t)
	}
	partOf, shift = make([]int, len(s.nodes)), make([]float64, len(s.nodes))
	n := 0
	for k := range s.nodes {
		if before[k] >= 0 {
			continue
		}
		y := 0.0
		for i := k; i >= 0; i = next[i] {
			if i != k {
				y += offset[i]
			}
			partOf[i], shift[i] = n, y
		}
		n++
	}
	return partOf, shift, ties
}

func crosses(list []tie, t tie, at []int) bool {
	for _, o := range list {
		if (at[o.left] < at[t.left]) != (at[o.right] < at[t.right]) {
			return true
		}
	}
	return false
}

// ties lists what could be straight, and how much that is worth.
func (s *strip) ties() []tie {
	ins, outs := make([]int, len(s.nodes)), make([]int, len(s.nodes))
	for _, list := range s.channels {
		for _, g := range list {
			for _, e := range g.lefts {
				outs[e.node]++
			}
			for _, e := range g.rights {
				ins[e.node]++
			}
		}
	}
	var ties []tie
	for c, list := range s.channels {
		for _, g := range list {
			for _, l := range g.lefts {
				for i, r := range g.rights {
					t := tie{channel: c, left: l.node, right: r.node, leftOff: l.off, rightOff: r.off, weight: 1}
					lone := len(g.rights) == 1 && outs[l.node] == 1
					switch {
					case l.passes && r.passes:
						t.rank, t.weight = 0, 4
					case r.under:
						t.rank = 5
					case lone && ins[r.node] == 1:
						t.rank, t.weight = 1, 3
					case i == len(g.rights)/2 && near0(l.off) && near0(r.off):
						t.rank, t.weight = 2, 2
					case near0(l.off) || near0(r.off):
						t.rank = 3
					default:
						t.rank = 4
					}
					ties = append(ties, t)
				}
			}
		}
	}
	return ties
}

func near0(off float64) bool { return off > -pitch && off < pitch }
