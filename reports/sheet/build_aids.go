package sheet

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// besideTitle heads what was measured beside the unit; notes point to it.
const besideTitle = "Beside the unit"

// beside shows what switch, power meter, monitor and thermometer told.
func (s *Sheet) beside() []block {
	var b []block
	for _, r := range s.runs {
		for _, t := range []*table{r.aids(), r.room()} {
			if t != nil {
				b = append(b, t)
			}
		}
	}
	if len(b) == 0 {
		return nil
	}
	return append([]block{&heading{Level: 1, Text: besideTitle}, &paragraph{Text: "Where the bench has them: the position that the switch read back, the level at the input as a power meter measured it " +
		"(U with k = 2), and the source's frequency as counted by the monitor, a second counter on a splitter. The monitor's reading does not enter the error of the unit; " +
		"where it was further off what is expected than allowed, the point has no verdict. A monitor that runs from the reference of its source can't show that this reference is right."}}, b...)
}

// aids has a line a point; nil where none of them was there.
func (r run) aids() *table {
	t := &table{Title: r.label + " (record " + stated(r.ID) + ")", Columns: []column{{Head: "Point"}, {Head: "Switch, position"},
		{Group: "Level at the connector", Head: "Planned", Align: right}, {Group: "Level at the connector", Head: "Measured", Align: right}, {Group: "Level at the connector", Head: "U, dB", Align: point},
		{Group: "Level at the connector", Head: "Meter, its reading"}, {Group: "Monitor", Head: ""}, {Group: "Monitor", Head: "Expected, Hz", Align: point}, {Group: "Monitor", Head: "Counted, Hz", Align: point},
		{Group: "Monitor", Head: "Difference, Hz", Align: point}, {Group: "Monitor", Head: "Allowed ±, Hz", Align: point}},
		Legend: notJudged.flag() + " further off than allowed   " + none + " not measured"}
	any := false
	for k := range r.Run.Points {
		p := &r.Run.Points[k]
		any = any || p.Route != nil || p.Level != nil || len(p.Monitor) > 0
		row := []cell{{Text: p.Point.ID}, {Text: routeOf(p)}}
		t.Rows = append(t.Rows, append(append(row, levelCells(p)...), monitorCells(p)...))
	}
	if !any {
		return nil
	}
	return t
}

func routeOf(p *runner.PointResult) string {
	if p.Route == nil {
		return none
	}
	return p.Route.Switch + ", " + stated(p.Route.Position)
}

func levelCells(p *runner.PointResult) []cell {
	planned := cell{Text: p.Point.Levels.Connector.Grouped()}
	if p.Level == nil {
		return []cell{planned, {Text: none}, {Text: none}, {Text: none}}
	}
	return []cell{planned, {Text: p.Level.Connector.Grouped()}, {Text: significant(p.Level.Uncertainty, 2)}, {Text: p.Level.Meter + ", " + p.Level.Reading.Text}}
}

// monitorCells show the last reading that counts.
func monitorCells(p *runner.PointResult) []cell {
	at := -1
	for k, w := range p.Monitor {
		if w.Use == runner.Counted {
			at = k
		}
	}
	if at < 0 {
		return []cell{{}, {Text: none}, {Text: none}, {Text: none}, {Text: none}}
	}
	w := p.Monitor[at]
	m := plain
	if !w.Good {
		m = notJudged
	}
	counted, off, places := string(w.Mark), none, 3
	if w.Mark == drivers.None {
		places = min(max(0, -int(w.Frequency.Decimal().Exponent)), mostPlaces)
		counted = quantity.Group(w.Frequency.Plain())
		off = fixed(w.Frequency.Exact().Sub(w.Expected), places+1)
	}
	return []cell{{m.flag(), m}, {fixed(w.Expected, places+1), m}, {counted, m}, {off, m}, {significant(w.Allowed.Float(), 3), m}}
}

// room lists what thermometers told; nil where there was none.
func (r run) room() *table {
	t := &table{Title: "Ambient conditions, " + strings.ToLower(r.label), Columns: []column{{Head: "When"}, {Head: "At"}, {Head: "Thermometer"}, {Head: "Temperature", Align: right}, {Head: "Relative humidity", Align: right}}}
	for _, a := range r.Run.Ambient {
		temperature, humidity := none, none
		if a.Temperature != nil {
			temperature = a.Temperature.Grouped()
		}
		if a.Humidity != nil {
			humidity = a.Humidity.Grouped()
		}
		if a.Failed != "" {
			temperature = "no answer"
		}
		t.Rows = append(t.Rows, []cell{{Text: a.When}, {Text: moment(a.At)}, {Text: a.Thermometer}, {Text: temperature}, {Text: humidity}})
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return t
}

// measured sums the conditions up that thermometers told in a run: lowest and
// highest; "" where none did.
func measured[D quantity.Dimension](r run, of func(runner.Ambient) *quantity.Value[D]) string {
	var low, high *quantity.Value[D]
	n, by := 0, []string{}
	for _, a := range r.Run.Ambient {
		v := of(a)
		if v == nil {
			continue
		}
		n++
		if !slices.Contains(by, a.Thermometer) {
			by = append(by, a.Thermometer)
		}
		if low == nil || v.Cmp(*low) < 0 {
			low = v
		}
		if high == nil || v.Cmp(*high) > 0 {
			high = v
		}
	}
	if n == 0 {
		return ""
	}
	text := low.Grouped()
	if low.Cmp(*high) != 0 {
		text += " to " + high.Grouped()
	}
	return fmt.Sprintf("%s (%d %s, %s)", text, n, plural(n, "reading", "readings"), strings.Join(by, ", "))
}

// measuredLevels are the levels at the input that power meters found at a line
// of the table, each once; "" where not every run measured.
func measuredLevels(in procedures.Input, l line) string {
	var list []string
	for _, p := range l.of {
		switch {
		case p == nil:
			continue
		case p.Level == nil:
			return ""
		}
		at := p.Point
		at.Levels.Input = p.Level.Input
		if text := withU(levelOf(in, at), p.Level.Uncertainty); !slices.Contains(list, text) {
			list = append(list, text)
		}
	}
	if len(list) == 0 {
		return ""
	}
	return strings.Join(list, " / ") + " measured"
}

// aidNote words a run's note on what monitor or power meter found so that points
// alike share one; the figures stand in the table.
func aidNote(note string) (string, bool) {
	meter, _, _ := strings.Cut(note, " finds ")
	switch {
	case strings.HasPrefix(note, "monitor shows "), strings.HasPrefix(note, "monitor: "):
		return "the monitor found the source not at its frequency (see \"" + besideTitle + "\")", true
	case strings.HasPrefix(note, "power meter ") && strings.Contains(note, " off the planned level"):
		return meter + " found another level at the input than planned (see \"" + besideTitle + "\")", true
	case strings.HasPrefix(note, pathProven+"power meter "):
		return meter + " found the planned level at the input", true
	}
	return "", false
}
