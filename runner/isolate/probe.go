package isolate

import (
	"cmp"
	"context"
	"math"
	"slices"

	"bandproof/procedures/quantity"
	"bandproof/runner/symptom"
)

// Probe is a look at a test point that is proposed, with what it is worth.
type Probe struct {
	TestPoint string `json:"test_point"`
	After     string `json:"after"`
	Access    string `json:"access"`
	About     string `json:"about,omitempty"`
	Needs     string `json:"needs,omitempty"` // not done yet
	// Input, Frequency and Margin are the signal to apply: Hz, and dB above the
	// specified sensitivity as at Point of the record, nil where none is known.
	Input     string   `json:"input"`
	Frequency float64  `json:"frequency_hz"`
	Margin    *float64 `json:"margin_db,omitempty"`
	Point     string   `json:"as_at_point,omitempty"`
	// Expect is the frequency that a good unit has there, Hz; nil where the model
	// states none. Level is from least to most.
	Expect *float64           `json:"expect_hz,omitempty"`
	Level  *[2]quantity.Level `json:"level,omitempty"`
	// Information that the answer is expected to give on which stages are at
	// fault, bit; Minutes that it costs.
	Information float64  `json:"information_bit"`
	Minutes     float64  `json:"minutes"`
	Answers     []Answer `json:"answers"`
	look        look
}

// Answer is what may be found, with its probability.
type Answer struct {
	Kind        symptom.Kind `json:"seen"`
	Probability float64      `json:"probability"`
}

// Worth is information for the time that it takes, bit/min.
func (p Probe) Worth() float64 { return p.Information / p.Minutes }

// Observation is what the probe gives once it is answered.
func (p Probe) Observation(kind symptom.Kind) Observation {
	o := p.look.obs
	o.Kind = kind
	return o
}

// Probes lists the looks that are left, the one that is worth most first. done
// names what test points need and has been done.
func (p *Posterior) Probes(ctx context.Context, done map[string]bool) ([]Probe, error) {
	b := p.belief(1, mostBelieved)
	everything := b.branch()
	var list []Probe
	for _, c := range p.candidates(done) {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		seen, info := everything.information(p.answers(b, &c.look))
		c.Information = info
		for s, k := range symptom.Kinds() {
			if seen[s] >= rare {
				c.Answers = append(c.Answers, Answer{k, seen[s]})
			}
		}
		slices.SortStableFunc(c.Answers, func(x, y Answer) int { return cmp.Compare(y.Probability, x.Probability) })
		list = append(list, c)
	}
	slices.SortStableFunc(list, func(x, y Probe) int { return cmp.Compare(y.Worth(), x.Worth()) })
	return list, nil
}

// candidates lists every test point with each signal that is worth applying.
func (p *Posterior) candidates(done map[string]bool) []Probe {
	n := p.network
	var list []Probe
	see, stimuli := n.seeing(), p.stimuli()
	for k, t := range n.Model.TestPoints {
		for _, o := range stimuli {
			o.TestPoint = t.Name
			l, ok := see.lookOf(o)
			if !ok || p.taken(o) {
				continue
			}
			list = append(list, n.probe(k, l, done))
		}
	}
	return list
}

// probe is a look at a test point, which has this number, without its worth.
func (n *Network) probe(k int, l look, done map[string]bool) Probe {
	t, o := n.Model.TestPoints[k], l.obs
	c := Probe{TestPoint: t.Name, After: t.After, Access: t.Access, About: t.About, Input: o.Input, Frequency: o.Frequency,
		Margin: o.Margin, Point: o.ID, Minutes: t.minutes(done), look: l}
	if t.Needs != "" && !done[t.Needs] {
		c.Needs = t.Needs
	}
	c.look.obs.ID = t.Name
	after := n.stages[t.After]
	if x := l.ways[0].frequency[after]; !math.IsNaN(x) {
		c.Expect = &x
	}
	if feed := n.feeds[l.ways[0].way][after]; feed != nil {
		c.Level = feed.stated.Level
	}
	return c
}

// taken tells whether a look was taken before.
func (p *Posterior) taken(o Observation) bool {
	return slices.ContainsFunc(p.looks, func(l look) bool {
		return l.obs.TestPoint == o.TestPoint && l.obs.Input == o.Input && l.obs.Frequency == o.Frequency
	})
}

// stimuli are the signals that a look is worth taking with: of each way a point
// of the record that is bad and one that is good, or its middle; and the bad one
// with the longest gate.
func (p *Posterior) stimuli() []Observation {
	n := p.network
	powered := 0.0
	for k := range p.looks {
		powered = max(powered, p.looks[k].obs.Powered)
	}
	var list []Observation
	add := func(o Observation) {
		o.Kind, o.Powered, o.Says, o.Sensitivity = symptom.Good, powered, "", false
		if !slices.ContainsFunc(list, func(x Observation) bool { return x.Input == o.Input && x.Frequency == o.Frequency }) {
			list = append(list, o)
		}
	}
	var longest Observation
	for way, w := range n.Model.Ways {
		var good, bad []Observation
		for k := range p.looks {
			switch l := &p.looks[k]; {
			case l.place != atReading || l.obs.SelfTest || len(l.ways) != 1 || l.ways[0].way != way || l.obs.Sensitivity:
			case l.obs.Kind == symptom.Good:
				good = append(good, l.obs)
			default:
				bad = append(bad, l.obs)
				if l.obs.Gate > longest.Gate {
					longest = l.obs
				}
			}
		}
		if len(bad) > 0 {
			add(bad[len(bad)/2])
		}
		if len(good) > 0 {
			add(good[len(good)/2])
		}
		if f, ok := w.middle(); ok && len(good)+len(bad) == 0 {
			add(Observation{Input: w.Input, Frequency: f})
		}
	}
	if longest.Gate > 0 {
		add(longest)
	}
	return list
}

// middle of the range of a way, Hz.
func (w Way) middle() (f float64, ok bool) {
	switch {
	case w.SelfTest || w.From == nil && w.To == nil:
		return 0, false
	case w.From == nil:
		return w.To.Float() / 2, true
	case w.To == nil:
		return w.From.Float() * 2, true
	}
	return math.Sqrt(w.From.Float() * w.To.Float()), true
}
