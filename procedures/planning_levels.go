package procedures

import (
	"fmt"
	"slices"
	"strings"
)

// warnLevels says where a level may lie outside what the unit promises to count
// at, where its uncertainty leaves mismatch out, and where it can't know how
// much the input's capacitance takes away.
func (l *planner) warnLevels() {
	w := func(format string, args ...any) {
		l.plan.Warnings = append(l.plan.Warnings, fmt.Sprintf(format, args...))
	}
	for _, i := range l.p.Inputs {
		n, most := 0, 0.0
		for _, p := range l.plan.Points {
			if p.Input == i.Name && i.MayLieOutside(p) {
				n, most = n+1, max(most, p.LevelU)
			}
		}
		if n > 0 {
			w("input %s: at %d points the level may lie outside what the unit promises to count at (U of the level up to %.2g dB, k = 2): a fail there may be the bench's; a level further inside, or a power meter, would help", i.Name, n, most)
		}
	}
	for _, path := range l.b.Paths {
		l.warnMatch(path, w)
	}
}

// MayLieOutside tells whether the level at a point may, within its uncertainty,
// lie below the specified sensitivity or above the maximum.
func (i Input) MayLieOutside(p Point) bool {
	level := p.Levels.Input.DBm(i.Impedance)
	if s, ok := i.SensitivityAt(p.Frequency); ok && level-p.LevelU < s.DBm(i.Impedance)-1e-9 {
		return true
	}
	return i.Maximum != nil && level+p.LevelU > i.Maximum.DBm(i.Impedance)+1e-9
}

func (l *planner) warnMatch(path Path, w func(string, ...any)) {
	i, _ := l.p.Input(path.Input)
	s, _ := l.b.Source(path.Source)
	missing := map[string]int{}
	spread := 0
	for _, p := range l.plan.Points {
		if p.Path != path.Name {
			continue
		}
		for _, name := range l.b.unmatched(i, s, path, p) {
			missing[name]++
		}
		unstated := i.ImpedanceTolerance == nil && i.CapacitanceTolerance == nil
		if i.HighImpedance() && unstated && i.gain(p.Frequency, path.Termination) < i.gain(i.Range[0], path.Termination)*0.99 {
			spread++
		}
	}
	if len(missing) > 0 {
		var names []string
		for name := range missing {
			names = append(names, name)
		}
		slices.Sort(names)
		w("path %s: no VSWR is stated for %s; the uncertainty of the level leaves mismatch out", path.Name, strings.Join(names, ", "))
	}
	if spread > 0 {
		w("input %s, path %s: at %d points the capacitance takes from the level, and no capacitance_tolerance is stated; the uncertainty of the level leaves it out", i.Name, path.Name, spread)
	}
}

// unmatched names what would need a VSWR for the mismatch at a point.
func (b *Bench) unmatched(i Input, s Source, path Path, p Point) (names []string) {
	if p.Metered {
		if _, ok := path.Meter.VSWR.reflection(p.Frequency); !ok {
			names = append(names, "the splitter of power meter "+path.Meter.Name)
		}
		if _, ok := i.reflection(p.Frequency, path.Termination); !ok {
			names = append(names, "input "+i.Name)
		}
		return names
	}
	_, names, _ = path.mismatches(s, i, p.Frequency, part(p.Frequency)) // planned, so the loss is known
	return names
}
