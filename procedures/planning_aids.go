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

func (l *planner) reliable(name string, s Standard) {
	if s.Certificate == "" && s.Calibrated.IsZero() {
		l.plan.Warnings = append(l.plan.Warnings, name+": no certificate and no date of calibration; the data sheet can't show where its readings are traceable to")
	}
	if s.Overdue(l.o.Now) {
		l.plan.Warnings = append(l.plan.Warnings, fmt.Sprintf("%s: calibration was due on %s", name, s.Due))
	}
}
