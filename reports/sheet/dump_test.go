package sheet

import (
	"fmt"
	"strings"
)

// dump writes the layout model as text, for golden files.
func dump(d *document) string {
	var b strings.Builder
	p := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	p("title: %s\nids: %s\ninvented: %s\nsubject: %s\nauthor: %s\nprogram: %s\ncreated: %s", d.Title, strings.Join(d.IDs, ", "), d.Invented, d.Subject, d.Author, d.Program, d.Created.Format("2006-01-02T15:04:05Z07:00"))
	p("head: %s // %s, logo %t", d.Head.Name, strings.Join(d.Head.Lines, " // "), d.Head.Logo != nil)
	for _, x := range d.Blocks {
		p("")
		switch x := x.(type) {
		case *heading:
			p("%s %s", strings.Repeat("#", x.Level), x.Text)
		case *paragraph:
			p("paragraph %q\n%s", x.Label, x.Text)
		case *notice:
			p("notice, alert %t: %s\n%s", x.Alert, x.Title, strings.Join(x.Lines, "\n"))
		case *notes:
			p("notes: %s\n- %s", x.Title, strings.Join(x.Lines, "\n- "))
		case *grid:
			p("grid of %d columns", x.Columns)
			for _, i := range x.Items {
				p("%s: %s", i.Key, strings.ReplaceAll(i.Value, "\n", " // "))
			}
		case *signatures:
			for _, i := range x.Lines {
				p("sign: %s: %s", i.Key, i.Value)
			}
		case *table:
			dumpTable(p, x)
		case *chart:
			dumpChart(p, x)
		case *graph:
			dumpGraph(p, x)
		default:
			p("unknown block %T", x)
		}
	}
	p("\n%s", d.End)
	return b.String()
}

func dumpTable(p func(string, ...any), t *table) {
	p("table: %s", t.Title)
	for _, c := range t.Columns {
		p("column %q %q %d", c.Group, c.Head, c.Align)
	}
	for _, r := range t.Rows {
		var list []string
		for _, c := range r {
			list = append(list, c.Text+[]string{"", "*F", "*C", "*N"}[c.Mark])
		}
		p("%s", strings.ReplaceAll(strings.Join(list, " | "), "\n", " // "))
	}
	p("legend: %s", t.Legend)
}

func dumpChart(p func(string, ...any), c *chart) {
	p("chart: %s\nfrom %g to %g", c.Caption, c.From, c.To)
	for _, s := range c.Series {
		p("series %q marker %d", s.Name, s.Marker)
		for _, d := range s.Points {
			p("  %g %.6g ±%.6g valued %t mark %d", d.X, d.Y, d.U, d.Valued, d.Mark)
		}
	}
	for _, b := range c.Bands {
		p("band %q filled %t, %d points", b.Name, b.Filled, len(b.Points))
	}
	for _, g := range c.Gaps {
		p("gap %g to %g: %s", g.From, g.To, g.Label)
	}
}

func dumpGraph(p func(string, ...any), g *graph) {
	p("graph: %s", g.Caption)
	for _, a := range []graphAxis{g.X, g.Y} {
		p("axis %q log %t frequency %t from %g to %g", a.Title, a.Log, a.Frequency, a.From, a.To)
	}
	for _, l := range g.Lines {
		p("line %q joined %t fit %t, %d points", l.Name, l.Joined, l.Fit, len(l.Points))
		for k, q := range l.Points {
			if k < 6 {
				p("  %.6g %.6g ±%.6g", q.X, q.Y, q.U)
			}
		}
	}
	for _, l := range g.Levels {
		p("level %q at %.6g", l.Name, l.Y)
	}
	for _, s := range g.Steps {
		p("%s: %g to %g: %.6g", g.StepsAs, s.From, s.To, s.Y)
	}
}
