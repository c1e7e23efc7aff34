package symptom

import (
	"cmp"
	"slices"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/runner"
)

// Read says what each judged point of a run shows, and what other measurements
// of it say, in the order taken. What the bench could not show is no evidence
// about the unit and is left out, and so is what a person saw (observations).
func Read(r runner.Result) []Seen {
	looks := read(r)
	list := make([]Seen, len(looks.list))
	for k, x := range looks.list {
		list[k] = x.Seen
	}
	return list
}

// look is what one point showed with what it takes to compare it with others.
type look struct {
	Seen
	bad      bool
	row      bool      // a finding, not a setting with its readings
	top      bool      // the highest level of a search that found none that counts
	law      int       // of those with one explanation; 0 where none is shared
	base     float64   // relative error that all inputs share, which other explanations take off
	proofs   []float64 // what was read, at points that had passed, to prove the path, Hz
	bench    float64   // standard uncertainty of reference and source, relative
	counting accuracy.Kind
	tested   bool // the topology is such that the unit's timebase shows
	source   string
	path     string
	ref      float64         // at the input, Hz, as exactly as the bench knows it
	errors   []float64       // of each reading that was a number, Hz
	digits   []shownDigits   // of the same readings
	reason   decision.Reason // of a bad verdict
	all      int             // readings, those without a count too
	missing  int             // readings without a count
	shift    bool            // readings hang together, and their mean is off
	steady   bool            // readings agree as well as counts allow
	count    float64         // size of one count, Hz
	fine     float64         // Hz by which Error may be off what a fault adds: counts, trigger, residual, bench
	coarse   float64         // the same with what the timebase is allowed
	u        float64         // standard uncertainty of Error, Hz; of a search, of its level, dB
}

// reader gathers looks.
type reader struct {
	r     runner.Result
	input map[string]procedures.Input
	began time.Time
	list  []*look
}

func read(r runner.Result) *reader {
	x := &reader{r: r, input: map[string]procedures.Input{}, began: began(r)}
	for _, i := range r.Inputs {
		x.input[i.Input.Name] = i.Input
	}
	for k := range r.Points {
		p := &r.Points[k]
		if l := x.point(p, p.Point.ID); l != nil {
			x.list = append(x.list, l)
		}
		x.closing(p)
	}
	x.changes()
	for k := range r.Outcomes {
		x.outcome(&r.Outcomes[k])
	}
	slices.SortStableFunc(x.list, func(a, b *look) int { return a.At.Compare(b.At) })
	for k, l := range x.list {
		l.Order = k
	}
	company(x.list)
	scatter(x.list)
	for _, l := range x.list {
		if l.Says == "" {
			l.Says = l.words()
		}
	}
	return x
}

// began is when the first point of the run was begun: the record tells how long
// the unit had been on then.
func began(r runner.Result) time.Time {
	var first time.Time
	earlier := func(t time.Time) {
		if !t.IsZero() && (first.IsZero() || t.Before(first)) {
			first = t
		}
	}
	for _, p := range r.Points {
		earlier(p.Started)
	}
	for _, o := range r.Outcomes {
		earlier(o.Started)
	}
	return first
}

// powered is how long the unit had been on at a time, in s.
func (x *reader) powered(at time.Time) float64 {
	on := x.r.OnFor.Float()
	if at.IsZero() || x.began.IsZero() {
		return on
	}
	return on + at.Sub(x.began).Seconds()
}

// inputs lists the inputs of looks, each once, in order.
func inputs(list []*look) []string {
	var names []string
	for _, l := range list {
		if !slices.Contains(names, l.Input) {
			names = append(names, l.Input)
		}
	}
	slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(a, b) })
	return names
}
