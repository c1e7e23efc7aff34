package edge

import (
	"context"
	"fmt"
	"math"
	"sort"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// Take looks for edges in frequency or in level.
func (Kind) Take(ctx context.Context, s *runner.Station, t procedures.Task) (runner.Outcome, error) {
	k := t.Keys.(*keys)
	if k.inLevel() {
		return k.takeLevel(ctx, s, t)
	}
	return k.takeFrequency(ctx, s, t)
}

// end is a frequency of the band sweep with what was found there: where points
// differ in level, the one that fails at the highest level stands for all.
type end struct {
	point procedures.Point
	good  bool
}

// ends are the judged points of the input that the path's source reaches, by
// rising frequency. Only they matter to this path: between two points of other
// paths, those paths look.
func ends(points []runner.PointResult, t procedures.Task, source procedures.Source) (list []end) {
	at := map[string]int{}
	for _, p := range points {
		f := p.Point.Frequency
		if p.Point.Input != t.Input || !p.Judged() || f.Cmp(source.Range[0]) < 0 || f.Cmp(source.Range[1]) > 0 {
			continue
		}
		e := end{p.Point, p.Verdict.Good()}
		n, again := at[f.Plain()]
		switch {
		case !again:
			at[f.Plain()] = len(list)
			list = append(list, e)
		case !e.good && (list[n].good || level(e.point) > level(list[n].point)):
			list[n] = e
		}
	}
	sort.SliceStable(list, func(a, b int) bool { return list[a].point.Frequency.Cmp(list[b].point.Frequency) < 0 })
	return list
}

func level(p procedures.Point) float64 { return p.Levels.Input.DBm(quantity.Dbm50()) }

func (k *keys) takeFrequency(ctx context.Context, s *runner.Station, t procedures.Task) (runner.Outcome, error) {
	source, _ := s.Bench().Source(t.Source)
	list := ends(s.Points(), t, source)
	out := runner.Outcome{Standards: s.Standards(procedures.Point{Path: t.Path, Source: t.Source, Input: t.Input})}
	left := mostProbes
	for n := 1; n < len(list); n++ {
		low, high := list[n-1], list[n]
		if low.good == high.good || low.point.Path != t.Path && high.point.Path != t.Path {
			continue
		}
		look := k.search(s, t, low, high)
		look.left = left
		rows, err := k.stretch(ctx, s, look, low, high)
		if err != nil {
			return out, err
		}
		out.Rows, out.Shots, left = append(out.Rows, rows...), append(out.Shots, look.shots...), look.left
		out.Notes = append(out.Notes, look.open...)
	}
	if len(out.Rows) == 0 {
		out.Rows = []runner.Row{none(list)}
	}
	number(&out, t)
	return out, nil
}

// search is one between two ends, at the level and gate of the one that failed.
func (k *keys) search(s *runner.Station, t procedures.Task, low, high end) *search {
	as := low.point
	if low.good {
		as = high.point
	}
	// As many as the fraction needs, so that what is found reads well.
	digits := min(12, max(4, int(math.Ceil(-math.Log10(k.to())))+3))
	here := as.Path == t.Path // else its level is that of another path
	as.Path, as.Source, as.Readings = t.Path, t.Source, k.readings()
	return &search{
		close: func(a, b sample) bool {
			f := a.shot.Point.Frequency
			return b.shot.Point.Frequency.Sub(f).Float() <= k.to()*f.Float()*(1+1e-9)
		},
		probe: func(ctx context.Context, x float64) (sample, string, error) {
			f, p, err := quantity.Significant(math.Exp(x), digits), as, error(nil)
			for _, e := range []end{low, high} {
				if math.Log(e.point.Frequency.Float()) == x {
					f = e.point.Frequency // with all its digits
				}
			}
			if !here || f.Cmp(as.Frequency) != 0 {
				p, err = s.AtFrequency(as, f)
			}
			if err != nil {
				return sample{}, err.Error(), nil
			}
			return shot(ctx, s, p, math.Log(p.Frequency.Float()))
		},
	}
}

// number gives the shots their ids: task and ordinal.
func number(o *runner.Outcome, t procedures.Task) {
	for k := range o.Shots {
		o.Shots[k].Point.ID = fmt.Sprintf("%s.%d", t.ID, k+1)
	}
}

// none says that the sweep shows no change, or nothing to start from.
func none(list []end) runner.Row {
	row := runner.Row{What: "edge in frequency"}
	if len(list) == 0 {
		row.Says = "not looked for: no point of the band sweep was judged here"
		return row
	}
	from, to := list[0].point.Frequency, list[len(list)-1].point.Frequency
	if len(list) == 1 {
		row.Says = fmt.Sprintf("not looked for: one point of the band sweep was judged here, %s", from)
		return row
	}
	for _, e := range list {
		if !e.good {
			row.Says = fmt.Sprintf("none between %s and %s that this path reaches", from, to)
			if !anyGood(list) {
				row.Says = fmt.Sprintf("no point between %s and %s passes, so there is nothing to start from", from, to)
			}
			return row
		}
	}
	row.Says = fmt.Sprintf("no edge found between %s and %s", from, to)
	return row
}

func anyGood(list []end) bool {
	for _, e := range list {
		if e.good {
			return true
		}
	}
	return false
}

// stretch takes both ends anew at one level and gate, and then what lies
// between. An end that does not come out as before is a finding of its own.
func (k *keys) stretch(ctx context.Context, s *runner.Station, look *search, low, high end) ([]runner.Row, error) {
	var at [2]sample
	for n, e := range []end{low, high} {
		f := e.point.Frequency
		got, why, err := look.at(ctx, math.Log(f.Float()))
		switch {
		case err != nil:
			return nil, err
		case why != "":
			return []runner.Row{{What: "edge in frequency", At: &f, Says: fmt.Sprintf("not found between %s and %s: %s", low.point.Frequency, high.point.Frequency, why)}}, nil
		case got.good != e.good:
			return []runner.Row{{What: "edge in frequency", At: &f, Says: fmt.Sprintf("not found between %s and %s: point %s %s, and %s now at %s and %s gate",
				low.point.Frequency, high.point.Frequency, e.point.ID, passed(e.good), passed(got.good), got.shot.Point.Levels.Input, got.shot.Point.Gate)}}, nil
		}
		at[n] = got
	}
	found, err := look.between(ctx, at[0], at[1], k.steps())
	if err != nil {
		return nil, err
	}
	var rows []runner.Row
	for _, c := range found {
		row, err := frequencyRow(s, c)
		if err != nil {
			return nil, err
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func passed(good bool) string {
	if good {
		return "passed"
	}
	return "failed"
}

func shot(ctx context.Context, s *runner.Station, p procedures.Point, x float64) (sample, string, error) {
	res, err := s.Shot(ctx, p)
	if err != nil {
		return sample{}, "", err
	}
	why := ""
	if res.Verdict.Word == decision.NotJudged {
		why = fmt.Sprintf("at %s, %s: %s", p.Frequency, p.Levels.Input, res.Verdict.Reason)
	}
	return sample{x, res, res.Proper()}, why, nil
}
