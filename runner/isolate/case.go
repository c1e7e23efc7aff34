package isolate

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/symptom"
)

// Case is a unit whose fault is looked for: what its run shows, and what a
// person entered since.
type Case struct {
	Network  *Network // nil: no model, symptoms only
	Seen     []symptom.Seen
	Findings []symptom.Finding
	Entries  []Entry
	Doubts   []string // of the run, before anything is read out of it

	levels map[string]quantity.Level // at the input, by point
	damage map[string]quantity.Level // by input
	post   *Posterior                // of the entries so far
}

// NewCase begins or goes on with a case.
func NewCase(n *Network, r runner.Result, entries []Entry) *Case {
	c := &Case{Network: n, Seen: symptom.Read(r), Findings: symptom.Name(r), Entries: entries, Doubts: Doubts(r), levels: map[string]quantity.Level{}, damage: map[string]quantity.Level{}}
	c.Doubts = append(c.Doubts, shared(c.Findings)...)
	for _, i := range r.Inputs {
		c.damage[i.Input.Name] = i.Input.Damage
	}
	for _, p := range r.Points {
		c.levels[p.Point.ID] = p.Point.Levels.Input
	}
	return c
}

// Add takes an entry over once it is kept.
func (c *Case) Add(e Entry) { c.Entries, c.post = append(c.Entries, e), nil }

// Evidence is what the run shows and what was seen at test points. The same look
// entered again counts once where it shows the same: it is no second witness.
func (c *Case) Evidence() []Observation {
	list := Evidence(c.Seen)
	for _, e := range Number(c.Entries) {
		if e.Seen != nil && !e.Gone && !slices.ContainsFunc(list, e.Seen.sameAs) {
			list = append(list, *e.Seen)
		}
	}
	return list
}

// sameAs tells whether two looks at a test point are with the same signal and
// show the same.
func (o *Observation) sameAs(x Observation) bool {
	return o.TestPoint == x.TestPoint && o.Input == x.Input && o.Frequency == x.Frequency && o.SelfTest == x.SelfTest && o.Kind == x.Kind
}

// Done names what test points need and has been done: as stated, or because one
// that needs it was looked at.
func (c *Case) Done() map[string]bool {
	done := map[string]bool{}
	for _, e := range Number(c.Entries) {
		switch {
		case e.Gone:
		case e.Kind == Prepared:
			done[e.Text] = true
		case e.Seen != nil:
			if p, ok := c.Network.pointNamed(e.Seen.TestPoint); ok && p.Needs != "" {
				done[p.Needs] = true
			}
		}
	}
	return done
}

// Closed is the last statement that the fault is found; "" where there is none.
func (c *Case) Closed() string {
	text := ""
	for _, e := range Number(c.Entries) {
		if e.Kind == Closed && !e.Gone {
			text = e.Text
		}
	}
	return text
}

// Looked names the test points that were looked at.
func (c *Case) Looked() []string {
	var list []string
	for _, e := range Number(c.Entries) {
		if e.Seen != nil && !e.Gone && !slices.Contains(list, e.Seen.TestPoint) {
			list = append(list, e.Seen.TestPoint)
		}
	}
	return list
}

// Posterior is what is believed after all that was seen so far.
func (c *Case) Posterior(ctx context.Context) (*Posterior, error) {
	if c.post == nil {
		post, err := c.Network.Infer(ctx, c.Evidence(), Options{})
		if err != nil {
			return nil, err
		}
		c.post = post
	}
	return c.post, nil
}

// Proposals lists the looks that are left, the one that is worth most first.
func (c *Case) Proposals(ctx context.Context) ([]Proposal, error) {
	post, err := c.Posterior(ctx)
	if err != nil {
		return nil, err
	}
	probes, err := post.Probes(ctx, c.Done())
	if err != nil {
		return nil, err
	}
	list := make([]Proposal, len(probes))
	for k, p := range probes {
		list[k] = Proposal{Probe: p, Order: orderOf(p.Access)}
		if l, ok := c.damage[p.Input]; ok {
			list[k].Damage = &l
		}
		if l, ok := c.levels[p.Point]; ok {
			list[k].Apply = &l
		}
	}
	return list, nil
}

// Proposal is a look with the level to apply at the input, where a point of the
// record tells it.
type Proposal struct {
	Probe
	Apply *quantity.Level `json:"apply,omitempty"`
	// Damage is the level that destroys the input, as the procedure of the record
	// states it.
	Damage *quantity.Level `json:"damage_level,omitempty"`
	// Order is what is off while the place is made ready.
	Order string `json:"order"`
}

// TellsMore tells whether a look is worth taking.
func (p Probe) TellsMore() bool { return p.Information > leastInformation }

func (n *Network) pointNamed(name string) (TestPoint, bool) {
	if n != nil {
		if k := n.testPoint(name); k >= 0 {
			return n.Model.TestPoints[k], true
		}
	}
	return TestPoint{}, false
}

// Saw understands what a person says of a test point: "TP7: 400 MHz", "TP9:
// nothing", "TP7 at B 1 GHz: 31.25 MHz, low". Unless stated, the signal is the one
// that is proposed for the test point.
func (c *Case) Saw(ctx context.Context, text string) (Entry, error) {
	point, signal, answer, err := c.Network.splitSaw(text)
	if err != nil {
		return Entry{}, err
	}
	list, err := c.Proposals(ctx)
	if err != nil {
		return Entry{}, err
	}
	p, err := c.signal(list, point, signal)
	if err != nil {
		return Entry{}, fmt.Errorf("%q: %w", text, err)
	}
	e, err := c.Network.Answer(p, answer)
	if err != nil {
		return Entry{}, fmt.Errorf("%q: %w", text, err)
	}
	return e, nil
}

// signal finds the look that a person means: of those proposed, or another.
func (c *Case) signal(list []Proposal, point, signal string) (Probe, error) {
	input, f, err := c.Network.splitSignal(signal)
	if err != nil {
		return Probe{}, err
	}
	for _, p := range list {
		near := f == 0 || math.Abs(p.Frequency-f) <= edge*f
		if p.TestPoint == point && (input == "" || p.Input == input) && near {
			return p.Probe, nil
		}
	}
	var live []string
	for _, o := range c.post.stimuli() {
		o.TestPoint = point
		if _, ok := c.Network.seeing().lookOf(o); ok {
			live = append(live, o.Input+" "+quantity.Significant(o.Frequency, 10).String())
		}
	}
	if f == 0 {
		if len(live) == 0 {
			return Probe{}, fmt.Errorf("nothing comes by at %s with any signal that the model knows", point)
		}
		return Probe{}, fmt.Errorf("no look is left to propose at %s; say with which signal, such as \"%s at %s: …\"", point, point, live[0])
	}
	o := Observation{TestPoint: point, Input: input, Frequency: f, Kind: symptom.Good}
	for _, s := range c.Seen {
		o.Powered = max(o.Powered, s.Powered)
		if s.Input == input && !s.Sensitivity && math.Abs(s.Frequency-f) <= edge*f && !math.IsNaN(s.Margin) {
			o.Margin = &s.Margin
		}
	}
	l, ok := c.Network.seeing().lookOf(o)
	if !ok {
		return Probe{}, fmt.Errorf("nothing comes by at %s with %s at input %s in a good unit; signals that do are %s", point, quantity.Significant(f, 10), input, strings.Join(live, ", "))
	}
	return c.Network.probe(c.Network.testPoint(point), l, c.Done()), nil
}

// Answer makes an entry of what a person says of a look.
func (n *Network) Answer(p Probe, text string) (Entry, error) {
	a, err := parseAnswer(text)
	if err != nil {
		return Entry{}, err
	}
	control := n.Model.Stages[n.stages[p.After]].Kind == "control line"
	switch {
	case a.frequency == nil && control && a.kind == symptom.Weak:
		return Entry{}, fmt.Errorf("%s is after a control line, whose right value may be a low one: say good or wrong", p.TestPoint)
	case a.frequency == nil:
	case p.Expect == nil || *p.Expect == 0:
		return Entry{}, fmt.Errorf("the model states no frequency at %s; say one of: %s", p.TestPoint, sayings())
	default:
		within := -1.0
		if a.within != nil {
			within = a.within.Float()
		}
		if k := compare(a.frequency.Float(), *p.Expect, within); k != symptom.Good || a.kind == "" {
			a.kind = k
		}
	}
	o := p.Observation(a.kind)
	o.ID = p.TestPoint
	o.Says = fmt.Sprintf("%s with %s at input %s: %s", p.TestPoint, quantity.Significant(p.Frequency, 10), p.Input, AtTestPoint(a.kind))
	if a.frequency != nil {
		o.Says += fmt.Sprintf(" (%s)", a.frequency)
	}
	if p.Expect != nil && *p.Expect > 0 && a.kind != symptom.Good {
		o.Says += fmt.Sprintf("; a good unit has %s", quantity.Significant(*p.Expect, 10))
	}
	signal := strings.TrimSpace(p.Input + " " + quantity.Significant(p.Frequency, 10).String())
	return Entry{Kind: Looked, Text: fmt.Sprintf("%s at %s: %s", p.TestPoint, signal, strings.Join(strings.Fields(text), " ")), Seen: &o}, nil
}

// Prepare is the entry that what test points need is done.
func (c *Case) Prepare(text string) (Entry, error) {
	var known []string
	for _, p := range c.Network.Model.TestPoints {
		if p.Needs != "" && !slices.Contains(known, p.Needs) {
			known = append(known, p.Needs)
		}
		if strings.EqualFold(p.Needs, strings.TrimSpace(text)) && p.Needs != "" {
			return Entry{Kind: Prepared, Text: p.Needs}, nil
		}
	}
	if len(known) == 0 {
		return Entry{}, fmt.Errorf("%q: no test point of the model needs anything done before", text)
	}
	return Entry{}, fmt.Errorf("%q is nothing that a test point needs; there are: %s", text, strings.Join(known, "; "))
}

// Close is the entry that the fault is found: "B amplifier: open coupling
// capacitor". The stage is one of the model where there is one.
func (c *Case) Close(text string) (Entry, error) {
	text = strings.TrimSpace(text)
	stage, was, ok := strings.Cut(text, ":")
	if !ok || strings.TrimSpace(was) == "" || strings.TrimSpace(stage) == "" {
		return Entry{}, fmt.Errorf("%q: expected a stage and what it had, such as \"B amplifier: open coupling capacitor\"", text)
	}
	if c.Network != nil {
		if _, known := c.Network.stages[strings.TrimSpace(stage)]; !known {
			return Entry{}, fmt.Errorf("%q: %q is no stage of the model; there are %s", text, strings.TrimSpace(stage), strings.Join(c.Network.stageNames(), ", "))
		}
	}
	return Entry{Kind: Closed, Text: text}, nil
}

func (n *Network) stageNames() []string {
	list := make([]string, len(n.Model.Stages))
	for k, s := range n.Model.Stages {
		list[k] = s.Name
	}
	return list
}
