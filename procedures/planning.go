package procedures

import (
	"cmp"
	"errors"
	"fmt"
	"math/big"
	"slices"
	"sort"

	"bandproof/procedures/quantity"

	"github.com/cockroachdb/apd/v3"
)

// input plans all sweeps of one input. What one sweep can't show is named even
// where another sweep shows the same frequency at another level.
func (l *planner) input(i Input) error {
	planned := PlannedInput{Input: i.Name}
	at := map[string]int{} // index of a point by what it shows
	var shown []quantity.Frequency
	for _, s := range l.p.Sweeps {
		if s.Input != i.Name {
			continue
		}
		list, ok := s.frequencies(i)
		if !ok {
			return fmt.Errorf("sweep %q has more than %d points; widen its step", s.Name, mostPoints)
		}
		list = rising(append(list, l.reach(i, list[0], list[len(list)-1])...))
		refused := make([]string, len(list))
		for k, f := range list {
			point, why := l.point(i, s, f)
			if refused[k] = why; why != "" {
				continue
			}
			shown = append(shown, point.Frequency)
			key := point.Frequency.Plain() + " " + point.Levels.Input.String() + " " + point.Gate.String()
			if n, again := at[key]; again { // the sweep that reads more often holds
				if same := &l.plan.Points[n]; point.Readings > same.Readings {
					point.ID = same.ID
					*same = point
				}
				continue
			}
			at[key] = len(l.plan.Points)
			point.ID = fmt.Sprintf("%s-%03d", i.Name, len(at))
			l.plan.Points = append(l.plan.Points, point)
		}
		planned.NotShown = append(planned.NotShown, notShown(i, s, list, refused)...)
		planned.NotShown = append(planned.NotShown, l.offGrid(i, s, list, refused)...)
	}
	planned.Coverage = i.Coverage(shown)
	l.plan.Inputs = append(l.plan.Inputs, planned)
	return nil
}

// offGrid names what lies between an edge of a sweep and the nearest frequency
// that the source can be set to.
func (l *planner) offGrid(i Input, s Sweep, list []quantity.Frequency, refused []string) []NotShown {
	var out []NotShown
	low, high := list[0], list[len(list)-1]
	for _, edge := range []struct {
		f    quantity.Frequency
		open string
	}{{low, refused[0]}, {high, refused[len(refused)-1]}} {
		p, why := l.point(i, s, edge.f)
		if edge.open != "" || why != "" || p.Frequency.Cmp(edge.f) == 0 {
			continue
		}
		n := NotShown{Input: i.Name, Sweep: s.Name, From: p.Frequency, To: edge.f, Reason: "source " + p.Source + " can't be set to it exactly"}
		if n.From.Cmp(n.To) > 0 {
			n.From, n.To = n.To, n.From
		}
		out = append(out, n)
	}
	return out
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

// point plans one frequency on the best path (see better) and notes the ways of
// other sources. why tells what stands against it.
func (l *planner) point(i Input, s Sweep, f quantity.Frequency) (best Point, why string) {
	want, err := wanted(i, s, f)
	if err != nil {
		return Point{}, err.Error()
	}
	var all []Point
	for _, path := range l.b.Paths {
		if path.Input != i.Name {
			continue
		}
		source, _ := l.b.Source(path.Source)
		p, err := l.onPath(i, s, f, want, path, source)
		switch {
		case err != nil && why == "":
			why = err.Error()
		case err == nil:
			if len(all) == 0 || l.better(i, p, best) {
				best = p
			}
			all = append(all, p)
		}
	}
	if len(all) > 0 {
		best.Also = l.also(best, all)
		return best, ""
	}
	if why == "" {
		why = "no path in the bench file leads to this input"
	}
	return Point{}, why
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
	low, high := s.edges(i)
	f, ok := onGrid(f, source.Resolution, low, high)
	if !ok {
		return Point{}, fmt.Errorf("source %s is set in steps of %s, and none lies in the sweep", source.Name, source.Resolution)
	}
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
	p, err := l.gated(i, s, Point{Input: i.Name, Frequency: f, Levels: levels, Path: path.Name, Source: source.Name, Readings: s.readings(), EarlyStop: s.EarlyStop.rule(s.readings())}, source)
	if err != nil {
		return Point{}, err
	}
	if err := l.aids(&p); err != nil {
		return Point{}, err
	}
	if p.LevelU, err = l.b.levelU(i, p); err != nil {
		return Point{}, err
	}
	p.Impure = i.purity(source, path, f)
	p.Seconds = l.seconds(p, i, p.Gate, p.expected())
	if p.Longest != nil || p.EarlyStop != nil {
		p.FixedSeconds = l.seconds(p, i, p.longest(), p.Readings)
	}
	return p, nil
}

func (s Sweep) readings() int {
	if s.Readings == 0 {
		return 3
	}
	return s.Readings
}

// onGrid rounds to the source's setting steps, so that its read-back can equal
// what was asked, and stays within the sweep. ok is false where no step does.
func onGrid(f, step, low, high quantity.Frequency) (on quantity.Frequency, ok bool) {
	if step.Sign() <= 0 {
		return f, true
	}
	ratio := new(big.Rat).Quo(f.Rat(), step.Rat())
	if ratio.IsInt() {
		return f, true
	}
	n := new(big.Int).Div(ratio.Num(), ratio.Denom())
	below, above := times(step, n), times(step, n.Add(n, big.NewInt(1)))
	on, other := below, above
	if above.Sub(f).Cmp(f.Sub(below)) < 0 {
		on, other = above, below
	}
	within := func(x quantity.Frequency) bool { return x.Sign() > 0 && x.Cmp(low) >= 0 && x.Cmp(high) <= 0 }
	if !within(on) {
		on = other
	}
	return on.Trimmed(), within(on)
}

func times(step quantity.Frequency, n *big.Int) quantity.Frequency {
	var c apd.BigInt
	c.SetMathBigInt(n)
	var product apd.Decimal
	// Both are exact and short: the product fits easily.
	_, _ = apd.BaseContext.WithPrecision(200).Mul(&product, step.Decimal(), apd.NewWithBigInt(&c, 0))
	return quantity.New[quantity.Hertz](&product)
}

// seconds that one point takes with a gate and so many readings: settling,
// discarded and counted readings.
func (l *planner) seconds(p Point, i Input, length quantity.Duration, readings int) float64 {
	source, counter := l.o.Capabilities[p.Source], l.o.Capabilities[""]
	gate := length.Float()
	if n := i.Accuracy.At(p.Frequency).Prescale; counter.GateLengthened && n > 1 {
		gate *= float64(n)
	}
	watching := 0.0
	if p.Watched {
		m := l.o.Capabilities[MonitorName]
		watching = float64(m.Discard+1) * (l.b.Monitor.Gate.Float() + m.Overhead.Float())
	}
	return source.Settle.Float() + watching + float64(counter.Discard+readings)*(gate+counter.Overhead.Float())
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
	if w := l.plan.WarmUp; w != nil { // its path is connected first
		rank[w.Path] = -1
	}
	points, tasks := l.plan.Points, l.plan.Tasks
	sort.SliceStable(points, func(a, b int) bool { return rank[points[a].Path] < rank[points[b].Path] })
	sort.SliceStable(tasks, func(a, b int) bool { return rank[tasks[a].Path] < rank[tasks[b].Path] })
	shortestFirst(points)
	l.closing()
	l.plan.cost(l.b)
}

// cost counts cables to move and minutes, as they are and with the longest gates.
func (pl *Plan) cost(b *Bench) {
	pl.Moves, pl.Minutes = 0, 0
	stops := pl.Stops()
	if w := pl.WarmUp; w != nil {
		stops = withPath(stops, w.Path)
	}
	move := quantity.Of[quantity.Second](120, 0)
	if b.MoveTime != nil {
		move = *b.MoveTime
	}
	saved := 0.0
	for _, stop := range stops {
		if path, _ := b.Path(stop.Path); stop.Path != "" && !path.HandsFree() {
			pl.Moves++
			pl.Minutes += move.Float() / 60
		}
		if len(stop.Points) > 0 { // each input is read once more with RF off, to see that it lets go
			pl.Minutes += 2 * stop.Points[0].Gate.Float() / 60
			// With fixed gates the first point as numbered goes first.
			first := slices.MinFunc(stop.Points, func(a, b Point) int { return cmp.Or(cmp.Compare(len(a.ID), len(b.ID)), cmp.Compare(a.ID, b.ID)) })
			saved += 2 * (first.longest().Float() - stop.Points[0].Gate.Float()) / 60
		}
		for _, p := range stop.Points {
			pl.Minutes += p.Seconds / 60
			saved += (p.fixedSeconds() - p.Seconds) / 60
		}
		for _, t := range stop.Tasks {
			pl.Minutes += t.Seconds / 60
		}
		check := pl.closingCheck(stop)
		pl.Minutes += check.gate / 60
		saved += (check.longest - check.gate) / 60
	}
	pl.FixedMinutes = pl.Minutes + saved
}

// shortestFirst puts the point with the shortest gate before all others of its
// path, where gates are chosen: there the input is also read with RF off, which
// takes two more gates.
func shortestFirst(points []Point) {
	for len(points) > 0 {
		n := 1
		for n < len(points) && points[n].Path == points[0].Path {
			n++
		}
		path := points[:n]
		points = points[n:]
		if !slices.ContainsFunc(path, func(p Point) bool { return p.Longest != nil }) {
			continue
		}
		shortest := 0
		for k, p := range path {
			if p.Gate.Cmp(path[shortest].Gate) < 0 {
				shortest = k
			}
		}
		p := path[shortest]
		copy(path[1:shortest+1], path[:shortest])
		path[0] = p
	}
}

// withPath adds a stop for a path that has none.
func withPath(list []Stop, path string) []Stop {
	for _, s := range list {
		if s.Path == path {
			return list
		}
	}
	return append([]Stop{{Path: path}}, list...)
}

// Stop is what is taken while one path is connected.
type Stop struct {
	Path   string // "" where no signal is needed
	Points []Point
	Tasks  []Task
}

// Stops returns the plan cut where the path changes, in the order in which it is
// taken: first what needs no path, then for each path its points and its tasks.
func (pl *Plan) Stops() []Stop {
	var list []Stop
	rank := map[string]int{}
	at := func(path string) *Stop {
		n, ok := rank[path]
		if !ok {
			n = len(list)
			rank[path] = n
			list = append(list, Stop{Path: path})
		}
		return &list[n]
	}
	for _, t := range pl.Tasks {
		if t.Path == "" {
			s := at("")
			s.Tasks = append(s.Tasks, t)
		}
	}
	for _, p := range pl.Points {
		s := at(p.Path)
		s.Points = append(s.Points, p)
	}
	for _, t := range pl.Tasks {
		if t.Path != "" {
			s := at(t.Path)
			s.Tasks = append(s.Tasks, t)
		}
	}
	return list
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

// notShown merges refused frequencies that lie together into stretches: from the
// last shown one below (or the edge) to the next shown one above. refused holds
// the reason for each frequency, "" where it is shown.
func notShown(i Input, s Sweep, all []quantity.Frequency, refused []string) []NotShown {
	var list []NotShown
	open := -1
	for k, f := range all {
		why := refused[k]
		if open >= 0 {
			list[open].To = f
			if list[open].Reason == why {
				continue
			}
		}
		if open = -1; why == "" {
			continue
		}
		from := f // where another reason ends
		if k > 0 && refused[k-1] == "" {
			from = all[k-1]
		}
		list = append(list, NotShown{Input: i.Name, Sweep: s.Name, From: from, To: f, Reason: why})
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
			if p.Input == i.Name && i.HighImpedance() && !p.Termination && p.Meter == nil && i.Range[1].Cmp(quantity.Of[quantity.Hertz](5, 6)) > 0 {
				w("input %s, path %s: an unterminated high-impedance input at the end of a cable sees a standing wave above a few MHz; levels there need a feed-through termination or a power meter at the input", i.Name, p.Name)
			}
		}
	}
	l.warnAids()
	l.warnDisplay()
	l.warnLevels()
	l.warnPurity()
	for _, p := range l.b.Paths {
		if len(p.Parts) == 0 {
			w("path %s: no part is given; its loss is taken as 0 dB", p.Name)
		}
		if _, ok := l.p.Input(p.Input); !ok {
			w("path %s leads to input %q, which the unit of this procedure does not have", p.Name, p.Input)
		}
	}
	for _, s := range l.b.Sources {
		if s.Resolution.Sign() == 0 {
			w("source %s: no resolution is given; any frequency is taken as settable exactly", s.Name)
		}
		if s.Certificate == "" && s.Calibrated.IsZero() {
			w("source %s: no certificate and no date of calibration; the data sheet can't show where its level and frequency are traceable to", s.Name)
		}
	}
	l.warnOverdue()
}
