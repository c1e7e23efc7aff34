package layered

// acyclic tells of each line whether it goes forward; the forward ones have no
// cycles. Lines to an underside give way: cycles are opened among the others
// first, where they close when one goes along them from where they begin.
func acyclic(g Graph) []bool {
	forward := make([]bool, len(g.Lines))
	leaving := make([][]int, len(g.Boxes))
	entered := make([]bool, len(g.Boxes))
	for k, l := range g.Lines {
		if !l.Under {
			leaving[l.From] = append(leaving[l.From], k)
			entered[l.To] = true
		}
	}
	const unseen, open, done = 0, 1, 2
	state := make([]int, len(g.Boxes))
	var visit func(k int)
	visit = func(k int) {
		state[k] = open
		for _, l := range leaving[k] {
			to := g.Lines[l].To
			forward[l] = state[to] != open
			if state[to] == unseen {
				visit(to)
			}
		}
		state[k] = done
	}
	for _, later := range []bool{false, true} {
		for k := range g.Boxes {
			if state[k] == unseen && entered[k] == later {
				visit(k)
			}
		}
	}
	under(g, forward)
	return forward
}

// under adds lines to undersides, as long as they close no cycle.
func under(g Graph, forward []bool) {
	next := make([][]int, len(g.Boxes))
	for k, l := range g.Lines {
		if forward[k] {
			next[l.From] = append(next[l.From], l.To)
		}
	}
	visited := make([]int, len(g.Boxes)) // in which search
	for k, l := range g.Lines {
		if !l.Under {
			continue
		}
		stack := []int{l.To}
		visited[l.To] = k + 1
		for len(stack) > 0 && visited[l.From] != k+1 {
			at := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for _, to := range next[at] {
				if visited[to] != k+1 {
					visited[to] = k + 1
					stack = append(stack, to)
				}
			}
		}
		if forward[k] = visited[l.From] != k+1; forward[k] {
			next[l.From] = append(next[l.From], l.To)
		}
	}
}
