package layered

import (
	"cmp"
	"math"
	"slices"
)

// ends gives each line its place at its box, in the order of where it comes from
// or goes to, and each node its room.
func (s *strip) ends() {
	at := make([]int, len(s.nodes))
	for _, col := range s.columns {
		for i, k := range col {
			at[k] = i
		}
	}
	type port struct {
		e    *end
		mean float64
	}
	lefts, rights, unders := make([][]port, len(s.nodes)), make([][]port, len(s.nodes)), make([][]port, len(s.nodes))
	mean := func(list []end, but *end) float64 {
		sum, n := 0.0, 0
		for k := range list {
			if &list[k] != but {
				sum += float64(at[list[k].node])
				n++
			}
		}
		return sum / float64(max(n, 1))
	}
	for _, list := range s.channels {
		for _, g := range list {
			for k := range g.lefts {
				if e := &g.lefts[k]; !e.passes {
					far := mean(g.rights, nil)
					if len(g.rights) == 0 {
						far = mean(g.lefts, e)
					}
					rights[e.node] = append(rights[e.node], port{e, far})
				}
			}
			for k := range g.rights {
				e := &g.rights[k]
				far := mean(g.lefts, nil)
				if len(g.lefts) == 0 {
					far = mean(g.rights, e)
				}
				switch {
				case e.passes:
				case e.under:
					unders[e.node] = append(unders[e.node], port{e, far})
				default:
					lefts[e.node] = append(lefts[e.node], port{e, far})
				}
			}
		}
	}
	for k := range s.nodes {
		n := &s.nodes[k]
		for _, list := range [][]port{lefts[k], rights[k], unders[k]} {
			slices.SortStableFunc(list, func(a, b port) int { return cmp.Compare(a.mean, b.mean) })
		}
		if n.box < 0 && n.tag < 0 {
			continue
		}
		n.Height = max(n.Height, float64(max(len(lefts[k]), len(rights[k])))*pitch)
		n.Width = max(n.Width, float64(len(unders[k])+1)*pitch)
		for _, list := range [][]port{lefts[k], rights[k]} {
			for i, p := range list {
				p.e.off = (float64(i) - float64(len(list)-1)/2) * pitch
			}
		}
		n.up, n.down = n.Height/2+n.Above, n.Height/2+n.Below
		for i, p := range unders[k] {
			p.e.off = n.down + lineGap + float64(i)*trackGap
		}
		if m := len(unders[k]); m > 0 {
			n.down = unders[k][m-1].e.off
		}
	}
}

// underX is where a line that ends under a box at a height below its middle goes
// up, from the middle of the box.
func underX(off float64, ends []float64) float64 {
	best := 0
	for k, e := range ends {
		if math.Abs(e-off) < math.Abs(ends[best]-off) {
			best = k
		}
	}
	return (float64(best) - float64(len(ends)-1)/2) * pitch
}
