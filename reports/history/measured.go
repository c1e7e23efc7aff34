package history

import (
	"fmt"
	"strings"

	"bandproof/procedures/uncertainty"
	"bandproof/reports/record"
)

// measured is what one record says of one point or row.
type measured struct {
	key, name, unit, topology, gate string
	found                           Found
	u                               uncertainty.Result
	budget                          uncertainty.Budget
}

// measuredOf lists all points and rows of a record, each with a key of its own.
func measuredOf(r record.Record) []measured {
	var list []measured
	seen := map[string]int{}
	add := func(m measured, key ...string) {
		m.key = strings.Join(key, "\x00")
		seen[m.key]++
		if n := seen[m.key]; n > 1 { // such as one frequency with two gates
			m.key += fmt.Sprintf("\x00%d", n)
			m.name += fmt.Sprintf(" (%d)", n)
		}
		list = append(list, m)
	}
	for _, p := range r.Run.Points {
		m := measured{name: p.Point.Input + " " + p.Point.Frequency.Trimmed().String(), unit: "Hz", topology: "timebase not tested", gate: p.Gate.String(),
			found: Found{Limit: &p.Limit.Total, Side: "within ±", Verdict: p.Verdict}, u: p.Reported, budget: p.ReportedBudget}
		if r.Run.Topology[p.Point.Source].TimebaseTested {
			m.topology = "timebase tested"
		}
		if p.Counted > 0 {
			m.found.Value, m.found.Expanded = &p.Error, p.Reported.Expanded
		}
		add(m, "point", p.Point.Input, p.Point.Frequency.Exact().String(), p.Point.Levels.Input.String())
	}
	for _, o := range r.Run.Outcomes {
		for _, x := range o.Rows {
			m := measured{name: o.Task.Measure + ", " + x.What, unit: x.Unit, found: Found{Value: x.Found, Limit: x.Limit, Side: x.Side, Verdict: x.Verdict}, budget: x.Budget}
			at := ""
			if x.At != nil {
				at = x.At.Trimmed().String()
				m.name += ", " + at
			}
			if x.Uncertainty != nil {
				m.u, m.found.Expanded = *x.Uncertainty, x.Uncertainty.Expanded
			}
			add(m, "row", o.Task.Kind, o.Task.Measure, o.Task.Input, x.What, at, x.Unit)
		}
	}
	return list
}

// change compares one thing.
func change(a, b measured, anyway bool) Change {
	c := Change{Name: a.name, Unit: a.unit, A: a.found, B: b.found, topologyA: a.topology, topologyB: b.topology}
	switch {
	case a.found.Verdict.Good() && b.found.Verdict.Bad():
		c.Crossed = WentOut
	case a.found.Verdict.Bad() && b.found.Verdict.Good():
		c.Crossed = CameIn
	}
	if a.gate != b.gate {
		c.Differs = fmt.Sprintf("gate %s in A, %s in B", a.gate, b.gate)
	}
	if a.topology != b.topology {
		c.Why = fmt.Sprintf("reference topology: %s in A, %s in B", a.topology, b.topology)
	}
	if a.found.Value == nil || b.found.Value == nil {
		if a.unit != "" { // else there is no number to compare
			c.Why = "no number in " + map[bool]string{true: "A", false: "B"}[a.found.Value == nil]
		}
		return c
	}
	if c.Why != "" {
		if c.Crossed = ""; !anyway {
			return c
		}
	}
	d := b.found.Value.Sub(*a.found.Value)
	c.Change = &d
	u, common, err := uncertainty.Difference(a.budget.OrAsReported(a.u), b.budget.OrAsReported(b.u))
	if err != nil {
		c.Why = err.Error()
		return c
	}
	c.U, c.Common = &u, common
	if u.Expanded > 0 {
		ratio := d.Abs().Float() / u.Expanded
		c.Ratio = &ratio
	}
	return c
}
