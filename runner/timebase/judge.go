package timebase

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
	"bandproof/runner/stability"
)

// found is what a series comes to.
type found struct {
	*series
	times   []float64 // s since the first reading that counts
	offsets []float64 // of the timebase, relative
	mean    quantity.Exact
	far     quantity.Exact // the offset farthest from zero, as a magnitude
	missing int            // readings of the unit without a count
	trend   *stability.Trend
	trendNo error // why there is no trend
	bench   uncertainty.Budget
	drift   float64 // what the reference may drift, per day
	limit   quantity.Exact
	rows    []runner.Row
	curves  []runner.Curve
}

// outcome judges a series.
func (x *series) outcome(ctx context.Context) (runner.Outcome, error) {
	f := &found{series: x, limit: x.s.Plan().Timebase}
	f.collect()
	o := runner.Outcome{Courses: []runner.Course{x.course}, Standards: x.s.Standards(x.task.Points...)}
	if x.task.Output != nil {
		o.Standards = x.task.Output.Standards
	}
	if len(f.times) < fewest {
		o.Rows = []runner.Row{f.tooFew()}
		o.Notes = x.notes
		return o, nil
	}
	f.sources()
	f.trend, f.trendNo = stability.FitTrend(f.times, f.offsets, x.course.Resolution.Float()/x.course.Expected.Float())
	for _, judge := range []func(context.Context) error{f.offset, f.ageing, f.deviations, f.setting} {
		if err := judge(ctx); err != nil {
			return o, fmt.Errorf("%s: %w", x.task.ID, err)
		}
	}
	f.course()
	if row, ok := f.warmedUp(); ok {
		f.rows = append(f.rows, row)
	}
	o.Rows, o.Curves, o.Notes = f.rows, f.curves, append(x.notes, x.course.Notes...)
	return o, nil
}

// collect makes offsets of the timebase from the readings that count. A unit
// whose timebase is high reads low; the monitor shows the timebase itself.
func (f *found) collect() {
	sum, n := quantity.Exact{}, int64(0)
	var first time.Time
	for _, got := range f.series.course.Readings {
		switch {
		case got.Use != runner.Counted:
			continue
		case got.Mark != drivers.None:
			f.missing++
			continue
		case n == 0:
			first = got.At
		}
		r := got.Frequency.Exact()
		y := f.offsetOf(r)
		sum, n = sum.Add(r), n+1
		f.times, f.offsets = append(f.times, got.At.Sub(first).Seconds()), append(f.offsets, y.Float())
		if y = y.Abs(); y.Cmp(f.far) > 0 {
			f.far = y
		}
	}
	if n > 0 {
		f.mean = f.offsetOf(sum.Quo(quantity.ExactInt(n)))
	}
}

func (f *found) offsetOf(reading quantity.Exact) quantity.Exact {
	one, expected := quantity.ExactInt(1), f.series.course.Expected
	if f.task.Output != nil {
		return reading.Quo(expected).Sub(one)
	}
	return expected.Quo(reading).Sub(one)
}

// tooFew is the row of a series that tells nothing.
func (f *found) tooFew() runner.Row {
	why := f.series.bench
	switch {
	case why != "":
	case f.missing > 0:
		why = decision.PathNotProven
	default:
		why = decision.LinkFailed
	}
	return runner.NotJudgedRow("timebase", why, fmt.Sprintf("%d readings count, %d had no count; at least %d are needed", len(f.times), f.missing, fewest))
}

// sources lists what the bench adds to an offset, relative.
func (f *found) sources() {
	if o := f.task.Output; o != nil {
		f.bench, f.drift = slices.Clone(o.Relative), o.Drift
		return
	}
	p := f.task.Points[0]
	s, _ := f.s.Bench().Source(p.Source)
	f.bench = slices.Clone(f.s.Plan().Topology[p.Source].Relative)
	if s.Resolution.Sign() > 0 {
		f.bench = append(f.bench, uncertainty.Line("setting resolution of source "+s.Name, s.Resolution.Float()/2/p.Frequency.Float(), uncertainty.Rectangular, 0, "bench file"))
	}
	if r, ok := f.s.Bench().Reference(s.Reference); ok {
		f.drift = r.Drift.Float()
	}
}

// OffsetRow is what the row of the timebase's offset, a relative one, is called.
const OffsetRow = "timebase offset, mean of the series"

// offset judges the mean offset, and no single reading may lie beyond the limit
// and one count.
func (f *found) offset(context.Context) error {
	budget := slices.Clone(f.bench)
	if f.trend != nil {
		budget = append(budget, uncertainty.Line("scatter and resolution of the readings", f.trend.LevelU, uncertainty.Normal, f.trend.Freedom, fmt.Sprintf("%d readings, worth %.0f independent ones", f.trend.Count, f.trend.Effective)))
	} else {
		budget = append(budget, uncertainty.Line("spread of the readings", spread(f.offsets)/2, uncertainty.Rectangular, 0, "they hang together: half of largest − smallest"))
	}
	row := runner.Row{What: OffsetRow, Unit: "1", Found: &f.mean, Limit: &f.limit, Side: runner.Within, Budget: budget}
	if err := f.judge(&row); err != nil {
		return err
	}
	row.Says = fmt.Sprintf("timebase %s, so that readings are %s", ppm(f.mean.Float()), ppm(-f.mean.Float()))
	count := f.limit.Add(f.series.course.Resolution.Quo(f.series.course.Expected))
	single := runner.Row{What: "farthest single reading, limit and one count", Unit: "1", Found: &f.far, Limit: &count, Side: runner.AtMost}
	single.Judge(f.s.Procedure().Decision)
	f.rows = append(f.rows, row, single)
	if f.missing > 0 {
		f.rows = append(f.rows, runner.Row{What: "readings without a count", Verdict: decision.Verdict{Word: decision.Fail, Reason: decision.NoCount},
			Says: fmt.Sprintf("%d of %d, while the source was good", f.missing, f.missing+len(f.times))})
	}
	return nil
}

// ageing judges the slope per day. A slope that is known worse than the limit
// is wide shows nothing, unless it lies beyond that too.
func (f *found) ageing(context.Context) error {
	const day = 86400
	span := f.times[len(f.times)-1]
	row := runner.Row{What: "ageing per day", Unit: "1/d"}
	if f.trend == nil {
		row.Says = fmt.Sprintf("not to be told from %s: %v", length(span), f.trendNo)
		if f.keys.Ageing != nil {
			row.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.UncertaintyTooLarge}
		}
		f.rows = append(f.rows, row)
		return nil
	}
	slope := quantity.ExactDecimal(f.trend.Slope * day)
	row.Found = &slope
	row.Budget = uncertainty.Budget{
		uncertainty.Line("slope by least squares", f.trend.Standard*day, uncertainty.Normal, f.trend.Freedom, fmt.Sprintf("%d readings over %s, lag-1 autocorrelation %.2f", f.trend.Count, length(span), f.trend.LagOne)),
		uncertainty.Line("drift of the reference", f.drift, uncertainty.Rectangular, 0, "bench file")}
	if a := f.keys.Ageing; a != nil {
		limit := a.Exact()
		row.Limit, row.Side = &limit, f.keys.side()
	}
	if err := f.judge(&row); err != nil {
		return err
	}
	y, u, ok := uncertainty.Report(slope.Mul(million), quantity.ExactFloat(row.Uncertainty.Expanded*1e6))
	if row.Says = fmt.Sprintf("%s ppm per day, U = %s ppm", y, u); !ok {
		row.Says = ppm(f.trend.Slope*day) + " per day"
	}
	f.rows = append(f.rows, row)
	return nil
}

var million = quantity.ExactInt(1_000_000)

// judge combines the budget of a row and judges it where something is promised.
// What the bench knows too badly is not judged.
func (f *found) judge(row *runner.Row) error {
	u, err := row.Budget.Combine()
	if err != nil {
		return fmt.Errorf("%s: %w", row.What, err)
	}
	row.Uncertainty = &u
	row.Judge(f.s.Procedure().Decision)
	if row.Limit == nil || row.Limit.Abs().Cmp(quantity.ExactDecimal(u.Expanded)) >= 0 {
		return nil
	}
	if row.Margin.Add(quantity.ExactDecimal(u.Expanded)).Sign() >= 0 {
		row.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.UncertaintyTooLarge}
	}
	return nil
}

// setting recommends where to set the timebase.
func (f *found) setting(context.Context) error {
	if f.trend == nil || f.keys.Lasts.Float() < 3600 {
		return nil
	}
	limit, how, err := f.s.Procedure().Unit.Timebase.Relative(quantity.Duration{})
	if err != nil {
		return err
	}
	reserve := f.reserve()
	offset, ageing := f.rows[0], f.row("ageing per day")
	bound := limit.Float() - reserve - offset.Uncertainty.Expanded
	slope, u := ageing.Found.Float(), ageing.Uncertainty.Expanded
	f.notes = append(f.notes, fmt.Sprintf("recommended setting: for steady ageing by the slope found, from the end of the series on; limit %s (%s) less %s for other influences and U of the offset, %s", ppm(limit.Float()), how, ppm(reserve), ppm(offset.Uncertainty.Expanded)))
	row := runner.Row{What: "recommended setting of the timebase", Unit: "1"}
	best, ok := Longest(bound, slope, u)
	if !ok {
		row.Says = "none: other influences and the uncertainty take all of the limit"
		f.rows = append(f.rows, row)
		return nil
	}
	y := quantity.ExactDecimal(best.Offset)
	row.Found = &y
	now, _ := f.trend.At(f.times[len(f.times)-1])
	least, _ := holds(now, bound, slope, u)
	row.Says = fmt.Sprintf("set to %s (readings then %s): within tolerance for at least %s, %s at the slope found; as it stands, at %s, for at least %s",
		ppm(best.Offset), ppm(-best.Offset), days(best.Least), days(best.Expected), ppm(now), days(least))
	f.rows = append(f.rows, row)
	return nil
}

// reserve is what other influences than ageing may take of the limit.
func (f *found) reserve() float64 {
	if f.keys.Reserve != nil {
		return f.keys.Reserve.Float()
	}
	sum := 0.0
	t := f.s.Procedure().Unit.Timebase
	for _, x := range []*quantity.Ratio{t.Temperature, t.Line, t.WarmUp} {
		if x != nil {
			sum += math.Abs(x.Float())
		}
	}
	return sum
}

func (f *found) row(what string) runner.Row {
	for _, r := range f.rows {
		if r.What == what {
			return r
		}
	}
	return runner.Row{}
}

func spread(list []float64) float64 { return slices.Max(list) - slices.Min(list) }
