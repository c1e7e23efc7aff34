package layered

import (
	"math"
	"slices"
)

// node is what has a place in a column: a box, a tag, or a line that passes.
type node struct {
	box, tag int // the one that it is; -1
	column   int
	Box
	up, down float64 // room that it takes over and under its middle
	x, y     float64 // its middle
	back     bool    // it is a line that goes to the left
	order    float64 // where it would best be, before anything is known
}

// wire is a line, or what of it lies in one strip.
type wire struct {
	lines    []int
	piece    int // of the routes of the lines
	from, to int // nodes
	net      int
	under    bool
	forward  bool
	hops     []hop
}

// strip is a part of the drawing from its left edge to its right.
type strip struct {
	nodes    []node
	wires    []wire
	tags     []Tag
	columns  [][]int      // nodes from the top
	channels [][]*segment // left of each column, and right of the last
}

// fold cuts a graph whose drawing would be too long.
func fold(g Graph, forward []bool, column []int) []*strip {
	last := 0
	for _, c := range column {
		last = max(last, c)
	}
	cuts := cutColumns(g, column, last+1, parts(g, column, last+1))
	at := make([]int, len(column)) // strip of each box
	strips := make([]*strip, len(cuts))
	for s := range strips {
		strips[s] = &strip{}
	}
	local := make([]int, len(column))
	for k, c := range column {
		s := len(cuts) - 1
		for c < cuts[s] {
			s--
		}
		at[k], local[k] = s, len(strips[s].nodes)
		strips[s].nodes = append(strips[s].nodes, node{box: k, tag: -1, column: c, Box: g.Boxes[k], order: g.Boxes[k].Band + 1e-6*float64(k)})
	}
	f := folder{g: g, strips: strips, at: at, local: local, numbers: map[[2]int]int{}, out: map[int]int{}, in: map[[2]int]int{}}
	for k, l := range g.Lines {
		if at[l.From] == at[l.To] {
			s := strips[at[l.From]]
			s.wires = append(s.wires, wire{lines: []int{k}, from: local[l.From], to: local[l.To], net: l.Net, under: l.Under, forward: forward[k]})
		} else {
			f.cut(k)
		}
	}
	for _, s := range strips {
		s.shift()
	}
	return strips
}

// parts is in how many strips a drawing is cut.
func parts(g Graph, column []int, columns int) int {
	if g.Widest <= 0 {
		return 1
	}
	tall := make([]float64, columns)
	wide := make([]float64, columns)
	for k, b := range g.Boxes {
		tall[column[k]] += b.Height + b.Above + b.Below + boxGap
		wide[column[k]] = max(wide[column[k]], b.Width+b.Right+trackGap+beforeBox)
	}
	width := 0.0
	for _, w := range wide {
		width += w
	}
	height := slices.Max(tall)
	if width <= max(g.Sheet, g.Widest*height) {
		return 1
	}
	return min(columns, int(math.Ceil(math.Sqrt(width/(g.Widest*(height+stripGap))))))
}

// cutColumns returns the first column of each strip: near equal lengths, where
// the fewest lines are cut.
func cutColumns(g Graph, column []int, columns, parts int) []int {
	over := make([]int, columns+1) // lines that pass the left side of a column
	for _, l := range g.Lines {
		a, b := min(column[l.From], column[l.To]), max(column[l.From], column[l.To])
		over[a+1]++
		if b+1 <= columns {
			over[b+1]--
		}
	}
	for c := range columns {
		over[c+1] += over[c]
	}
	cuts := []int{0}
	for p := 1; p < parts; p++ {
		ideal := p * columns / parts
		best := ideal
		for c := max(ideal-1, cuts[p-1]+1); c <= min(ideal+1, columns-1); c++ {
			if over[c] < over[best] {
				best = c
			}
		}
		if best > cuts[p-1] {
			cuts = append(cuts, best)
		} else {
			break
		}
	}
	return cuts
}

type folder struct {
	g         Graph
	strips    []*strip
	at, local []int
	numbers   map[[2]int]int // by box and net
	out       map[int]int    // wire to the tag of a number
	in        map[[2]int]int // node of the tag of a number, by strip
}

// cut leads a line to a tag, and on from another.
func (f *folder) cut(line int) {
	l := f.g.Lines[line]
	key := [2]int{l.From, l.Net}
	number, known := f.numbers[key]
	s := f.strips[f.at[l.From]]
	if !known {
		number = len(f.numbers) + 1
		f.numbers[key] = number
		from := s.nodes[f.local[l.From]]
		tag := s.tag(Tag{Number: number, From: l.From, Out: true}, from.column+1, from.order)
		f.out[number] = len(s.wires)
		s.wires = append(s.wires, wire{from: f.local[l.From], to: tag, net: l.Net, forward: true})
	}
	w := &s.wires[f.out[number]]
	w.lines = append(w.lines, line)

	s = f.strips[f.at[l.To]]
	to := s.nodes[f.local[l.To]]
	tag, known := f.in[[2]int{number, f.at[l.To]}]
	if !known {
		tag = s.tag(Tag{Number: number, From: l.From}, to.column-1, to.order)
		f.in[[2]int{number, f.at[l.To]}] = tag
	}
	s.nodes[tag].column = min(s.nodes[tag].column, to.column-1)
	s.wires = append(s.wires, wire{lines: []int{line}, piece: 1, from: tag, to: f.local[l.To], under: l.Under, forward: true})
}

func (s *strip) tag(t Tag, column int, order float64) int {
	s.tags = append(s.tags, t)
	s.nodes = append(s.nodes, node{box: -1, tag: len(s.tags) - 1, column: column, order: order,
		Box: Box{Width: tagWidth, Height: tagHeight}})
	return len(s.nodes) - 1
}

// shift numbers the columns of a strip from 0.
func (s *strip) shift() {
	column := make([]int, len(s.nodes))
	for k, n := range s.nodes {
		column[k] = n.column
	}
	for k, c := range squeeze(column) {
		s.nodes[k].column = c
	}
}
