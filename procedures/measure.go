package procedures

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
)

// Measure is one [[measure]] table of a procedure: a measurement of another
// kind than the band sweep. Its further keys are those of its kind.
type Measure struct {
	Kind  string `toml:"kind" json:"kind" jsonschema_description:"Kind of measurement."`
	Name  string `toml:"name,omitempty" json:"name,omitempty" jsonschema_description:"Name on plan and data sheet; the kind unless stated."`
	Input string `toml:"input,omitempty" json:"input,omitempty" jsonschema_description:"Input that it is taken at, where it is taken at one."`
	Keys  Keys   `toml:"-" json:"keys"`
}

// TOMLOpen lets a table hold the keys of its kind.
func (*Measure) TOMLOpen() {}

// Title is what plan and data sheet call the measurement.
func (m Measure) Title() string {
	if m.Name != "" {
		return m.Name
	}
	return strings.TrimSpace(m.Kind + " " + m.Input)
}

// MeasureKind is one kind of measurement beyond the band sweep, as a procedure asks
// for it. How it is taken is the business of a package under runner.
type MeasureKind interface {
	// Kind is the word that stands after kind = in a [[measure]] table.
	Kind() string
	// Keys returns a new struct for the further keys of a table (toml tags).
	Keys() Keys
}

// Keys are the keys of one [[measure]] table beyond those of Measure.
type Keys interface {
	// Check says what is wrong beyond what the strict reader sees; key "" is the
	// table as a whole.
	Check(p *Procedure, m Measure) []Wrong
	// Plan adds what is to be done to the draft of a plan. An error means that
	// nothing sensible can be planned; what the bench can't show is no error.
	Plan(d *Draft, m Measure) error
}

// Task is one piece of a measurement: what is taken, judged and journaled at
// one go, on one path.
type Task struct {
	ID      string `json:"id"` // input, kind and ordinal, such as "B-sensitivity-003"
	Kind    string `json:"kind"`
	Measure string `json:"measure"`         // title of the table
	Input   string `json:"input,omitempty"` // "" where it concerns the unit as a whole
	Path    string `json:"path,omitempty"`  // "" where no signal is needed
	Source  string `json:"source_name,omitempty"`
	// Points are where it is taken, as its kind understands them.
	Points []Point `json:"points,omitempty"`
	// Output is where the monitor measures the unit instead; nil for a signal.
	Output *Output `json:"output,omitempty"`
	// Seconds that it is expected to take.
	Seconds float64 `json:"seconds"`
	// Keys of the table.
	Keys Keys `json:"-"`
}

// measures reads the further keys of each [[measure]] table by its kind.
func (c checker) measures(p *Procedure, kinds []MeasureKind) {
	words := names(kinds, MeasureKind.Kind)
	for k := range p.Measures {
		m := &p.Measures[k]
		at := fmt.Sprintf("measure[%d]", k)
		n := slices.Index(words, m.Kind)
		if n < 0 {
			c.oneOf(at+".kind", m.Kind, words...)
			continue
		}
		m.Keys = kinds[n].Keys()
		c.d.At(at, m.Keys, "kind", "name", "input")
		if _, ok := p.Input(m.Input); !ok && m.Input != "" && c.given(at+".input") {
			c.add(at+".input", "is %q, which is not an input of the unit; inputs are %s", m.Input, strings.Join(names(p.Inputs, func(i Input) string { return i.Name }), ", "))
			continue
		}
		if !c.given(at) {
			continue // what follows would be guesswork
		}
		for _, w := range m.Keys.Check(p, *m) {
			c.add(strings.TrimSuffix(at+"."+w.Key, "."), "%s", w.Text)
		}
	}
}

// Draft is a plan in the making, as a kind of measurement sees it.
type Draft struct{ l *planner }

// Procedure, Bench and Plan are what the draft is made from and what it holds
// so far: topology, rule, timebase, and the points of the band sweep.
func (d *Draft) Procedure() *Procedure { return d.l.p }
func (d *Draft) Bench() *Bench         { return d.l.b }
func (d *Draft) Plan() *Plan           { return d.l.plan }

// Options are what the plan is made with.
func (d *Draft) Options() Options { return d.l.o }

// Want is a point that a kind of measurement wishes for.
type Want struct {
	Frequency quantity.Frequency
	Gate      quantity.Duration
	Readings  int             // 3 where 0
	Level     *quantity.Level // at the input; nil: the specified sensitivity and Above
	Above     *quantity.Gain
	Path      string // "" takes the best
}

// Point plans a point on the path with the highest TUR, or on the one that is
// wanted; why tells what stands against it.
func (d *Draft) Point(i Input, w Want) (p Point, why string) {
	s := Sweep{Input: i.Name, Gate: GateTime{Fixed: w.Gate}, Readings: w.Readings, Level: w.Level, AboveSensitivity: w.Above}
	if w.Path == "" {
		return d.l.point(i, s, w.Frequency)
	}
	path, ok := d.l.b.Path(w.Path)
	if !ok || path.Input != i.Name {
		return Point{}, fmt.Sprintf("no path %q in the bench file leads to input %s", w.Path, i.Name)
	}
	level, err := wanted(i, s, w.Frequency)
	if err == nil {
		source, _ := d.l.b.Source(path.Source)
		p, err = d.l.onPath(i, s, w.Frequency, level, path, source)
	}
	if err != nil {
		return Point{}, err.Error()
	}
	return p, ""
}

// Add adds a task: its id, kind, title and keys are filled in, and where it has
// points its path and source.
func (d *Draft) Add(m Measure, t Task) {
	t.Kind, t.Measure, t.Keys = m.Kind, m.Title(), m.Keys
	if t.Input == "" {
		t.Input = m.Input
	}
	if len(t.Points) > 0 && t.Path == "" {
		t.Path, t.Source = t.Points[0].Path, t.Points[0].Source
	}
	where, n := t.Input, 1
	if where == "" {
		where = "unit"
	}
	for _, other := range d.l.plan.Tasks {
		if other.Kind == t.Kind && other.Input == t.Input {
			n++
		}
	}
	t.ID = fmt.Sprintf("%s-%s-%03d", where, strings.ReplaceAll(t.Kind, " ", "-"), n)
	for k := range t.Points {
		t.Points[k].ID = fmt.Sprintf("%s.%d", t.ID, k+1)
	}
	d.l.plan.Tasks = append(d.l.plan.Tasks, t)
}

// NotShown notes what the bench can't show of a measurement.
func (d *Draft) NotShown(m Measure, i Input, from, to quantity.Frequency, why string) {
	for k := range d.l.plan.Inputs {
		if in := &d.l.plan.Inputs[k]; in.Input == i.Name {
			in.NotShown = append(in.NotShown, NotShown{Input: i.Name, Sweep: m.Title(), From: from, To: to, Reason: why})
		}
	}
}

// Warn adds a warning to the plan.
func (d *Draft) Warn(format string, args ...any) {
	d.l.plan.Warnings = append(d.l.plan.Warnings, fmt.Sprintf(format, args...))
}
