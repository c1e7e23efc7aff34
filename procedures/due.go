package procedures

import (
	"fmt"
	"slices"
	"time"
)

// Due is a standard of a bench with the day until which it is relied on.
type Due struct {
	Name string `json:"name"`
	What string `json:"what"` // "source", "reference", …
	Due  Date   `json:"due"`
}

// String writes "reference house standard: calibration was due on 2026-05-31".
func (d Due) String() string {
	return fmt.Sprintf("%s: calibration was due on %s", titled(d.What, d.Name), d.Due)
}

// titled names a standard; there is one monitor only.
func titled(what, name string) string {
	if what == name {
		return name
	}
	return what + " " + name
}

// dated is a standard of any kind with its name.
type dated struct {
	what, name string
	Standard
}

// dated lists all standards of a bench.
func (b *Bench) dated() (list []dated) {
	for _, s := range b.Sources {
		list = append(list, dated{"source", s.Name, s.Standard})
	}
	for _, r := range b.References {
		list = append(list, dated{"reference", r.Name, r.Standard})
	}
	for _, m := range b.PowerMeters {
		list = append(list, dated{"power meter", m.Name, m.Standard})
	}
	for _, t := range b.Thermometers {
		list = append(list, dated{"thermometer", t.Name, t.Standard})
	}
	if b.Monitor != nil {
		list = append(list, dated{MonitorName, MonitorName, b.Monitor.Standard})
	}
	for _, s := range b.Switches {
		list = append(list, dated{"switch", s.Name, s.Standard})
	}
	return list
}

// Past tells whether the due date has passed.
func (d Due) Past(now time.Time) bool { return d.Due.past(now) }

// Overdue tells whether the due date has passed.
func (s Standard) Overdue(now time.Time) bool { return s.Due.past(now) }

// past tells whether a due date has passed: a calibration is relied on until
// the end of that day, where the clock stands. No date never passes.
func (d Date) past(now time.Time) bool {
	year, month, day := d.Date()
	return !d.IsZero() && !now.Before(time.Date(year, month, day+1, 0, 0, 0, 0, now.Location()))
}

// Due lists the standards that results of the plan rest on and that have a due
// date: sources of its paths, what they and the unit run from, power meters and
// switches on these paths, the monitor where it watches one of the sources, and
// every thermometer.
func (pl *Plan) Due(b *Bench) (list []Due) {
	used := pl.restsOn(b)
	for _, d := range b.dated() {
		if !d.Due.IsZero() && slices.Contains(used[d.what], d.name) {
			list = append(list, Due{d.name, d.what, d.Due})
		}
	}
	return list
}

// restsOn names the standards that the plan uses, by what they are.
func (pl *Plan) restsOn(b *Bench) map[string][]string {
	used := map[string][]string{}
	add := func(what, name string) {
		if name != "" && !slices.Contains(used[what], name) {
			used[what] = append(used[what], name)
		}
	}
	runsFrom := func(name string) {
		if s, ok := b.Source(name); ok { // from that source's output
			add("source", name)
			name = s.Reference
		}
		if r, ok := b.Reference(name); ok {
			add("reference", name)
			add("reference", r.Ancestor)
		}
	}
	runsFrom(b.Counter.Reference)
	for _, name := range pl.paths() {
		path, _ := b.Path(name)
		source, _ := b.Source(path.Source)
		add("source", source.Name)
		runsFrom(source.Reference)
		add("switch", path.Switch)
		if path.Meter != nil {
			add("power meter", path.Meter.Name)
		}
		if m := b.Monitor; m != nil && m.Source == source.Name {
			add(MonitorName, MonitorName)
			runsFrom(m.Reference)
		}
	}
	for _, t := range b.Thermometers {
		add("thermometer", t.Name)
	}
	return used
}

// paths names every path that the plan takes, or may take for a second look.
func (pl *Plan) paths() (list []string) {
	add := func(name string) {
		if name != "" && !slices.Contains(list, name) {
			list = append(list, name)
		}
	}
	for _, p := range pl.Points {
		add(p.Path)
		for _, w := range p.Also {
			add(w.Path) // a second look may stand
		}
	}
	for _, t := range pl.Tasks {
		add(t.Path)
		for _, p := range t.Points {
			add(p.Path)
		}
	}
	return list
}

// warnOverdue says which standards of the bench are past their date, and notes
// those that the plan rests on.
func (l *planner) warnOverdue() {
	for _, d := range l.b.dated() {
		if d.Overdue(l.o.Now) {
			l.plan.Warnings = append(l.plan.Warnings, Due{d.name, d.what, d.Due}.String())
		}
	}
	for _, d := range l.plan.Due(l.b) {
		if d.Past(l.o.Now) {
			l.plan.PastDue = append(l.plan.PastDue, d)
		}
	}
}
