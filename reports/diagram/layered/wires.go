package layered

// end is where a segment meets a column.
type end struct {
	node   int
	under  bool    // it goes on to the underside of a box
	passes bool    // the node is the line itself
	off    float64 // from the middle of the node
}

// segment is what of one net lies in one channel: a piece up or down with ends to
// the left and to the right.
type segment struct {
	lefts, rights []end
	track         int // its place from the left
	x             float64
	// A segment whose track can't be left or right of another is split at a
	// height: what comes from the left has one track, what goes to the right
	// another.
	split       bool
	middle      float64
	secondTrack int
	secondX     float64
}

// hop is a wire's way through a channel: in by one end, out by another.
type hop struct {
	segment *segment
	inLeft  bool
	in      int // index of the end
	outLeft bool
	out     int
	column  int // that it gets to
}

// connect makes the segments of all wires, and the nodes where lines pass.
func (s *strip) connect() {
	last := 0
	for _, n := range s.nodes {
		last = max(last, n.column)
	}
	s.channels = make([][]*segment, last+2)
	type key struct{ from, net int }
	var order []key
	nets := map[key][]int{}
	for k, w := range s.wires {
		if !w.forward {
			continue
		}
		at := key{w.from, w.net}
		if nets[at] == nil {
			order = append(order, at)
		}
		nets[at] = append(nets[at], k)
	}
	for _, at := range order {
		s.forward(at.from, nets[at])
	}
	for k := range s.wires {
		if !s.wires[k].forward {
			s.back(k)
		}
	}
}

func (s *strip) segment(channel int) *segment {
	g := &segment{}
	s.channels[channel] = append(s.channels[channel], g)
	return g
}

// pass adds a node for a line that runs through a column.
func (s *strip) pass(column int, order float64) int {
	s.nodes = append(s.nodes, node{box: -1, tag: -1, column: column, order: order})
	return len(s.nodes) - 1
}

// forward leads the wires of one net to the right.
func (s *strip) forward(from int, wires []int) {
	last, order := 0, 0.0
	for _, w := range wires {
		last = max(last, s.nodes[s.wires[w].to].column)
		order += s.nodes[s.wires[w].to].order / float64(len(wires))
	}
	order = (order + s.nodes[from].order) / 2
	before, passes := from, false
	type step struct {
		segment *segment
		through int
	}
	var way []step
	for c := s.nodes[from].column + 1; c <= last; c++ {
		g := s.segment(c)
		g.lefts = []end{{node: before, passes: passes}}
		for _, k := range wires {
			w := &s.wires[k]
			if s.nodes[w.to].column != c {
				continue
			}
			g.rights = append(g.rights, end{node: w.to, under: w.under})
			for i, st := range way {
				w.hops = append(w.hops, hop{segment: st.segment, inLeft: true, out: st.through, column: s.nodes[from].column + 1 + i})
			}
			w.hops = append(w.hops, hop{segment: g, inLeft: true, out: len(g.rights) - 1, column: c})
		}
		if c < last {
			before, passes = s.pass(c, order), true
			g.rights = append(g.rights, end{node: before, passes: true})
			way = append(way, step{g, len(g.rights) - 1})
		}
	}
}

// back leads a wire that closes a cycle: round its own box to the left.
func (s *strip) back(k int) {
	w := &s.wires[k]
	first, last := s.nodes[w.to].column, s.nodes[w.from].column
	order := max(s.nodes[w.from].order, s.nodes[w.to].order) + 5e-7 // just below both
	g := s.segment(last + 1)
	before := s.pass(last, order)
	s.nodes[before].back = true
	g.lefts = []end{{node: w.from}, {node: before, passes: true}}
	w.hops = append(w.hops, hop{segment: g, inLeft: true, in: 0, outLeft: true, out: 1, column: last})
	for c := last; c > first; c-- {
		g = s.segment(c)
		next := s.pass(c-1, order)
		s.nodes[next].back = true
		g.lefts, g.rights = []end{{node: next, passes: true}}, []end{{node: before, passes: true}}
		w.hops = append(w.hops, hop{segment: g, outLeft: true, column: c - 1})
		before = next
	}
	g = s.segment(first)
	g.rights = []end{{node: before, passes: true}, {node: w.to, under: w.under}}
	w.hops = append(w.hops, hop{segment: g, in: 0, out: 1, column: first})
}

func (g *segment) end(left bool, k int) *end {
	if left {
		return &g.lefts[k]
	}
	return &g.rights[k]
}
