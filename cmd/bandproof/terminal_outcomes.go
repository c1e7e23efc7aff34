package main

import (
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// steps is how far a run is: points of the band sweep, and tasks of the other
// measurements.
type steps struct{ points, measured, tasks int }

func (s steps) done() int { return s.points + s.measured }

// stepWords names what a bar counts.
func stepWords(points, tasks int) string {
	switch {
	case tasks == 0:
		return "points"
	case points == 0:
		return "tasks"
	}
	return "points and tasks"
}

// Measured implements runner.Watcher. Beside a bar what passed is not told.
func (t *terminal) Measured(o runner.Outcome) {
	t.mu.Lock()
	b := t.bar
	t.steps.measured++
	s := t.steps
	t.mu.Unlock()
	for k, x := range o.Rows {
		switch line := rowLine(o, x); {
		case b != nil && (x.Verdict.Word == decision.Pass || x.Verdict.Word == ""):
		case b != nil:
			t.note("%s", line)
		case k == 0 && s.tasks > 0:
			t.note("%3d/%d  %s", s.measured, s.tasks, line)
		default:
			t.note("%s", line)
		}
	}
	if b != nil {
		b.bar.SetCurrent(int64(s.done()))
		b.redraw()
	}
}

// rowLine is one finding of another kind of measurement in one line.
func rowLine(o runner.Outcome, x runner.Row) string {
	text := o.Task.Measure
	if x.What != o.Task.Measure {
		text += ": " + x.What
	}
	if x.At != nil {
		text += " at " + x.At.String()
	}
	if v := x.Verdict.String(); v != "" {
		text += ": " + v
	}
	if n := rowNumbers(x); n != "" {
		text += " (" + n + ")"
	}
	if x.Says != "" {
		text += ": " + x.Says
	}
	return text
}

// sideWords stand before a limit, in characters that every terminal shows.
var sideWords = map[runner.Side]string{runner.AtMost: "at most ", runner.AtLeast: "at least ", runner.Within: "±"}

// rowNumbers are what was found and its limit; "" where there is no number.
func rowNumbers(x runner.Row) string {
	if x.Found == nil {
		return ""
	}
	unit := ""
	if x.Unit != "" && x.Unit != "1" {
		unit = " " + x.Unit
	}
	text := exactText(*x.Found) + unit
	if x.Limit != nil {
		text += ", limit " + sideWords[x.Side] + exactText(*x.Limit) + unit
	}
	return text
}

// exactText writes six digits, and more only of a whole number; very small
// numbers with an exponent.
func exactText(x quantity.Exact) string {
	f := x.Float()
	if x.Sign() != 0 && f > -1e-3 && f < 1e-3 {
		return fmt.Sprintf("%.4g", f)
	}
	text := number(f, 6)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0 "), ".")
	}
	return text
}

// printTasks lays the plan's other measurements out for a person.
func printTasks(t *terminal, list []procedures.Task) error {
	if len(list) == 0 {
		return nil
	}
	t.print("\nother measurements")
	w := tabwriter.NewWriter(t, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "task\tmeasurement\tinput\tfrequency\tpath\tsettings\ttime")
	for _, x := range list {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%d\t%s\n", x.ID, x.Measure, dash(x.Input), dash(spanOf(x.Points)), dash(x.Path), len(x.Points), short(time.Duration(x.Seconds*float64(time.Second))))
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	return nil
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// spanOf is the frequency of points, or from the lowest to the highest.
func spanOf(points []procedures.Point) string {
	if len(points) == 0 {
		return ""
	}
	low, high := points[0].Frequency, points[0].Frequency
	for _, p := range points {
		if p.Frequency.Cmp(low) < 0 {
			low = p.Frequency
		}
		if p.Frequency.Cmp(high) > 0 {
			high = p.Frequency
		}
	}
	if low.Cmp(high) == 0 {
		return low.String()
	}
	return low.String() + " to " + high.String()
}

// showTask writes everything about one task of a record.
func showTask(t *terminal, o runner.Outcome) {
	t.print("task %s: %s (%s)", o.Task.ID, o.Task.Measure, o.Task.Kind)
	for _, x := range o.Rows {
		t.print("  %s", rowLine(o, x))
		if u := x.Uncertainty; u != nil {
			t.print("    U = %s %s (k = %s)%s", number(u.Expanded, 2), x.Unit, number(u.CoverageFactor, 3), bandText(x))
			for _, c := range x.Budget {
				t.print("      %s: u = %s, %s (%s)", c.Name, number(c.Standard, 2), c.Distribution, c.Source)
			}
		}
	}
	for _, n := range o.Notes {
		t.print("  note: %s", n)
	}
	for _, p := range o.Shots {
		t.print("  setting %s: %s, %s at the input: %s", p.Point.ID, p.Point.Frequency, p.Point.Levels.Input, p.Verdict)
		for _, x := range p.Readings {
			t.print("    reading %s: %s", x.Use, x.Text)
		}
	}
	for _, c := range o.Curves {
		t.print("  curve %s: drawn on the data sheet, values in its CSV", c.Title)
	}
}

func bandText(x runner.Row) string {
	if x.GuardBand == nil || x.GuardBand.Sign() == 0 {
		return ""
	}
	return ", guard band " + number(x.GuardBand.Float(), 2)
}
