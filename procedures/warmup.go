package procedures

import (
	"fmt"
	"math"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// WarmUpUntil asks for a warm-up that lasts until the unit's readings of a
// steady signal drift by no more than a rate. The stated warm_up is then the
// least time that the unit must be on.
type WarmUpUntil struct {
	Input     string             `toml:"input" json:"input" jsonschema_description:"Input at which the unit reads the signal."`
	Frequency quantity.Frequency `toml:"frequency" json:"frequency" jsonschema_description:"Frequency of the signal; the higher, the smaller a drift shows."`
	Gate      quantity.Duration  `toml:"gate" json:"gate" jsonschema_description:"Gate time of the readings."`
	Above     *quantity.Gain     `toml:"above_sensitivity,omitempty" json:"above_sensitivity,omitempty" jsonschema_description:"Level of the signal as distance above the specified sensitivity; 10 dB unless stated."`
	Every     quantity.Duration  `toml:"every" json:"every" jsonschema_description:"From one reading to the next."`
	Drift     quantity.Ratio     `toml:"drift" json:"drift" jsonschema_description:"Largest change of the relative error in the time of per, its uncertainty included."`
	Per       quantity.Duration  `toml:"per" json:"per" jsonschema_description:"Time that drift is counted over, such as 1 h."`
	Over      quantity.Duration  `toml:"over" json:"over" jsonschema_description:"For how long the drift must have stayed below that, up to the last reading."`
	Longest   quantity.Duration  `toml:"longest" json:"longest" jsonschema_description:"Longest time to wait for it."`
	Otherwise string             `toml:"otherwise" json:"otherwise" jsonschema:"enum=warn,enum=ask,enum=stop" jsonschema_description:"What to do where the drift has not come down by then: go on with a warning, ask, or stop."`
}

// What follows when the drift has not come down in the longest time.
const (
	WarmUpWarn = "warn"
	WarmUpAsk  = "ask"
	WarmUpStop = "stop"
)

// fewestReadings that a slope is told from.
const fewestReadings = 6

// Rate is the largest drift per second, relative.
func (w WarmUpUntil) Rate() quantity.Exact { return w.Drift.Exact().Quo(w.Per.Exact()) }

// String writes "until 400 MHz at input B drifts by at most 0.1 ppm in 1 h over the last 10 min".
func (w WarmUpUntil) String() string {
	return fmt.Sprintf("until %s at input %s drifts by at most %s in %s over the last %s", w.Frequency, w.Input, w.Drift, w.Per, w.Over)
}

func (c checker) warmUp(p *Procedure) {
	w := p.WarmUpUntil
	if w == nil {
		return
	}
	const at = "warm_up_until"
	i, ok := p.Input(w.Input)
	switch {
	case !ok && c.given(at+".input"):
		c.add(at+".input", "is %q, which is not an input of the unit", w.Input)
	case ok && c.given(at+".frequency") && c.sound[i.Name] && !inside(w.Frequency, i.Range):
		c.add(at+".frequency", "is %s, outside the range of input %s (%s to %s)", w.Frequency, i.Name, i.Range[0], i.Range[1])
	}
	c.oneOf(at+".otherwise", w.Otherwise, WarmUpWarn, WarmUpAsk, WarmUpStop)
	c.time(at+".gate", w.Gate, "1 ms", "1000 s")
	c.time(at+".every", w.Every, "1 ms", "1 h")
	c.time(at+".per", w.Per, "1 s", "365 d")
	c.time(at+".over", w.Over, "1 s", "30 d")
	c.time(at+".longest", w.Longest, "1 s", "30 d")
	if c.given(at+".drift") && (w.Drift.Sign() <= 0 || w.Drift.Float() > 0.01) {
		c.add(at+".drift", "is %s; expected above 0 and at most 1 %%", w.Drift)
	}
	if w.Above != nil && c.given(at+".above_sensitivity") && w.Above.Sign() < 0 {
		c.add(at+".above_sensitivity", "is %s; expected at least 0 dB", w.Above)
	}
	if !c.given(at+".every") || !c.given(at+".over") || !c.given(at+".longest") || !c.given(at+".gate") {
		return
	}
	switch n := w.Over.Float() / w.Every.Float(); {
	case w.Every.Cmp(w.Gate) < 0:
		c.add(at+".every", "is %s, shorter than the gate of %s", w.Every, w.Gate)
	case n < fewestReadings-1:
		c.add(at+".over", "is %s, in which there are too few readings every %s to tell a drift; at least %d are needed", w.Over, w.Every, fewestReadings)
	case w.Longest.Cmp(w.Over) < 0:
		c.add(at+".longest", "is %s, shorter than over (%s)", w.Longest, w.Over)
	case w.Longest.Float()/w.Every.Float() > mostPoints:
		c.add(at+".every", "is %s: more than %d readings in %s", w.Every, mostPoints, w.Longest)
	}
}

// warmUp plans the signal of a warm-up. Where unit and source share a reference
// no drift of the unit can show, and none matters for what is tested: only the
// stated time is waited for.
func (l *planner) warmUp() error {
	w := l.p.WarmUpUntil
	if w == nil {
		return nil
	}
	i, _ := l.p.Input(w.Input)
	above := w.Above
	if above == nil {
		usual := quantity.Of[quantity.Decibel](10, 0)
		above = &usual
	}
	best, why := Point{}, ""
	for _, path := range l.b.Paths {
		if path.Input != i.Name {
			continue
		}
		if !l.plan.Topology[path.Source].TimebaseTested {
			why = l.plan.Topology[path.Source].Says
			continue
		}
		p, err := (&Draft{l}).Point(i, Want{Frequency: w.Frequency, Gate: w.Gate, Readings: 1, Above: above, Path: path.Name})
		switch {
		case err != "" && why == "":
			why = err
		case err == "" && (best.Path == "" || l.better(i, p, best)):
			best = p
		}
	}
	if best.Path == "" && why == "" {
		why = "no path in the bench file leads to this input"
	}
	if best.Path == "" && l.p.WarmUp.Sign() > 0 {
		l.plan.Warnings = append(l.plan.Warnings, fmt.Sprintf("warm-up: the drift of the unit can't be seen on this bench, so only the stated %s is waited for: %s", l.p.WarmUp, why))
		return nil
	}
	if best.Path == "" {
		return fmt.Errorf("warm_up_until: the drift of the unit can't be seen on this bench: %s State warm_up, a time to wait for, as well", why)
	}
	best.ID = "warm-up"
	if least := w.leastUncertainty(best); least > w.Rate().Float() {
		return fmt.Errorf("warm_up_until: can't be met: one count is %s Hz at %s, so that the slope over %s is known to ±%.2g in %s at best, and drift allows %s; lengthen the gate or over, or take a higher frequency",
			best.Limit.Resolution, best.Frequency, w.Over, least*w.Per.Float(), w.Per, w.Drift)
	}
	if s, _ := l.b.Source(best.Source); s.Reference == runsOwn {
		l.plan.Warnings = append(l.plan.Warnings, fmt.Sprintf("warm-up: source %s runs from its own timebase, whose drift can't be told from the unit's; let it warm up too", s.Name))
	}
	l.plan.WarmUp = &best
	return nil
}

// leastUncertainty is the expanded uncertainty of the slope, relative and per
// second, that the counts alone leave: n readings over T have Σ(t − mean)² of
// about n·T²/12.
func (w WarmUpUntil) leastUncertainty(p Point) float64 {
	n := math.Floor(w.Over.Float()/w.Every.Float()) + 1
	u := p.Limit.Resolution.Float() / p.Frequency.Float() / math.Sqrt(6)
	return uncertainty.Factor(n-2) * u / (w.Over.Float() * math.Sqrt(n/12))
}
