package procedures

import (
	"fmt"
	"math"

	"bandproof/procedures/quantity"
)

// AtLevel returns the point at another level at the input, of at least want, or
// why that can't be had: source out of range, too near to the damage level,
// above what the input is specified for.
func (b *Bench) AtLevel(u Unit, i Input, p Point, want quantity.Level) (Point, error) {
	path, _ := b.Path(p.Path)
	source, _ := b.Source(p.Source)
	levels, err := levelsFor(i, path, source, p.Frequency, want)
	if err == nil {
		err = checkLevels(levels, u, i, path, source, p.Frequency)
	}
	if err == nil {
		p, err = b.with(i, p, levels)
	}
	if err != nil {
		return Point{}, fmt.Errorf("%s at %s: %w", want, p.Frequency, err)
	}
	return p, nil
}

// with returns the point with other levels, and what follows from them.
func (b *Bench) with(i Input, p Point, levels Levels) (Point, error) {
	p.Levels = levels
	p.Metered, _ = b.Metered(p)
	p.Watched, _ = b.Watched(p)
	u, err := b.levelU(i, p)
	p.LevelU = u
	return p, err
}

// Steps are the settings of a source's level that may be used at a point, in
// whole steps of its level setting (see [Source.LevelStep]).
type Steps struct {
	Lowest, Highest int
	// Lower and Upper say what ends them.
	Lower, Upper string
}

// Steps returns what the source reaches at a point without coming too near to
// the damage level of the input, or above the highest level for which the
// input, power meter and monitor are made. It fails where the loss of the path
// is not known, or nothing is left.
func (b *Bench) Steps(u Unit, i Input, p Point) (Steps, error) {
	path, _ := b.Path(p.Path)
	source, _ := b.Source(p.Source)
	loss, err := path.loss(p.Frequency)
	if err != nil {
		return Steps{}, err
	}
	step, r := source.LevelStep(), quantity.Dbm50()
	floor := func(dbm float64) int { return int(math.Floor(dbm/step + 1e-6)) }
	s := Steps{Lowest: int(math.Ceil(source.Level[0].DBm(r)/step - 1e-6)), Highest: floor(source.Level[1].DBm(r)),
		Lower: fmt.Sprintf("source %s gives %s at least", source.Name, source.Level[0]), Upper: fmt.Sprintf("source %s gives %s at most", source.Name, source.Level[1])}
	if n := floor(Ceiling(u, i, path, source, p.Frequency)); n < s.Highest {
		s.Highest, s.Upper = n, fmt.Sprintf("input %s is destroyed at %s, margin %g dB", i.Name, i.Damage, u.Margin())
	}
	for s.Highest >= s.Lowest {
		why := b.refused(u, i, p, path, source, levelsAt(i, path, source, p.Frequency, float64(s.Highest), loss))
		if why == "" {
			return s, nil
		}
		s.Highest, s.Upper = s.Highest-1, why
	}
	return Steps{}, fmt.Errorf("no level of source %s may be used at %s: %s", source.Name, p.Frequency, s.Upper)
}

// refused says what forbids levels at a point, or "".
func (b *Bench) refused(u Unit, i Input, p Point, path Path, s Source, l Levels) string {
	if err := checkLevels(l, u, i, path, s, p.Frequency); err != nil {
		return err.Error()
	}
	p.Levels = l
	for _, ask := range []func(Point) (bool, string){b.Metered, b.Watched} {
		if _, why := ask(p); why == tooMuchMeter || why == tooMuchMonitor {
			return why
		}
	}
	return ""
}

// AtStep returns the point with the source set to n steps of its level; it is
// for steps that [Bench.Steps] allows.
func (b *Bench) AtStep(i Input, p Point, n int) (Point, error) {
	path, _ := b.Path(p.Path)
	source, _ := b.Source(p.Source)
	loss, err := path.loss(p.Frequency)
	if err != nil {
		return Point{}, err
	}
	return b.with(i, p, levelsAt(i, path, source, p.Frequency, float64(n), loss))
}

// StepOf is the setting of a point's source in steps of its level.
func (b *Bench) StepOf(p Point) int {
	source, _ := b.Source(p.Source)
	return int(math.Round(p.Levels.Source.DBm(quantity.Dbm50()) / source.LevelStep()))
}

// LevelSteps is a distance in dB in whole steps of a point's source, at least one.
func (b *Bench) LevelSteps(p Point, distance quantity.Gain) int {
	source, _ := b.Source(p.Source)
	return max(1, int(math.Round(distance.Float()/source.LevelStep())))
}

// Frequencies are the keys by which a table chooses its frequencies, as those of
// a sweep do. With none of them: the edges of the input, those of its
// sensitivity's sub-ranges and both sides of its crossovers.
type Frequencies struct {
	From      *quantity.Frequency  `toml:"from,omitempty" json:"from,omitempty" jsonschema_description:"Lowest frequency; the input's lowest unless stated."`
	To        *quantity.Frequency  `toml:"to,omitempty" json:"to,omitempty" jsonschema_description:"Highest frequency; the input's highest unless stated."`
	PerDecade int                  `toml:"per_decade,omitempty" json:"per_decade,omitempty" jsonschema:"minimum=1,maximum=1000" jsonschema_description:"Frequencies in each decade."`
	PerOctave int                  `toml:"per_octave,omitempty" json:"per_octave,omitempty" jsonschema:"minimum=1,maximum=1000" jsonschema_description:"Frequencies in each octave."`
	Step      *quantity.Frequency  `toml:"step,omitempty" json:"step,omitempty" jsonschema_description:"Linear step."`
	Points    []quantity.Frequency `toml:"points,omitempty" json:"points,omitempty" jsonschema_description:"Frequencies by name."`
}

func (f Frequencies) sweep(i Input) Sweep {
	s := Sweep{Input: i.Name, From: f.From, To: f.To, PerDecade: f.PerDecade, PerOctave: f.PerOctave, Step: f.Step, Points: f.Points}
	low, high := s.edges(i)
	for _, x := range i.Sensitivity {
		for _, edge := range []quantity.Frequency{x.From, x.To} {
			if edge.Cmp(low) > 0 && edge.Cmp(high) < 0 {
				s.Points = append(s.Points[:len(s.Points):len(s.Points)], edge)
			}
		}
	}
	return s
}

// Check says what is wrong with the keys for an input.
func (f Frequencies) Check(i Input) (list []Wrong) {
	add := func(key, format string, args ...any) { list = append(list, Wrong{key, fmt.Sprintf(format, args...)}) }
	outside := func(key string, x *quantity.Frequency) {
		if x != nil && !inside(*x, i.Range) {
			add(key, "is %s, outside the range of input %s (%s to %s)", x, i.Name, i.Range[0], i.Range[1])
		}
	}
	outside("from", f.From)
	outside("to", f.To)
	for k := range f.Points {
		outside(fmt.Sprintf("points[%d]", k), &f.Points[k])
	}
	for key, n := range map[string]int{"per_decade": f.PerDecade, "per_octave": f.PerOctave} {
		if n < 0 || n > 1000 {
			add(key, "is %d; expected 1 to 1000", n)
		}
	}
	if f.Step != nil && f.Step.Sign() <= 0 {
		add("step", "is %s; expected above zero", f.Step)
	}
	if low, high := f.sweep(i).edges(i); low.Cmp(high) >= 0 {
		add("", "is reversed: from %s is not below to %s", low, high)
	}
	return list
}

// At plans a point at each frequency that f chooses, and notes what the bench
// can't show.
func (d *Draft) At(m Measure, i Input, f Frequencies, w Want) ([]Point, error) {
	s := f.sweep(i)
	list, ok := s.frequencies(i)
	if !ok {
		return nil, fmt.Errorf("%s has more than %d points; widen its step", m.Title(), mostPoints)
	}
	list = rising(append(list, d.l.reach(i, list[0], list[len(list)-1])...))
	refused := make([]string, len(list))
	var points []Point
	for k, x := range list {
		w.Frequency = x
		p, why := d.Point(i, w)
		if refused[k] = why; why == "" {
			points = append(points, p)
		}
	}
	for _, n := range notShown(i, s, list, refused) {
		d.NotShown(m, i, n.From, n.To, n.Reason)
	}
	return points, nil
}

// ByPath makes one task of the points on each path, in the order of the bench
// file. A point at which the bench's uncertainty is larger than the limit can
// show nothing; it is noted as such.
func (d *Draft) ByPath(m Measure, i Input, points []Point) (tasks []Task) {
	for _, path := range d.l.b.Paths {
		t := Task{Input: i.Name}
		for _, p := range points {
			switch {
			case p.Path != path.Name:
			case p.TUR != nil && *p.TUR < 1:
				d.NotShown(m, i, p.Frequency, p.Frequency, "uncertainty of the bench is larger than the limit")
			default:
				t.Points = append(t.Points, p)
			}
		}
		if len(t.Points) > 0 {
			tasks = append(tasks, t)
		}
	}
	return tasks
}

// CheckGate says what is wrong with a gate time under the key gate.
func CheckGate(gate quantity.Duration) []Wrong {
	if low, high := quantity.MustParse[quantity.Second]("1 µs"), quantity.MustParse[quantity.Second]("10000 s"); gate.Cmp(low) < 0 || gate.Cmp(high) > 0 {
		return []Wrong{{"gate", fmt.Sprintf("is %s; expected %s to %s", gate, low, high)}}
	}
	return nil
}
