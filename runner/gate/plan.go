package gate

import (
	"math"

	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/quantity"
)

// step of the source between settings of the last digit's walk, in counts, and
// the most readings at each that are planned.
const (
	step         = 0.37
	mostReadings = 40
)

// walk is what is planned for one gate.
type walk struct {
	timing  procedures.Point   // many readings at one setting
	last    []procedures.Point // the last digit
	chance  float64            // that a good unit misses a value of it; 1 where it can't be walked
	place   int                // power of ten, Hz, of the last digit
	higher  [][]procedures.Point
	reasons []string // what can't be shown
}

// Plan implements procedures.Keys: one task for each gate.
func (k *keys) Plan(d *procedures.Draft, m procedures.Measure) error {
	i, _ := d.Procedure().Input(m.Input)
	for _, g := range k.gates(d.Procedure(), m.Input) {
		w, why := k.walk(d, i, g)
		if why != "" {
			d.NotShown(m, i, k.Frequency, k.Frequency, why)
			continue
		}
		t := procedures.Task{Points: w.points()}
		for _, p := range t.Points {
			t.Seconds += p.Seconds
		}
		for _, text := range w.reasons {
			d.Warn("%s, input %s, gate %s: %s", m.Title(), i.Name, g, text)
		}
		one := m
		one.Keys = planned{k, w}
		d.Add(one, t)
	}
	return nil
}

// planned are the keys of a task: those of the table, and what is planned by them.
type planned struct {
	*keys
	walk
}

// points are all settings in the order in which they are taken.
func (w walk) points() []procedures.Point {
	list := append([]procedures.Point{w.timing}, w.last...)
	for _, h := range w.higher {
		list = append(list, h...)
	}
	return list
}

// seconds that the readings of one gate last at least, so that the time of one is
// known well enough.
const timedSeconds = 1.0

func (k *keys) walk(d *procedures.Draft, i procedures.Input, g quantity.Duration) (w walk, why string) {
	above := or(k.Above, usualAbove)
	want := func(f quantity.Frequency, n int, path string) (procedures.Point, string) {
		return d.Point(i, procedures.Want{Frequency: f, Gate: g, Readings: n, Above: &above, Path: path})
	}
	n := int(math.Min(20, math.Max(3, math.Ceil(timedSeconds/g.Float())+1)))
	if w.timing, why = want(k.Frequency, n, ""); why != "" {
		return w, why
	}
	base := w.timing
	q := base.Limit.Resolution
	w.place = placeOf(q)
	perDigit := math.Pow10(w.place) / q.Float()
	settings := int(math.Ceil(10 * perDigit / step))
	for s := range settings {
		p, why := want(offset(base.Frequency, q.Mul(quantity.ExactDecimal(step*float64(s)))), 1, base.Path)
		if why != "" {
			w.reasons = append(w.reasons, "last digit: "+why)
			break
		}
		w.last = append(w.last, p)
	}
	w.repeat(d, i, q, perDigit, or(k.FalseAlarm, usualAlarm).Float())
	for j := w.place + 1; k.Places == 0 || j < w.place+k.Places; j++ {
		row := decade(base.Frequency, i, j, func(f quantity.Frequency) (procedures.Point, bool) {
			p, why := want(f, 1, base.Path)
			return p, why == "" && p.Frequency.Cmp(f) == 0
		})
		if row == nil {
			break
		}
		w.higher = append(w.higher, row)
	}
	return w, ""
}

// repeat finds how often each setting of the last digit must be read, so that a
// good unit misses a value no more often than the procedure allows.
func (w *walk) repeat(d *procedures.Draft, i procedures.Input, q quantity.Exact, perDigit, most float64) {
	if len(w.last) == 0 {
		w.chance = 1
		return
	}
	x := positions(w.last, q)
	still := d.Plan().Topology[w.timing.Source].Coherent || w.timing.Limit.Display
	free := i.Accuracy.At(w.timing.Frequency).Kind != accuracy.Reciprocal && w.timing.Limit.Scatter().Cmp(q) <= 0
	for n := 1; n <= mostReadings; n++ {
		if n == 1 && free && !still && asynchronous(x, perDigit, mostReadings) > most {
			break // no number of readings is enough
		}
		switch {
		case still:
			w.chance = frozen(x, perDigit)
			n = mostReadings // reading one phase again shows nothing
		case free:
			w.chance = asynchronous(x, perDigit, n)
		default:
			w.chance = noisy(n * len(x))
			if asynchronous(x, perDigit, 1) > 0.5 {
				w.chance = 1 // the settings do not spread evenly
			}
		}
		if w.chance <= most {
			w.setReadings(n, still)
			return
		}
	}
	w.chance, w.last = 1, nil
	w.reasons = append(w.reasons, "the last digit can't be walked through: the source is set in steps too coarse for one count")
}

func (w *walk) setReadings(n int, still bool) {
	if still {
		n = 1
	}
	each := (w.timing.Seconds - w.last[0].Seconds) / float64(w.timing.Readings-1)
	for s := range w.last {
		w.last[s].Readings, w.last[s].Seconds = n, w.last[s].Seconds+float64(n-1)*each
	}
}

// placeOf is the power of ten of the last digit that shows steps of q: 0 for
// 1 Hz, 1 for 3.2 Hz.
func placeOf(q quantity.Exact) int { return int(math.Ceil(math.Log10(q.Float()) - 1e-9)) }

// positions are where settings lie, in counts.
func positions(list []procedures.Point, q quantity.Exact) []float64 {
	x := make([]float64, len(list))
	for k, p := range list {
		x[k] = p.Frequency.Sub(list[0].Frequency).Exact().Quo(q).Float()
	}
	return x
}

// offset adds hertz to a frequency, to a microhertz.
func offset(f quantity.Frequency, hz quantity.Exact) quantity.Frequency {
	return quantity.FromRat[quantity.Hertz](f.Exact().Add(hz).Rat(), 6).Trimmed()
}

// decade walks one digit above the last through its ten values: up from the
// frequency, or down where that leaves the input's range; nil where neither can
// be had, or where it would leave less than half or more than twice of it.
func decade(f quantity.Frequency, i procedures.Input, place int, point func(quantity.Frequency) (procedures.Point, bool)) []procedures.Point {
	one := math.Pow10(place)
	if 9*one >= f.Float() {
		return nil
	}
	for _, sign := range []float64{1, -1} {
		end := f.Float() + sign*9*one
		if end > i.Range[1].Float() || end < i.Range[0].Float() || end < f.Float()/2 {
			continue
		}
		var row []procedures.Point
		for m := 1; m <= 9; m++ { // the tenth value is that of the frequency itself
			p, ok := point(offset(f, quantity.ExactDecimal(sign*float64(m)*one)))
			if !ok {
				break
			}
			row = append(row, p)
		}
		if len(row) == 9 {
			return row
		}
	}
	return nil
}
