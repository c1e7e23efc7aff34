package sheet

import (
	"slices"
	"strings"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// besideTitle heads what was measured beside the unit; notes point to it.
const besideTitle key = "Beside the unit"

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
	return append([]block{&heading{Level: 1, Text: s.say(besideTitle)}, &paragraph{Text: s.say("Where the bench has them: the position that the switch read back, the level at the input as a power meter measured it " +
		"(U with k = 2), and the source's frequency as counted by the monitor, a second counter on a splitter. The monitor's reading does not enter the error of the unit; " +
		"where it was further off what is expected than allowed, the point has no verdict. A monitor that runs from the reference of its source can't show that this reference is right.")}}, b...)
}

// aids has a line a point; nil where none of them was there.
func (r run) aids() *table {
	level, monitor := r.say("Level at the connector"), r.say("Monitor")
	t := &table{Title: r.ofRecord(r.label), Columns: []column{{Head: r.say("Point")}, {Head: r.say("Switch, position")},
		{Group: level, Head: r.say("Planned"), Align: right}, {Group: level, Head: r.say("Measured"), Align: right}, {Group: level, Head: r.say("U, dB"), Align: point},
		{Group: level, Head: r.say("Meter, its reading")}, {Group: monitor, Head: ""}, {Group: monitor, Head: r.say("Expected, Hz"), Align: point}, {Group: monitor, Head: r.say("Counted, Hz"), Align: point},
		{Group: monitor, Head: r.say("Difference, Hz"), Align: point}, {Group: monitor, Head: r.say("Allowed ±, Hz"), Align: point}},
		Legend: r.say("%[1]s further off than allowed   %[2]s not measured", notJudged.flag(), none)}
	any := false
	for k := range r.Run.Points {
		p := &r.Run.Points[k]
		any = any || p.Route != nil || p.Level != nil || len(p.Monitor) > 0
		row := []cell{{Text: p.Point.ID}, {Text: r.routeOf(p)}}
		t.Rows = append(t.Rows, append(append(row, r.levelCells(p)...), r.monitorCells(p)...))
	}
	if !any {
		return nil
	}
	return t
}

func (w *words) routeOf(p *runner.PointResult) string {
	if p.Route == nil {
		return none
	}
	return p.Route.Switch + ", " + w.stated(p.Route.Position)
}

func (w *words) levelCells(p *runner.PointResult) []cell {
	planned := cell{Text: w.q(p.Point.Levels.Connector)}
	if p.Level == nil {
		return []cell{planned, {Text: none}, {Text: none}, {Text: none}}
	}
	return []cell{planned, {Text: w.q(p.Level.Connector)}, {Text: w.uncertain(p.Level.Uncertainty)}, {Text: p.Level.Meter + ", " + p.Level.Reading.Text}}
}

// monitorCells show the last reading that counts.
func (w *words) monitorCells(p *runner.PointResult) []cell {
	at := -1
	for k, x := range p.Monitor {
		if x.Use == runner.Counted {
			at = k
		}
	}
	if at < 0 {
		return []cell{{}, {Text: none}, {Text: none}, {Text: none}, {Text: none}}
	}
	x := p.Monitor[at]
	m := plain
	if !x.Good {
		m = notJudged
	}
	counted, off, places := w.word(string(x.Mark)), none, 3
	if x.Mark == drivers.None {
		places = min(max(0, -int(x.Frequency.Decimal().Exponent)), mostPlaces)
		counted = w.number(quantity.Group(x.Frequency.Plain()))
		off = w.fixed(x.Frequency.Exact().Sub(x.Expected), places+1)
	}
	return []cell{{m.flag(), m}, {w.fixed(x.Expected, places+1), m}, {counted, m}, {off, m}, {w.significant(x.Allowed.Float(), 3), m}}
}

// room lists what thermometers told; nil where there was none.
func (r run) room() *table {
	t := &table{Title: r.say("Ambient conditions, %s", r.inline), Columns: []column{{Head: r.say("When")}, {Head: r.say("At")}, {Head: r.say("Thermometer")}, {Head: r.say("Temperature"), Align: right}, {Head: r.say("Relative humidity"), Align: right}}}
	for _, a := range r.Run.Ambient {
		temperature, humidity := none, none
		if a.Temperature != nil {
			temperature = r.q(a.Temperature)
		}
		if a.Humidity != nil {
			humidity = r.q(a.Humidity)
		}
		if a.Failed != "" {
			temperature = r.say("no answer")
		}
		t.Rows = append(t.Rows, []cell{{Text: r.word(a.When)}, {Text: r.moment(a.At)}, {Text: a.Thermometer}, {Text: temperature}, {Text: humidity}})
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
	text := r.q(low)
	if low.Cmp(*high) != 0 {
		text = r.to(text, r.q(high))
	}
	return r.say("%[2]s (%[1]s readings, %[3]s)", r.count(n), text, strings.Join(by, ", "))
}

// measuredLevels are the levels at the input that power meters found at a line
// of the table, each once; "" where not every run measured.
func (w *words) measuredLevels(in procedures.Input, l line) string {
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
		if text := w.levelWithU(levelOf(in, at), p.Level.Uncertainty); !slices.Contains(list, text) {
			list = append(list, text)
		}
	}
	if len(list) == 0 {
		return ""
	}
	return w.say("%s measured", strings.Join(list, " / "))
}

// aidNote words a run's note on what monitor or power meter found so that points
// alike share one; the figures stand in the table.
func (w *words) aidNote(note string) (string, bool) {
	meter, _, _ := strings.Cut(strings.TrimPrefix(note, pathProven), " finds ")
	if number, ok := strings.CutPrefix(meter, "power meter "); ok {
		meter = w.say("power meter %s", number)
	}
	switch {
	case strings.HasPrefix(note, "monitor shows "), strings.HasPrefix(note, "monitor: "):
		return w.say(`the monitor found the source not at its frequency (see "%s")`, w.say(besideTitle)), true
	case strings.HasPrefix(note, "power meter ") && strings.Contains(note, " off the planned level"):
		return w.say(`%[1]s found another level at the input than planned (see "%[2]s")`, meter, w.say(besideTitle)), true
	case strings.HasPrefix(note, pathProven+"power meter "):
		return w.say("path proven: %s found the planned level at the input", meter), true
	}
	return "", false
}
