package procedures

import (
	"errors"
	"fmt"
	"math/big"
	"sort"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// input plans all sweeps of one input.
func (l *planner) input(i Input) error {
	planned := PlannedInput{Input: i.Name}
	shown := map[string]bool{}
	refused := map[string]string{} // frequency → why
	var all []quantity.Frequency
	seen := map[string]bool{}
	n := 0
	for _, s := range l.p.Sweeps {
		if s.Input != i.Name {
			continue
		}
		list, ok := s.frequencies(i)
		if !ok {
			return fmt.Errorf("sweep %q has more than %d points; widen its step", s.Name, mostPoints)
		}
		list = rising(append(list, l.reach(i, list[0], list[len(list)-1])...))
		all = append(all, list...)
		for _, f := range list {
			point, why := l.point(i, s, f)
			if why != "" {
				refused[f.Plain()] = why
				continue
			}
			key := point.Frequency.Plain() + point.Levels.Input.String() + point.Gate.String()
			if seen[key] {
				continue
			}
			seen[key] = true
			n++
			point.ID = fmt.Sprintf("%s-%03d", i.Name, n)
			shown[point.Frequency.Plain()] = true
			l.plan.Points = append(l.plan.Points, point)
		}
	}
	var points []quantity.Frequency
	for _, p := range l.plan.Points {
		if p.Input == i.Name {
			points = append(points, p.Frequency)
		}
	}
	planned.Coverage = i.Coverage(points)
	planned.NotShown = notShown(i, rising(all), shown, refused)
	l.plan.Inputs = append(l.plan.Inputs, planned)
	return nil
}

// reach returns the edges of what the sources can make within a sweep, so that
// the range shown ends where the bench ends and not at the last round number.
func (l *planner) reach(i Input, low, high quantity.Frequency) []quantity.Frequency {
	var edges []quantity.Frequency
	for _, path := range l.b.Paths {
		s, ok := l.b.Source(path.Source)
		if path.Input != i.Name || !ok {
			continue
		}
		for _, f := range s.Range {
			if f.Cmp(low) > 0 && f.Cmp(high) < 0 && !l.reachedByOther(i, path, f) {
				edges = append(edges, f)
			}
		}
	}
	return edges
}

// reachedByOther tells whether another source makes f well within its range.
func (l *planner) reachedByOther(i Input, not Path, f quantity.Frequency) bool {
	for _, path := range l.b.Paths {
		s, ok := l.b.Source(path.Source)
		if ok && path.Input == i.Name && path.Name != not.Name && f.Cmp(s.Range[0]) > 0 && f.Cmp(s.Range[1]) < 0 {
			return true
		}
	}
	return false
}

// point plans one frequency on the best path: the one with the highest TUR,
// the first in the bench file among equals. why tells what stands against it.
func (l *planner) point(i Input, s Sweep, f quantity.Frequency) (best Point, why string) {
	want, err := wanted(i, s, f)
	if err != nil {
		return Point{}, err.Error()
	}
	found := false
	for _, path := range l.b.Paths {
		if path.Input != i.Name {
			continue
		}
		source, _ := l.b.Source(path.Source)
		p, err := l.onPath(i, s, f, want, path, source)
		switch {
		case err != nil && why == "":
			why = err.Error()
		case err == nil && (!found || better(p, best)):
			best, found = p, true
		}
	}
	if found {
		return best, ""
	}
	if why == "" {
		why = "no path in the bench file leads to this input"
	}
	return Point{}, why
}

func better(a, b Point) bool {
	if b.TUR == nil {
		return false
	}
	return a.TUR == nil || *a.TUR > *b.TUR*(1+1e-9)
}

// wanted is the level that the sweep asks for at f.
func wanted(i Input, s Sweep, f quantity.Frequency) (quantity.Level, error) {
	if s.Level != nil {
		return *s.Level, nil
	}
	level, ok := i.SensitivityAt(f)
	if !ok {
		return quantity.Level{}, errors.New("no sensitivity is specified at this frequency")
	}
	if s.AboveSensitivity == nil {
		return level, nil
	}
	raised := quantity.DBmLevel(level.DBm(quantity.Dbm50())+s.AboveSensitivity.Float(), 2)
	if level.IsVoltage() {
		return quantity.VoltLevel(raised.Volts(quantity.Dbm50())), nil
	}
	return raised, nil
}

func (l *planner) onPath(i Input, s Sweep, f quantity.Frequency, want quantity.Level, path Path, source Source) (Point, error) {
	f = onGrid(f, source.Resolution)
	if f.Cmp(source.Range[0]) < 0 {
		return Point{}, fmt.Errorf("below the range of source %s (from %s)", source.Name, source.Range[0])
	}
	if f.Cmp(source.Range[1]) > 0 {
		return Point{}, fmt.Errorf("beyond the range of source %s (up to %s)", source.Name, source.Range[1])
	}
	levels, err := levelsFor(i, path, source, f, want)
	if err != nil {
		return Point{}, err
	}
	if err := checkLevels(levels, l.p.Unit, i, path, source, f); err != nil {
		return Point{}, err
	}
	reference := f.Exact().Mul(l.plan.Topology[source.Name].Factor)
	limit, err := l.plan.LimitAt(i, source.Name, reference, s.Gate)
	if err != nil {
		return Point{}, err
	}
	if limit.Vacuous(reference) {
		return Point{}, fmt.Errorf("limit %s Hz is more than a tenth of the frequency: meeting it shows nothing; lengthen the gate", limit.Total.Fixed(3))
	}
	u, err := l.plan.BenchBudget(source, f).Combine()
	if err != nil {
		return Point{}, err
	}
	p := Point{Input: i.Name, Frequency: f, Levels: levels, Path: path.Name, Source: source.Name, Gate: s.Gate,
		Readings: s.readings(), Limit: limit, BenchU: u.Expanded}
	p.LimitPPM = limit.Total.Quo(reference).Float() * 1e6
	if tur, limited := decision.TUR(limit.Total, u.Expanded); limited {
		p.TUR = &tur
	}
	if w := l.p.Decision.GuardBand(u.Expanded); limit.Total.Cmp(w) < 0 {
		return Point{}, fmt.Errorf("guard band %s Hz is wider than the limit %s Hz: no error could pass", w.Fixed(3), limit.Total.Fixed(3))
	}
	p.Coherent = l.plan.Topology[source.Name].Coherent && new(big.Rat).Mul(f.Rat(), s.Gate.Rat()).IsInt()
	p.Seconds = l.seconds(p, i)
	return p, nil
}

func (s Sweep) readings() int {
	if s.Readings == 0 {
		return 3
	}
	return s.Readings
}

// onGrid rounds to the source's setting steps, so that its read-back can equal
// what was asked.
func onGrid(f, step quantity.Frequency) quantity.Frequency {
	if step.Sign() <= 0 {
		return f
	}
	n := quantity.FromRat[quantity.Hertz](new(big.Rat).Quo(f.Rat(), step.Rat()), 0)
	on := quantity.FromRat[quantity.Hertz](new(big.Rat).Mul(n.Rat(), step.Rat()), 12)
	if on.Cmp(f) == 0 {
		return f
	}
	r, err := quantity.Parse[quantity.Hertz](on.Exact().String() + " Hz")
	if err != nil {
		return f
	}
	return r
}

// seconds that one point takes: settling, discarded and counted readings.
func (l *planner) seconds(p Point, i Input) float64 {
	source, counter := l.o.Capabilities[p.Source], l.o.Capabilities[""]
	gate := p.Gate.Float()
	if counter.GateLengthened && i.Accuracy.Prescale > 1 {
		gate *= float64(i.Accuracy.Prescale)
	}
	return source.Settle.Float() + float64(counter.Discard+p.Readings)*(gate+counter.Overhead.Float())
}

// order groups the points by path, in the order in which the procedure names
// the inputs and the bench file the paths: each cable is moved once.
func (l *planner) order() {
	rank := map[string]int{}
	for a, i := range l.p.Inputs {
		for b, path := range l.b.Paths {
			if path.Input == i.Name {
				rank[path.Name] = a*len(l.b.Paths) + b
			}
		}
	}
	points := l.plan.Points
	sort.SliceStable(points, func(a, b int) bool { return rank[points[a].Path] < rank[points[b].Path] })
	move := quantity.Of[quantity.Second](120, 0)
	if l.b.MoveTime != nil {
		move = *l.b.MoveTime
	}
	last := ""
	for _, p := range points {
		if p.Path != last {
			last = p.Path
			if path, _ := l.b.Path(last); !path.Fixed {
				l.plan.Moves++
				l.plan.Minutes += move.Float() / 60
			}
			// Each input is read once more with RF off, to see that it lets go.
			l.plan.Minutes += 2 * p.Gate.Float() / 60
		}
		l.plan.Minutes += p.Seconds / 60
	}
}

// Path returns the path of that name.
func (b *Bench) Path(name string) (Path, bool) {
	for _, p := range b.Paths {
		if p.Name == name {
			return p, true
		}
	}
	return Path{}, false
}

// notShown merges refused points that lie together into stretches: from the
// last shown point below (or the band edge) to the next shown one above.
func notShown(i Input, all []quantity.Frequency, shown map[string]bool, refused map[string]string) []NotShown {
	var list []NotShown
	var last *quantity.Frequency // the last shown point
	open := -1
	for k, f := range all {
		why, bad := refused[f.Plain()]
		if !bad || shown[f.Plain()] {
			if open >= 0 {
				list[open].To, open = f, -1
			}
			last = &all[k]
			continue
		}
		if open >= 0 && list[open].Reason == why {
			list[open].To = f
			continue
		}
		from := f
		switch {
		case open >= 0: // the same stretch goes on for another reason
			from = list[open].To
		case last != nil:
			from = *last
		}
		list = append(list, NotShown{i.Name, from, f, why})
		open = len(list) - 1
	}
	return list
}

// warn collects what the plan must say aloud.
func (l *planner) warn() {
	w := func(format string, args ...any) {
		l.plan.Warnings = append(l.plan.Warnings, fmt.Sprintf(format, args...))
	}
	low, coherent := map[string]int{}, map[string]int{}
	for _, p := range l.plan.Points {
		if p.TUR != nil && *p.TUR < 4 {
			low[p.Input]++
		}
		if p.Coherent {
			coherent[p.Input]++
		}
	}
	for _, i := range l.p.Inputs {
		if n := low[i.Name]; n > 0 {
			w("input %s: %d points have a TUR below 4; a better reference or a longer gate would help", i.Name, n)
		}
		if n := coherent[i.Name]; n > 0 {
			w("input %s: %d points are coherent (shared reference, frequency a multiple of 1/gate): their readings repeat and count as one for statistics", i.Name, n)
		}
		for _, p := range l.b.Paths {
			if p.Input == i.Name && i.HighImpedance() && !p.Termination && i.Range[1].Cmp(quantity.Of[quantity.Hertz](5, 6)) > 0 {
				w("input %s, path %s: an unterminated high-impedance input at the end of a cable sees a standing wave above a few MHz; levels there need a feed-through termination or a power meter at the input", i.Name, p.Name)
			}
		}
	}
	for _, s := range l.b.Sources {
		if s.Overdue(l.o.Now) {
			w("source %s: calibration was due on %s", s.Name, s.Due)
		}
	}
	for _, r := range l.b.References {
		if r.Overdue(l.o.Now) {
			w("reference %s: calibration was due on %s", r.Name, r.Due)
		}
	}
}
