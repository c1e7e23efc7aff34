package symptom

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// surelyDrifts is by how many standard uncertainties a slope must lie off zero,
// and how many times better a line than a constant must fit.
const (
	surelyDrifts = 5
	betterFit    = 4
)

// drifts names relative errors that change steadily with the time that the unit is
// on, where something failed by its error.
func (n *namer) drifts() {
	of := where(n.list, func(l *look) bool { return l.shift && l.tested && (l.Kind == Off || l.Kind == Other) })
	all := where(n.list, func(l *look) bool {
		return l.tested && l.ref > 0 && l.Shown > 0 && !l.Sensitivity && l.At.After(n.began.Add(-1)) && (l.Kind == Good || l.shift && (l.Kind == Off || l.Kind == Other))
	})
	if len(of) == 0 || len(all) < 5 {
		return
	}
	slope, u, gain := slopeOf(all)
	if !(math.Abs(slope) > surelyDrifts*u) || gain < betterFit {
		return
	}
	f := finding(Drifts, of)
	perHour := slope * 3600e6
	f.Says = fmt.Sprintf("relative errors change by %s per hour", plus(perHour, about(perHour, 2*u*3600e6, "ppm")))
	f.figure("change of the relative error per hour", perHour, 2*u*3600e6, "ppm")
	grows := of[len(of)-1].PPM*slope > 0
	word := "grow"
	if !grows {
		word = "shrink"
	}
	f.evidence("over %s that know their relative error, a straight line over time fits %.0f times better than one value for all; errors %s", count(len(all), "point"), gain, word)
	if a, b := n.moved(all); a != nil {
		f.evidence("%s was read twice: %s, and %s later %s", a.at(), share(a.PPM), duration(b.At.Sub(a.At).Seconds()), share(b.PPM))
	} else {
		f.open("time or frequency: points were taken in order of frequency, and none was read twice finely enough to tell")
	}
	f.Suggests = "the timebase: it warms up, its oven or its regulation fails, or it ages fast"
	f.open("the line is not more than a first look: a course that bends is not told from it")
	f.Confirm = []string{"read one steady signal for hours (measurement of kind timebase)", "let the unit warm up longer, and run again"}
	n.add(f)
}

// moved finds a point that was read twice with relative errors that differ by more
// than both are uncertain.
func (n *namer) moved(all []*look) (a, b *look) {
	for _, x := range all {
		for _, y := range all {
			if same(x, y) && x.At.Before(y.At) && math.Abs(y.Error-x.Error) > x.fine+y.fine {
				return x, y
			}
		}
	}
	return nil, nil
}

// slopeOf fits a line of relative error over time, weighted, and returns its slope
// per second with its standard uncertainty, and how many times smaller the sum of
// squares is than with one value.
func slopeOf(list []*look) (slope, u, gain float64) {
	var t, y, w []float64
	for _, l := range list {
		if x := l.u / l.ref; x > 0 && finiteNumber(1/(x*x)) && finiteNumber(l.Error/l.ref) {
			t, y, w = append(t, l.At.Sub(list[0].At).Seconds()), append(y, l.Error/l.ref), append(w, 1/(x*x))
		}
	}
	if len(t) < 5 || slices.Max(t) == slices.Min(t) {
		return 0, 0, 0
	}
	mean, middle := stat.Mean(y, w), stat.Mean(t, w)
	at, slope := stat.LinearRegression(t, y, w, false)
	var flat, line, across float64
	for k := range t {
		flat += w[k] * (y[k] - mean) * (y[k] - mean)
		line += w[k] * (y[k] - at - slope*t[k]) * (y[k] - at - slope*t[k])
		across += w[k] * (t[k] - middle) * (t[k] - middle)
	}
	free := float64(len(t) - 2)
	u = math.Sqrt(math.Max(1, line/free) / across)
	if flat < free { // one value explains all
		return slope, u, 1
	}
	return slope, u, flat / math.Max(line, free)
}
