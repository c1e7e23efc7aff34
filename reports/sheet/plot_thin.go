package sheet

import "math"

// Of a series with more dots than thinFrom those that fall on one place are
// drawn once; places are as fine as print resolves beside signs of their size.
const (
	thinFrom    = 400
	thinColumns = 400
	thinRows    = 64
)

// thin leaves out what could not be seen: of each stretch of frequency as wide
// as a sign's stroke the dots between the highest and the lowest, and flagged
// ones that lie on one another. The worst of each stretch and every place with
// a flag stay, so that a sheet of any length keeps a drawing of bounded size
// that looks no better than the unit is. It tells whether dots were left out.
func (c *chart) thin() bool {
	y, left := c.yScale(), false
	for k := range c.Series {
		if len(c.Series[k].Points) <= thinFrom {
			continue
		}
		n := len(c.Series[k].Points)
		c.Series[k].Points = c.thinnedDots(c.Series[k].Points, y)
		left = left || len(c.Series[k].Points) < n
	}
	for k := range c.Bands {
		c.Bands[k].Points = c.thinnedBand(c.Bands[k].Points)
	}
	c.Gaps = c.thinnedGaps()
	return left
}

// column is the stretch of the axis that a frequency falls on.
func (c *chart) column(hz float64) int {
	return int(thinColumns * math.Log(hz/c.From) / math.Log(c.To/c.From))
}

// place is where on a chart a flagged dot lies, and what is drawn there.
type place struct {
	column, row int
	valued      bool
	mark        mark
}

func (c *chart) thinnedDots(list []dot, y symlog) []dot {
	high, low, flagged := map[int]int{}, map[int]int{}, map[place]int{}
	for k, d := range list {
		column := c.column(d.X)
		inside := d.Valued && math.Abs(d.Y) <= y.Top
		if inside {
			if n, taken := high[column]; !taken || d.Y > list[n].Y {
				high[column] = k
			}
			if n, taken := low[column]; !taken || d.Y < list[n].Y {
				low[column] = k
			}
			if d.Mark == plain {
				continue
			}
		}
		p := place{column: column, valued: d.Valued, mark: d.Mark}
		switch {
		case inside:
			p.row = int(thinRows * y.Normalize(-y.Top, y.Top, d.Y))
		case d.Valued: // an arrow at the upper or lower edge
			p.row = int(math.Copysign(2*thinRows, d.Y))
		}
		if n, taken := flagged[p]; !taken || math.Abs(d.Y) > math.Abs(list[n].Y) {
			flagged[p] = k
		}
	}
	keep := make([]bool, len(list))
	for _, k := range flagged {
		keep[k] = true
	}
	for column := range high {
		keep[high[column]], keep[low[column]] = true, true
	}
	var out []dot
	for k := range list {
		if keep[k] {
			out = append(out, list[k])
		}
	}
	return out
}

// thinnedBand keeps of each stretch where a limit begins and ends and its
// widest and narrowest place.
func (c *chart) thinnedBand(list []xy) []xy {
	if len(list) <= 4*thinColumns {
		return list
	}
	var out []xy
	for k := 0; k < len(list); {
		end, low, high := k+1, k, k
		for ; end < len(list) && c.column(list[end].X) == c.column(list[k].X); end++ {
			if list[end].Y < list[low].Y {
				low = end
			}
			if list[end].Y > list[high].Y {
				high = end
			}
		}
		for n := k; n < end; n++ {
			if n == k || n == end-1 || n == low || n == high {
				out = append(out, list[n])
			}
		}
		k = end
	}
	return out
}

// thinnedGaps leaves out gaps that would be hatched where one with the same
// label is.
func (c *chart) thinnedGaps() []gap {
	if len(c.Gaps) <= thinFrom {
		return c.Gaps
	}
	type place struct {
		from, to int
		label    string
	}
	seen := map[place]bool{}
	var out []gap
	for _, g := range c.Gaps {
		p := place{c.column(g.From), c.column(g.To), g.Label}
		if !seen[p] {
			seen[p] = true
			out = append(out, g)
		}
	}
	return out
}

// thinnedSteps keeps of each stretch of the axis the lowest and the highest
// limit.
func (g *graph) thinnedSteps() []graphStep {
	if len(g.Steps) <= thinFrom {
		return g.Steps
	}
	x, _ := g.ranges()
	at := func(v float64) int { return int(thinColumns * (v - x.low) / (x.high - x.low)) }
	if g.X.Log {
		at = func(v float64) int { return int(thinColumns * math.Log(v/x.low) / math.Log(x.high/x.low)) }
	}
	type stretch struct{ from, to int }
	low, high := map[stretch]int{}, map[stretch]int{}
	for k, s := range g.Steps {
		p := stretch{at(s.From), at(s.To)}
		if n, taken := low[p]; !taken || s.Y < g.Steps[n].Y {
			low[p] = k
		}
		if n, taken := high[p]; !taken || s.Y > g.Steps[n].Y {
			high[p] = k
		}
	}
	var out []graphStep
	for k, s := range g.Steps {
		p := stretch{at(s.From), at(s.To)}
		if low[p] == k || high[p] == k {
			out = append(out, s)
		}
	}
	return out
}

// envelope is the course of the uncertainty of a line, upper edge and lower;
// of a long one the widest of each span. It is empty where a value has none.
func envelope(list []xyu, log bool) (up, down []xy) {
	spans := min(len(list), spansMost)
	for k := range spans {
		part := list[k*len(list)/spans : (k+1)*len(list)/spans]
		high, low := math.Inf(-1), math.Inf(1)
		for _, q := range part {
			if q.U <= 0 || !drawable(q.Y-q.U, log) {
				return nil, nil
			}
			high, low = max(high, q.Y+q.U), min(low, q.Y-q.U)
		}
		x := part[len(part)/2].X
		if k == 0 {
			x = part[0].X
		} else if k == spans-1 {
			x = part[len(part)-1].X
		}
		up, down = append(up, xy{x, high}), append(down, xy{x, low})
	}
	return up, down
}
