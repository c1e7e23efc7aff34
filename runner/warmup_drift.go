package runner

import (
	"fmt"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner/stability"
)

// drift fits the slope over the time that the criterion asks for, up to the last
// reading; nil where the readings don't reach back so far, are too few, or hang
// together too much to tell a slope.
func (w *WarmUp) drift(list []WarmReading, count, reference float64) *WarmDrift {
	over, every := w.Until.Over.Float(), w.Until.Every.Float()
	last := list[len(list)-1].On
	if last-list[0].On < over*(1-1e-6) {
		return nil
	}
	var times, values []float64
	for _, x := range list {
		if x.Use == Counted && x.Mark == drivers.None && last-x.On <= over*(1+1e-6)+every/2 {
			times, values = append(times, x.On), append(values, x.Offset)
		}
	}
	if len(times) < 6 || float64(len(times)) < over/every/2 {
		return nil
	}
	t, err := stability.FitTrend(times, values, count)
	if err != nil {
		return nil
	}
	u, err := uncertainty.Budget{uncertainty.Line("slope by least squares", t.Standard, uncertainty.Normal, t.Freedom, ""),
		uncertainty.Line("drift of the reference", reference, uncertainty.Rectangular, 0, "bench file")}.Combine()
	if err != nil {
		return nil
	}
	return &WarmDrift{t.Slope, u.Expanded, t.Count}
}

// referenceDrift is what the reference of a source may drift, relative and per
// second.
func (r *run) referenceDrift(source string) float64 {
	s, _ := r.Bench.Source(source)
	ref, _ := r.Bench.Reference(s.Reference)
	return ref.Drift.Float() / 86400
}

// rate writes a drift in the terms of the criterion.
func (w *WarmUp) rate(d WarmDrift) string {
	per := w.Until.Per.Float() * 1e6
	slope, u, _ := uncertainty.Report(quantity.ExactFloat(d.Slope*per), quantity.ExactFloat(d.U*per))
	return fmt.Sprintf("%s ppm, U = %s ppm, in %s; at most %s is allowed, U included", slope, u, w.Until.Per, w.Until.Drift)
}

// progress says how far the warm-up is.
func (w *WarmUp) progress() string {
	last := w.Readings[len(w.Readings)-1]
	if last.Drift == nil {
		return fmt.Sprintf("%d readings, too few yet to tell the drift over %s", len(w.Readings), w.Until.Over)
	}
	return fmt.Sprintf("on for %s, drift %s", shortTime(last.On), w.rate(*last.Drift))
}

// shortTime writes seconds as a person reads them.
func shortTime(s float64) string {
	d := time.Duration(s * float64(time.Second)).Round(time.Second)
	switch {
	case d >= time.Hour:
		return fmt.Sprintf("%d h %d min", int(d.Hours()), int(d.Minutes())%60)
	case d >= time.Minute:
		return fmt.Sprintf("%d min %d s", int(d.Minutes()), int(d.Seconds())%60)
	}
	return d.String()
}

// Curves are the course of the relative error and that of its drift, with time
// counted from the first reading.
func (w *WarmUp) Curves() []Curve {
	x, divisor := Axis{Name: "Time since the warm-up began", Unit: "min"}, 60.0
	if n := len(w.Readings); n > 0 && w.Readings[n-1].At.Sub(w.Started) > 3*time.Hour {
		x.Unit, divisor = "h", 3600
	}
	found, slope := CurveLine{Name: "readings"}, CurveLine{Name: "drift by least squares"}
	per := w.Until.Per.Float() * 1e6
	for _, r := range w.Readings {
		at := r.At.Sub(w.Started).Seconds() / divisor
		if r.Use == Counted && r.Mark == drivers.None {
			found.X, found.Y = append(found.X, at), append(found.Y, r.Offset*1e6)
		}
		if d := r.Drift; d != nil {
			slope.X, slope.Y, slope.U = append(slope.X, at), append(slope.Y, d.Slope*per), append(slope.U, d.U*per)
		}
	}
	var list []Curve
	if len(found.X) > 0 {
		list = append(list, Curve{Title: fmt.Sprintf("Warm-up: relative error of the readings of %s at input %s", w.Point.Frequency, w.Point.Input),
			X: x, Y: Axis{Name: "Relative error", Unit: "ppm"}, Lines: []CurveLine{found}})
	}
	if len(slope.X) > 0 {
		limit := w.Until.Drift.Float() * 1e6
		list = append(list, Curve{Title: fmt.Sprintf("Warm-up: drift over the last %s", w.Until.Over), X: x, Y: Axis{Name: "Drift in " + w.Until.Per.String(), Unit: "ppm"},
			Lines: []CurveLine{slope}, Marks: []CurveLevel{{"largest drift", limit}, {"largest drift", -limit}}})
	}
	return list
}
