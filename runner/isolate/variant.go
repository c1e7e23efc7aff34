package isolate

import (
	"cmp"
	"math"
	"slices"
)

// variant is one stage failed in one mode to one degree.
type variant struct {
	stage int
	mode  Mode
	// x is how far: dB too little, Hz where it rolls off, s after which it fails or of the gate,
	// share of the readings. NaN where there is no degree, or none can be told.
	x        float64
	position string  // in which it stays, or is dead
	manner   int     // in which it fails, where there are several
	prior    float64 // odds against the stage being good
}

// Degrees of failure that are told apart. Common practice, no source.
var (
	decibels = []float64{6, 10, 15, 20, 30}
	shares   = []float64{0.2, 0.5}
	// passes is how far beyond its range, relatively, a way may still pass a signal.
	passes = []float64{1.05, 1.25, 1.6}
)

// mostCorners bounds how many frequencies, or times, a fault may begin at.
const mostCorners = 24

// variants lists every way in which each stage may have failed, as far as the
// looks could tell them apart.
func (n *Network) variants(looks []look) []variant {
	odds := n.odds()
	var list []variant
	for stage, s := range n.Model.Stages {
		for _, m := range s.weights() {
			degrees := n.degrees(stage, m.mode, looks)
			for _, d := range degrees {
				for manner, p := range m.mode.manners() {
					d.manner, d.prior = manner, odds[stage]*m.share*p/float64(len(degrees))
					list = append(list, d)
				}
			}
		}
	}
	return list
}

// odds of each stage's failing before anything is known.
func (n *Network) odds() []float64 {
	list, sum := make([]float64, len(n.Model.Stages)), 0.0
	for k, s := range n.Model.Stages {
		list[k] = max(s.rate(), 1e-12) // one that is stated as next to nothing is not nothing
		sum += list[k]
	}
	for k := range list {
		p := min(0.5, max(n.Model.expected(), 1e-12)*list[k]/sum)
		list[k] = p / (1 - p)
	}
	return list
}

func (s Stage) rate() float64 {
	if s.Rate != nil {
		return s.Rate.Float()
	}
	k, _ := kindNamed(s.Kind)
	return k.rate
}

// expected is how many faults a unit has on average.
func (m *Model) expected() float64 {
	if m.Faults != nil {
		return m.Faults.Float()
	}
	return 0.1
}

func (n *Network) degrees(stage int, m Mode, looks []look) []variant {
	v := variant{stage: stage, mode: m, x: math.NaN()}
	var list []variant
	add := func(degrees []float64) []variant {
		for _, x := range degrees {
			v.x = x
			list = append(list, v)
		}
		if len(degrees) == 0 {
			list = append(list, v)
		}
		return list
	}
	switch m {
	case Weak:
		return add(decibels)
	case ComesAndGoes:
		if n.Model.Stages[stage].Kind != "control line" {
			return add(shares)
		}
		for _, p := range n.ways(stage) { // in which it rests
			v.position = p
			add(shares)
		}
		if list != nil {
			return list
		}
		return add(shares)
	case RollsOff, CutsOff:
		return add(corners(n.met(stage, looks, byFrequency), m == RollsOff))
	case FailsWarm:
		return add(corners(n.met(stage, looks, byTime), true))
	case ShortGates:
		return add(corners(n.met(stage, looks, byGate), true))
	case StaysOneWay, DeadOneWay:
		for _, p := range n.ways(stage) {
			if v.position = p; m == StaysOneWay {
				add(passes)
				continue
			}
			list = append(list, v)
		}
		if list != nil {
			return list
		}
	}
	return []variant{v}
}

// ways lists the positions that a stage stands in, each once.
func (n *Network) ways(stage int) []string {
	var list []string
	for way := range n.position {
		if p := n.position[way][stage]; p != "" && !slices.Contains(list, p) {
			list = append(list, p)
		}
	}
	return list
}

// by is what a fault may begin at.
type by int

const (
	byFrequency by = iota // that the stage gives, Hz
	byTime                // that the unit has been on, s
	byGate                // that is set, s
)

// met is where a stage was seen to work or not.
type met struct {
	at   float64
	good bool
}

func (n *Network) met(stage int, looks []look, what by) []met {
	var list []met
	for k := range looks {
		l := &looks[k]
		for _, w := range l.ways {
			at := w.frequency[stage]
			switch what {
			case byTime:
				at = l.obs.Powered
			case byGate:
				at = l.obs.Gate
			}
			if w.role[stage] != 0 && at > 0 {
				list = append(list, met{at, l.seen == sGood})
			}
		}
	}
	return list
}

// spot is a frequency or a time at which a stage was seen, once or more.
type spot struct {
	at        float64
	good, bad bool
}

func spots(seen []met) []spot {
	slices.SortFunc(seen, func(a, b met) int { return cmp.Compare(a.at, b.at) })
	var list []spot
	for _, m := range seen {
		if last := len(list) - 1; last < 0 || m.at > list[last].at*(1+1e-9) {
			list = append(list, spot{at: m.at})
		}
		s := &list[len(list)-1]
		s.good, s.bad = s.good || m.good, s.bad || !m.good
	}
	return list
}

// corners are the places at which a fault may begin: between each two neighbours,
// and where all lies on its bad side: below all or, where below is false, above.
func corners(seen []met, below bool) []float64 {
	at := spots(seen)
	if len(at) == 0 {
		return nil
	}
	var list []float64
	var change []bool
	for k, s := range at {
		switch {
		case k > 0:
			p := at[k-1]
			list, change = append(list, math.Sqrt(s.at)*math.Sqrt(p.at)), append(change, s.good != p.good || s.bad != p.bad || s.good && s.bad)
		case below:
			list, change = append(list, s.at/2), append(change, false)
		}
	}
	if last := at[len(at)-1].at; !below {
		list, change = append(list, last*2), append(change, false)
	}
	return thinned(list, change)
}

// thinned keeps those corners at which good changes to bad, and of others some,
// where there are too many.
func thinned(list []float64, change []bool) []float64 {
	if len(list) <= mostCorners {
		return list
	}
	step := float64(len(list)) / mostCorners
	next, thin := 0.0, []float64{}
	for k, at := range list {
		if kept := float64(k) >= next; kept || change[k] && len(thin) < 4*mostCorners {
			thin = append(thin, at)
			if kept {
				next += step
			}
		}
	}
	return thin
}

// inWay is what a variant would show in one way of a look, before leak.
func (n *Network) inWay(v variant, l *look, w wayLook) distribution {
	if w.role[v.stage] == 0 {
		return certain
	}
	c := n.contextOf(l, w, v.stage)
	c.manner = v.manner
	d := certain
	switch at := c.place != atReading; v.mode {
	case Weak:
		d = weak(v.x, c)
	case ComesAndGoes:
		if v.position == "" || v.position != c.position {
			d = comesAndGoes(v.x, c)
		}
	case RollsOff:
		d = falling(v.mode, c, c.frequency/v.x)
	case CutsOff:
		d = falling(v.mode, c, v.x/c.frequency)
	case FailsWarm:
		if math.IsNaN(v.x) || c.powered > v.x {
			d = effect(v.mode, c.role, at)
		}
	case ShortGates:
		if math.IsNaN(v.x) || l.obs.Gate > v.x {
			d = effect(v.mode, c.role, at)
		}
	case DeadOneWay:
		if v.position == "" || c.position == v.position {
			d = effect(v.mode, c.role, at)
		}
	case StaysOneWay:
		if c.position != v.position {
			d = n.otherWay(v, l, w, c)
		}
	case WrongTime:
		d = gateTime(v.manner, at, c.role&asSignal != 0 && n.Model.Stages[v.stage].Kind == "gate control")
	default:
		d = inManner(v.mode, v.manner, c.role, at)
	}
	if (v.mode == RollsOff || v.mode == CutsOff) && !c.levels && d != certain {
		d = d.behind(c.place != atReading)
	}
	if c.place == atReading && c.mixed && (v.mode == WrongTime || v.mode == Misses && v.manner > 0 || v.mode == WrongRatio || v.mode == Doubles) {
		d = mixedDown(d)
	}
	switch {
	case c.selfTest && c.place == atReading:
		return ofSelfTest(d)
	case c.sensitivity && v.mode != Weak && d[sWeak] == 0:
		return asSensitivity(d)
	}
	return d
}

// gentle is over how wide a range, relatively, a stage that begins to give less
// still gives something: half an octave.
const gentle = 1.41

// falling is what is seen of a stage that gives less from some frequency on; beyond
// is how far, relatively, NaN where that is not known.
func falling(m Mode, c standing, beyond float64) distribution {
	at := c.place != atReading
	switch {
	case beyond <= 1:
		return certain
	case beyond < gentle:
		return slope(at, c.sensitivity)
	}
	return effect(m, c.role, at)
}

// otherWay is what is seen where a switch stands, or is set, another way than it
// should. At its own output the line that sets it has a value, and the wrong one.
// What lies near the range of the way that the switch stays in may pass there.
func (n *Network) otherWay(v variant, l *look, w wayLook, c standing) distribution {
	at := c.place != atReading
	if at && n.Model.Stages[v.stage].Kind == "control line" && c.role&asSignal != 0 {
		return distribution{sOther: 0.95 - misses, sNone: 0.05, sGood: misses}
	}
	d := effect(v.mode, c.role, at)
	this := n.Model.Ways[w.way]
	for k, other := range n.Model.Ways {
		if other.SelfTest && !this.SelfTest && n.position[k][v.stage] == v.position && c.role&(asSignal|asControl) != 0 && n.seen[l.place+1][k][v.stage] != 0 {
			return ofTheTest(at)
		}
		if other.Input != this.Input || this.SelfTest || n.position[k][v.stage] != v.position || n.seen[l.place+1][k][v.stage] == 0 {
			continue
		}
		switch out := other.beyond(l.obs.Frequency); {
		case out < v.x:
			return beside(at, c.sensitivity)
		case out < v.x*gentle:
			return slope(at, c.sensitivity)
		}
	}
	return d
}

// beyond is how far a frequency lies outside the range of a way, relatively; 1 or
// less within it.
func (w Way) beyond(f float64) float64 {
	out := 0.0
	if w.From != nil {
		out = max(out, w.From.Float()/f)
	}
	if w.To != nil {
		out = max(out, f/w.To.Float())
	}
	return out
}

// predict is what a look shows under a variant, and another where there are two.
func (n *Network) predict(list []variant, l *look) distribution {
	var sum distribution
	for _, w := range l.ways {
		d := certain
		for k, v := range list {
			if x := n.inWay(v, l, w); k == 0 {
				d = x
			} else {
				d = both(d, x)
			}
		}
		for s := range d {
			sum[s] += d[s] / float64(len(l.ways))
		}
	}
	return sum.leaky()
}
