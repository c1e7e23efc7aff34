package layered

import "slices"

// columns gives each box a column: right of everything that leads to it, as far
// left as that allows, or, if it is Late, as far right as what it leads to allows.
func columns(g Graph, forward []bool) []int {
	order := sorted(g, forward)
	column := make([]int, len(g.Boxes))
	leaving := make([][]int, len(g.Boxes))
	for k, l := range g.Lines {
		if forward[k] {
			leaving[l.From] = append(leaving[l.From], l.To)
		}
	}
	for _, k := range order {
		for _, to := range leaving[k] {
			column[to] = max(column[to], column[k]+1)
		}
	}
	for _, k := range slices.Backward(order) {
		if !g.Boxes[k].Late || len(leaving[k]) == 0 {
			continue
		}
		next := column[leaving[k][0]]
		for _, to := range leaving[k] {
			next = min(next, column[to])
		}
		column[k] = next - 1
	}
	return squeeze(column)
}

// squeeze closes columns that nothing is in.
func squeeze(column []int) []int {
	used := slices.Clone(column)
	slices.Sort(used)
	used = slices.Compact(used)
	for k, c := range column {
		column[k], _ = slices.BinarySearch(used, c)
	}
	return column
}

// sorted lists the boxes so that every forward line goes from an earlier to a
// later one (Kahn 1962).
func sorted(g Graph, forward []bool) []int {
	entering := make([]int, len(g.Boxes))
	leaving := make([][]int, len(g.Boxes))
	for k, l := range g.Lines {
		if forward[k] {
			entering[l.To]++
			leaving[l.From] = append(leaving[l.From], l.To)
		}
	}
	var order []int
	for k := range g.Boxes {
		if entering[k] == 0 {
			order = append(order, k)
		}
	}
	for k := 0; k < len(order); k++ {
		for _, to := range leaving[order[k]] {
			if entering[to]--; entering[to] == 0 {
				order = append(order, to)
			}
		}
	}
	return order
}
