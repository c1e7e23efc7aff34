package procedures

import (
	"errors"
	"fmt"
)

// aids notes at a point what measures beside the unit, and refuses a level that
// one of them would not stand.
func (l *planner) aids(p *Point) error {
	var why [2]string
	p.Metered, why[0] = l.b.Metered(*p)
	p.Watched, why[1] = l.b.Watched(*p)
	for _, w := range why {
		if w == tooMuchMeter || w == tooMuchMonitor {
			return errors.New(w)
		}
	}
	return nil
}

// warnAids says where power meter and monitor do not reach, and which of the
// devices lacks evidence that it may be relied on.
func (l *planner) warnAids() {
	w := func(format string, args ...any) {
		l.plan.Warnings = append(l.plan.Warnings, fmt.Sprintf(format, args...))
	}
	type gap struct{ what, why string }
	count := map[gap]int{}
	var order []gap
	add := func(g gap) {
		if count[g]++; count[g] == 1 {
			order = append(order, g)
		}
	}
	for _, p := range l.plan.Points {
		if _, why := l.b.Metered(p); why != "" {
			add(gap{fmt.Sprintf("input %s, path %s: level not measured", p.Input, p.Path), why})
		}
		if _, why := l.b.Watched(p); why != "" {
			add(gap{fmt.Sprintf("input %s: source %s not watched by the monitor", p.Input, p.Source), why})
		}
	}
	l.warnCoarseMonitor()
	for _, g := range order {
		w("%s at %d points: %s", g.what, count[g], g.why)
	}
	for _, m := range l.b.PowerMeters {
		l.reliable("power meter "+m.Name, m.Standard)
	}
	for _, t := range l.b.Thermometers {
		l.reliable("thermometer "+t.Name, t.Standard)
	}
	if m := l.b.Monitor; m != nil {
		l.reliable(MonitorName, m.Standard)
	}
}

// warnCoarseMonitor says where the monitor can't see an error of the source
// that would put a reading outside the limit.
func (l *planner) warnCoarseMonitor() {
	n := map[string]int{}
	for _, p := range l.plan.Points {
		if !p.Watched {
			continue
		}
		if allowed, err := l.plan.Allowed(l.b, p.Frequency); err == nil && allowed.Cmp(p.Limit.Total) > 0 {
			n[p.Input]++
		}
	}
	for _, i := range l.p.Inputs {
		if n[i.Name] > 0 {
			l.plan.Warnings = append(l.plan.Warnings, fmt.Sprintf("input %s: at %d points the monitor sees less than the limit: a source that is off by as much would be booked on the unit; a longer gate of the monitor or a better reference would help", i.Name, n[i.Name]))
		}
	}
}

// warnDisplay says where a display that a person reads shows fewer digits than
// one count: its rounding then goes into the budget.
func (l *planner) warnDisplay() {
	if !l.b.Counter.ByHand() {
		return
	}
	n := map[string]int{}
	for _, p := range l.plan.Points {
		if p.Limit.Resolution.Cmp(l.b.Counter.Front().Digit(p.Gate).Exact()) < 0 {
			n[p.Input]++
		}
	}
	for _, i := range l.p.Inputs {
		if n[i.Name] > 0 {
			l.plan.Warnings = append(l.plan.Warnings, fmt.Sprintf("input %s: at %d points the display shows fewer digits than one count of the specification; half its last digit goes into the budget", i.Name, n[i.Name]))
		}
	}
}

func (l *planner) reliable(name string, s Standard) {
	if s.Certificate == "" && s.Calibrated.IsZero() {
		l.plan.Warnings = append(l.plan.Warnings, name+": no certificate and no date of calibration; the data sheet can't show where its readings are traceable to")
	}
}
