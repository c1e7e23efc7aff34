package timebase

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
	"bandproof/runner/stability"
)

// even lays the offsets on a grid of equal distances, the usual one from
// reading to reading; what is missing is a gap.
func (f *found) even() (s stability.Series, ok bool) {
	var steps []float64
	for k := 1; k < len(f.times); k++ {
		steps = append(steps, f.times[k]-f.times[k-1])
	}
	slices.Sort(steps)
	each := steps[len(steps)/2]
	if !(each > 0) {
		return s, false
	}
	s = stability.Series{Kind: stability.Frequency, Tau0: quantity.Of[quantity.Second](int64(math.Round(each*1e6)), -6), Values: []float64{f.offsets[0]}}
	for k := 1; k < len(f.times); k++ {
		for n := math.Round((f.times[k] - f.times[k-1]) / each); n > 1 && len(s.Values) < 4*mostReadings; n-- {
			s.Values = append(s.Values, math.NaN())
		}
		s.Values = append(s.Values, f.offsets[k])
	}
	if dead := s.Tau0.Sub(f.series.course.Gate); dead.Float() > each/1000 && dead.Cmp(s.Tau0) < 0 {
		s.DeadTime = dead
	}
	return s, true
}

// deviations judges the promised stabilities, reports those at decades of the
// averaging time, and plots all octaves.
func (f *found) deviations(ctx context.Context) error {
	s, ok := f.even()
	if !ok {
		return nil
	}
	d := f.keys.deviation()
	octaves, err := stability.Analyse(ctx, s, stability.Request{Deviations: []stability.Deviation{d}, Averaging: stability.Averaging{Step: 2}})
	if err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		f.notes = append(f.notes, fmt.Sprintf("no %s: %v", d.Title(), err))
	} else {
		f.notes = append(f.notes, octaves.Notes...)
		f.curves = append(f.curves, plot(d, octaves.Rows))
	}
	each := s.Tau0.Float()
	for _, b := range f.keys.Stability {
		if err := f.promised(ctx, s, d, b); err != nil {
			return err
		}
	}
	decades, err := stability.Analyse(ctx, s, stability.Request{Deviations: []stability.Deviation{d}, Averaging: stability.Averaging{Step: 10}})
	if err != nil {
		return ctx.Err()
	}
	for _, x := range decades.Rows {
		value, what := quantity.ExactDecimal(x.Value), deviationAt(d, x.Tau)
		if f.row(what).What != "" {
			continue // judged already
		}
		f.rows = append(f.rows, runner.Row{What: what, Unit: "1", Found: &value, Says: says(x, f.floor(each, x.Tau))})
	}
	return nil
}

// floor is what one count alone makes of a deviation.
func (f *found) floor(each, tau float64) float64 {
	return floorOf(f.series.course.Resolution.Float()/f.series.course.Expected.Float(), each, tau)
}

// promised judges one stability. What one count alone makes too large is not
// judged.
func (f *found) promised(ctx context.Context, s stability.Series, d stability.Deviation, b bound) error {
	m := max(1, int(math.Round(b.Tau.Float()/s.Tau0.Float())))
	limit := b.Largest.Exact()
	row := runner.Row{What: deviationAt(d, float64(m)*s.Tau0.Float()), Unit: "1", Limit: &limit, Side: runner.AtMost}
	got, err := stability.Analyse(ctx, s, stability.Request{Deviations: []stability.Deviation{d}, Averaging: stability.Averaging{Factors: []int{m}}})
	if err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		row.Says, row.Verdict = err.Error(), decision.Verdict{Word: decision.NotJudged, Reason: decision.UncertaintyTooLarge}
		f.rows = append(f.rows, row)
		return nil
	}
	x := got.Rows[0]
	value, floor := quantity.ExactDecimal(x.Value), f.floor(s.Tau0.Float(), x.Tau)
	row.Found, row.Says = &value, says(x, floor)
	row.Budget = uncertainty.Budget{uncertainty.Line("confidence interval, upper half", math.Max(0, x.Upper-x.Value), uncertainty.Normal, 0, fmt.Sprintf("95.45 %%, noise %s", x.Noise))}
	row.Budget[0].K, row.Budget[0].Standard = 2, row.Budget[0].Standard/2
	if err := f.judge(&row); err != nil {
		return err
	}
	if floor > b.Largest.Float() && !row.Verdict.Good() {
		row.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.UncertaintyTooLarge}
		row.Says += "; one count alone makes more than is promised"
	}
	f.rows = append(f.rows, row)
	return nil
}

func deviationAt(d stability.Deviation, tau float64) string {
	return strings.ToUpper(string(d)) + " at " + seconds(tau)
}

func says(x stability.Row, floor float64) string {
	text := fmt.Sprintf("%.2e (%.2e to %.2e), noise %s", x.Value, x.Lower, x.Upper, x.Noise)
	if floor > x.Value/2 {
		text += fmt.Sprintf("; one count alone makes %.1e", floor)
	}
	return text
}

// plot draws deviations with their intervals.
func plot(d stability.Deviation, rows []stability.Row) runner.Curve {
	value := runner.CurveLine{Name: strings.ToUpper(string(d))}
	low, high := runner.CurveLine{Name: "95.45 % interval, lower end", Fit: true}, runner.CurveLine{Name: "95.45 % interval, upper end", Fit: true}
	for _, x := range rows {
		if !(x.Value > 0 && x.Lower > 0) {
			continue // nothing that a logarithm can show
		}
		value.X, value.Y = append(value.X, x.Tau), append(value.Y, x.Value)
		low.X, low.Y = append(low.X, x.Tau), append(low.Y, x.Lower)
		high.X, high.Y = append(high.X, x.Tau), append(high.Y, x.Upper)
	}
	title := d.Title()
	return runner.Curve{Title: strings.ToUpper(title[:1]) + title[1:] + " of the timebase", X: runner.Axis{Name: "Averaging time", Unit: "s", Log: true},
		Y: runner.Axis{Name: strings.ToUpper(title[:1]) + title[1:], Unit: "1", Log: true}, Lines: []runner.CurveLine{value, low, high}}
}

// mostDots of a curve; readings beyond are averaged.
const mostDots = 500

// course draws offset and, where nothing is missing, time error against time.
func (f *found) course() {
	x, divisor := runner.Axis{Name: "Time since the first reading", Unit: "min"}, 60.0
	if f.times[len(f.times)-1] > 3*3600 {
		x.Unit, divisor = "h", 3600
	}
	each := (len(f.times) + mostDots - 1) / mostDots
	dots, fit := runner.CurveLine{Name: "offset"}, runner.CurveLine{Name: "line by least squares", Fit: true}
	if each > 1 {
		dots.Name = fmt.Sprintf("offset, mean of each %d readings", each)
	}
	for k := 0; k < len(f.times); k += each {
		n := min(each, len(f.times)-k)
		t, y := 0.0, 0.0
		for j := k; j < k+n; j++ {
			t, y = t+f.times[j]/float64(n), y+f.offsets[j]/float64(n)
		}
		dots.X, dots.Y = append(dots.X, t/divisor), append(dots.Y, y*1e6)
		if f.trend != nil {
			value, _ := f.trend.At(t)
			fit.X, fit.Y = append(fit.X, t/divisor), append(fit.Y, value*1e6)
		}
	}
	c := runner.Curve{Title: "Offset of the timebase", X: x, Y: runner.Axis{Name: "Offset", Unit: "ppm"}, Lines: []runner.CurveLine{dots}}
	if f.trend != nil {
		c.Lines = append(c.Lines, fit)
	}
	// Limits far away would flatten what there is to see.
	if limit := f.limit.Float() * 1e6; limit < 5*(math.Abs(f.mean.Float())*1e6+1e6*spread(f.offsets)) {
		c.Marks = []runner.CurveLevel{{Name: "limit", Y: limit}, {Name: "limit", Y: -limit}}
	}
	f.curves = append([]runner.Curve{c}, f.curves...)
	if s, ok := f.even(); ok && !slices.ContainsFunc(s.Values, math.IsNaN) {
		f.curves = append(f.curves, timeError(s, x, divisor))
	}
}

// timeError draws what a clock on this timebase gains, its mean offset left out.
func timeError(s stability.Series, x runner.Axis, divisor float64) runner.Curve {
	mean := 0.0
	for _, y := range s.Values {
		mean += y / float64(len(s.Values))
	}
	each := (len(s.Values) + mostDots - 1) / mostDots
	line, gained, tau0 := runner.CurveLine{Name: "time error"}, 0.0, s.Tau0.Float()
	for k, y := range s.Values {
		if gained += (y - mean) * tau0; k%each == 0 {
			line.X, line.Y = append(line.X, float64(k+1)*tau0/divisor), append(line.Y, gained*1e6)
		}
	}
	return runner.Curve{Title: "Time error of the timebase, mean offset left out", X: x, Y: runner.Axis{Name: "Time error", Unit: "µs"}, Lines: []runner.CurveLine{line}}
}

// ppm writes a relative figure as a person reads it.
func ppm(y float64) string {
	x := y * 1e6
	switch places := 2 - int(math.Floor(math.Log10(math.Abs(x)))); {
	case x == 0:
		return "0 ppm"
	case places > 9:
		return fmt.Sprintf("%+.2e ppm", x)
	default:
		return fmt.Sprintf("%+.*f ppm", max(0, places), x)
	}
}

func seconds(s float64) string {
	return quantity.Of[quantity.Second](int64(math.Round(s*1e6)), -6).Trimmed().String()
}

func length(s float64) string {
	return time.Duration(math.Round(s) * float64(time.Second)).String()
}

// days writes a number of days.
func days(d float64) string {
	switch {
	case math.IsInf(d, 1) || d > 36500:
		return "more than 100 years"
	case d >= 1000:
		return fmt.Sprintf("%.1f years", d/365)
	case d >= 10:
		return fmt.Sprintf("%.0f d", d)
	}
	return fmt.Sprintf("%.2g d", d)
}
