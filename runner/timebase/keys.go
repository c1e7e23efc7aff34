// Package timebase is the kind of measurement "timebase": how far the unit's
// own timebase is off, how steady it is (the Allan family), how much it ages
// per day, and at which setting it would stay within tolerance for longest.
//
// It is seen through the unit's own readings of a signal that is locked to a
// reference, or through a second counter (the monitor) that measures the unit's
// timebase output. Offsets are those of the timebase, (actual − nominal)/nominal:
// a timebase that is high makes the unit read low.
//
// The signal stays on for as long as the series lasts. What was read is kept as
// it comes, so that a run that was interrupted goes on with it.
package timebase

import (
	"fmt"
	"math"
	"slices"

	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/stability"
)

// Kind takes timebases.
type Kind struct{}

// Kind is the word in a procedure.
func (Kind) Kind() string { return "timebase" }

// Keys returns the keys of a table.
func (Kind) Keys() procedures.Keys { return &keys{} }

type keys struct {
	Through   string              `toml:"through,omitempty" json:"through,omitempty" jsonschema:"enum=readings,enum=output" jsonschema_description:"readings: the unit reads a signal that is locked to a reference (unless stated); output: the monitor measures the unit's timebase output."`
	Frequency *quantity.Frequency `toml:"frequency,omitempty" json:"frequency,omitempty" jsonschema_description:"Frequency of the signal that the unit reads; the higher, the finer."`
	Above     *quantity.Gain      `toml:"above_sensitivity,omitempty" json:"above_sensitivity,omitempty" jsonschema_description:"Its level as distance above the specified sensitivity; 10 dB unless stated."`
	Gate      quantity.Duration   `toml:"gate,omitempty" json:"gate,omitzero" jsonschema_description:"Gate time of the unit's readings; that of the monitor is in the bench file."`
	Lasts     quantity.Duration   `toml:"lasts" json:"lasts" jsonschema_description:"How long the series lasts."`
	Every     quantity.Duration   `toml:"every,omitempty" json:"every,omitzero" jsonschema_description:"From one reading to the next; one after the other unless stated."`
	WarmUp    quantity.Duration   `toml:"warm_up,omitempty" json:"warm_up,omitzero" jsonschema_description:"Time from switching on within which the specification promises that the unit drifts no more than warm_up_until of the procedure allows."`
	Ageing    *quantity.Ratio     `toml:"ageing_per_day,omitempty" json:"ageing_per_day,omitempty" jsonschema_description:"What the specification promises of the change per day; not judged unless stated."`
	Side      runner.Side         `toml:"ageing_side,omitempty" json:"ageing_side,omitempty" jsonschema:"enum=within ±,enum=at most,enum=at least" jsonschema_description:"Whether the change may go either way (within ±, unless stated), or is bounded on one side, with its sign."`
	Deviation string              `toml:"deviation,omitempty" json:"deviation,omitempty" jsonschema_description:"Deviation of the Allan family; oadev unless stated."`
	Stability []bound             `toml:"stability,omitempty" json:"stability,omitempty" jsonschema_description:"What the specification promises of it: averaging time and largest deviation."`
	Reserve   *quantity.Ratio     `toml:"reserve,omitempty" json:"reserve,omitempty" jsonschema_description:"Part of the limit that the recommended setting leaves to other influences; the terms of the timebase beside ageing unless stated."`
}

// bound is a promised stability.
type bound struct {
	Tau     quantity.Duration `toml:"tau" json:"tau"`
	Largest quantity.Ratio    `toml:"largest" json:"largest"`
}

// TOMLList lets an entry be written as ["10 s", "1e-10"].
func (*bound) TOMLList() {}

const (
	readings = "readings"
	output   = "output"
)

// fewest readings that a trend is told from, mostReadings bounds a series.
const (
	fewest       = 8
	mostReadings = 200_000
)

func (k *keys) deviation() stability.Deviation {
	if k.Deviation == "" {
		return stability.OADEV
	}
	return stability.Deviation(k.Deviation)
}

func (k *keys) side() runner.Side {
	if k.Side == "" {
		return runner.Within
	}
	return k.Side
}

var sides = []runner.Side{runner.Within, runner.AtMost, runner.AtLeast}

// Check implements procedures.Keys.
func (k *keys) Check(p *procedures.Procedure, m procedures.Measure) (wrong []procedures.Wrong) {
	add := func(key, format string, args ...any) {
		wrong = append(wrong, procedures.Wrong{Key: key, Text: fmt.Sprintf(format, args...)})
	}
	switch k.Through {
	case "", readings:
		wrong = append(wrong, k.checkSignal(p, m)...)
	case output:
		if m.Input != "" || k.Frequency != nil || k.Above != nil || k.Gate.Sign() != 0 {
			add("through", "is output, which no input, frequency, level or gate belongs to: the bench file states them at the monitor")
		}
	default:
		add("through", "is %q; expected readings or output", k.Through)
	}
	if lasts := k.Lasts.Float(); lasts < 1 || lasts > 100*86400 {
		add("lasts", "is %s; expected 1 s to 100 d", k.Lasts)
	} else if each := math.Max(k.Every.Float(), k.Gate.Float()); each > 0 && lasts < fewest*each {
		add("lasts", "is %s, in which there are fewer than %d readings", k.Lasts, fewest)
	} else if each > 0 && lasts/each > mostReadings {
		add("every", "gives more than %d readings in %s; state a longer one", mostReadings, k.Lasts)
	}
	if k.Every.Sign() < 0 || k.Every.Sign() > 0 && k.Every.Cmp(k.Gate) < 0 {
		add("every", "is %s, shorter than the gate of %s", k.Every, k.Gate)
	}
	if !slices.Contains(sides, k.side()) {
		add("ageing_side", "is %q; expected one of within ±, at most, at least", k.Side)
	}
	if a := k.Ageing; a != nil {
		switch {
		case k.side() == runner.Within && a.Sign() <= 0 || math.Abs(a.Float()) > 0.001:
			add("ageing_per_day", "is %s; expected above 0 and at most 0.1 %%", a)
		case k.Lasts.Float() < 3600:
			add("ageing_per_day", "can't be told from a series of %s; expected at least 1 h, better a day", k.Lasts)
		}
	}
	if _, err := stability.ParseDeviations(string(k.deviation())); err != nil || k.deviation() == stability.TDEV {
		add("deviation", "is %q; expected one of adev, oadev, mdev, hdev, ohdev, totdev", k.Deviation)
	}
	for n, b := range k.Stability {
		if b.Largest.Sign() <= 0 || b.Tau.Sign() <= 0 || b.Tau.Float() > k.Lasts.Float()/3 {
			add(fmt.Sprintf("stability[%d]", n), "is %s at %s; expected above zero, and an averaging time of at most a third of the series", b.Largest, b.Tau)
		}
	}
	if w := k.WarmUp; w.Sign() < 0 || w.Sign() > 0 && p.WarmUpUntil == nil {
		add("warm_up", "is %s; expected above zero, and a [warm_up_until] in the procedure that says what warm is", w)
	} else if w.Sign() > 0 && w.Cmp(p.WarmUpUntil.Longest) > 0 {
		add("warm_up", "is %s, longer than the %s that warm_up_until waits for", w, p.WarmUpUntil.Longest)
	}
	if k.Reserve != nil && k.Reserve.Sign() < 0 {
		add("reserve", "is %s; expected at least zero", k.Reserve)
	}
	return wrong
}

func (k *keys) checkSignal(p *procedures.Procedure, m procedures.Measure) (wrong []procedures.Wrong) {
	i, ok := p.Input(m.Input)
	if !ok {
		return []procedures.Wrong{{Key: "input", Text: "is missing; the unit reads the signal at one"}}
	}
	if k.Frequency == nil {
		wrong = append(wrong, procedures.Wrong{Key: "frequency", Text: "is missing; the unit reads a signal of one"})
	} else if f := *k.Frequency; f.Cmp(i.Range[0]) < 0 || f.Cmp(i.Range[1]) > 0 {
		wrong = append(wrong, procedures.Wrong{Key: "frequency", Text: fmt.Sprintf("is %s, outside the range of input %s (%s to %s)", f, i.Name, i.Range[0], i.Range[1])})
	}
	if k.Above != nil && k.Above.Sign() < 0 {
		wrong = append(wrong, procedures.Wrong{Key: "above_sensitivity", Text: fmt.Sprintf("is %s; expected at least 0 dB", k.Above)})
	}
	return append(wrong, procedures.CheckGate(k.Gate)...)
}

// Plan implements procedures.Keys: one task.
func (k *keys) Plan(d *procedures.Draft, m procedures.Measure) error {
	if k.Through == output {
		o, why := d.Output()
		if why != "" {
			return fmt.Errorf("the timebase output can't be measured: %s", why)
		}
		k.warnCoarse(d, m, o.Resolution.Float()/o.Frequency.Float(), o.Gate)
		d.Add(m, procedures.Task{Seconds: k.Lasts.Float(), Output: &o})
		return nil
	}
	i, _ := d.Procedure().Input(m.Input)
	best, why := k.point(d, i)
	if why != "" {
		d.NotShown(m, i, *k.Frequency, *k.Frequency, why)
		d.Warn("%s: not shown: %s", m.Title(), why)
		return nil
	}
	if s, _ := d.Bench().Source(best.Source); s.Reference == "own" {
		d.Warn("%s: source %s runs from its own timebase, whose drift can't be told from the unit's", m.Title(), s.Name)
	}
	k.warnCoarse(d, m, best.Limit.Resolution.Float()/best.Frequency.Float(), k.Gate)
	d.Add(m, procedures.Task{Points: []procedures.Point{best}, Seconds: k.Lasts.Float() + best.Seconds})
	return nil
}

// point plans the signal on the best path on which the unit's timebase shows.
func (k *keys) point(d *procedures.Draft, i procedures.Input) (best procedures.Point, why string) {
	above := quantity.Of[quantity.Decibel](10, 0)
	if k.Above != nil {
		above = *k.Above
	}
	for _, path := range d.Bench().Paths {
		if path.Input != i.Name {
			continue
		}
		if t := d.Plan().Topology[path.Source]; !t.TimebaseTested {
			why = t.Says
			continue
		}
		p, reason := d.Point(i, procedures.Want{Frequency: *k.Frequency, Gate: k.Gate, Readings: 1, Above: &above, Path: path.Name})
		switch {
		case reason != "":
			why = reason
		case best.Path == "" || p.TUR == nil || best.TUR != nil && *p.TUR > *best.TUR*(1+1e-9):
			best = p
		}
	}
	if best.Path != "" {
		return best, ""
	}
	if why == "" {
		why = "no path in the bench file leads to this input"
	}
	return best, why
}

// warnCoarse says which promised stability hides below one count: asynchronous
// counts of q/f scatter by q/(f·√6), which averages down with the root of tau.
func (k *keys) warnCoarse(d *procedures.Draft, m procedures.Measure, count float64, gate quantity.Duration) {
	each := math.Max(k.Every.Float(), gate.Float())
	for _, b := range k.Stability {
		if floor := floorOf(count, each, b.Tau.Float()); floor > b.Largest.Float() {
			d.Warn("%s: a deviation of %s at %s can't be shown: one count alone makes %.1e there; take a longer gate or a higher frequency", m.Title(), b.Largest, b.Tau, floor)
		}
	}
}

func floorOf(count, each, tau float64) float64 {
	return count / math.Sqrt(6) * math.Sqrt(math.Min(1, each/tau))
}
