package isolate

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// pair weighs two faults at once. A pair is left out where a bound on its weight
// says that it does not matter.
func (w *weighing) pair(ctx context.Context) error {
	kept, least := w.partners()
	for i, a := range kept {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		x := &w.classes[a]
		rows, at := w.rows(x)
		for _, b := range kept[:i+1] {
			y := &w.classes[b]
			if len(x.stages) == 1 && len(y.stages) == 1 && x.stages[0] == y.stages[0] {
				continue
			}
			if bound := math.Log(x.prior) + math.Log(y.prior) + min(x.most, y.most); bound < least {
				w.lost = append(w.lost, bound)
				continue
			}
			fit := y.single
			for k, row := range rows {
				fit += row[y.effects[at[k]]]
			}
			w.pairs = append(w.pairs, pair{a: a, b: b, fit: fit})
		}
	}
	return nil
}

// rows is what a class adds to what another does alone, by effect of the other,
// at those columns where it has one.
func (w *weighing) rows(x *class) (rows [][]float64, at []int) {
	for k, c := range w.columns {
		e := x.effects[k]
		if e == 0 {
			continue
		}
		row := make([]float64, len(c.table.fit))
		for b := range row {
			row[b] = c.count * (c.table.fit[e][b] - c.table.fit[0][b])
		}
		rows, at = append(rows, row), append(at, k)
	}
	return rows, at
}

// partners lists the classes that pairs are made of, and the least weight (over
// that of a good unit) at which a pair matters.
func (w *weighing) partners() (kept []int, least float64) {
	priors, top := 0.0, 0.0
	for k := range w.classes {
		c := &w.classes[k]
		top = max(top, math.Log(c.prior)+c.single)
		priors += c.prior
		kept = append(kept, k)
	}
	if w.lose < 0 {
		return kept, math.Inf(-1)
	}
	total := math.Exp(-top)
	for k := range w.classes {
		total += math.Exp(math.Log(w.classes[k].prior) + w.classes[k].single - top)
	}
	all := math.Log(total) + top
	bound := func(k int) float64 { return math.Log(w.classes[k].prior) + w.classes[k].most + math.Log(priors) }
	slices.SortStableFunc(kept, func(a, b int) int { return cmp.Compare(bound(a), bound(b)) })
	sum, first := 0.0, 0
	for ; first < len(kept); first++ {
		x := math.Exp(bound(kept[first]) - all)
		if sum+x > w.lose/2 && len(kept)-first <= w.most {
			break
		}
		sum += x
		w.lost = append(w.lost, bound(kept[first]))
	}
	pairs := float64(max(1, len(kept)-first))
	return kept[first:], all + math.Log(w.lose/2) - 2*math.Log(pairs)
}
