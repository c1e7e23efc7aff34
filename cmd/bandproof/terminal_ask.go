package main

import (
	"fmt"
	"strings"

	"bandproof/runner/isolate"
	"bandproof/runner/symptom"
)

// standing says shortly who is suspect as it stands.
func (t *terminal) standing(m *isolate.Weighed) {
	var list []string
	for k, s := range m.Suspects {
		switch {
		case s.Probability < isolate.LeastSuspect || k > 5:
		case k == 5:
			list = append(list, "and others (why lists them)")
		default:
			list = append(list, fmt.Sprintf("%s %s", s.Stage, percent(s.Probability)))
		}
	}
	if m.Good >= isolate.LeastSuspect {
		list = append(list, "no fault "+percent(m.Good))
	}
	t.print("")
	t.paragraph("", "  ", "suspects: "+strings.Join(list, ", "))
	if m.Next == nil {
		t.alike(m)
	}
	t.observed("not explained by any suspect", m.Unexplained)
}

// reasons are the suspects in full.
func (t *terminal) reasons(m *isolate.Weighed) {
	t.print("")
	t.suspects(m, len(m.Suspects))
	t.alike(m)
	t.observed("outside of the model", m.Outside)
}

// choices numbers what may be seen, the most probable first.
func (t *terminal) choices(p isolate.Proposal) {
	t.print("")
	for k, a := range p.Answers {
		text := isolate.AtTestPoint(a.Kind)
		if a.Kind == symptom.Good {
			text += ": " + strings.Join(goodThere(p), ", ")
		}
		t.print("  %2d  %-48s %7s", k+1, text, percent(a.Probability))
	}
}

// offered numbers looks to choose from.
func (t *terminal) offered(list []isolate.Proposal) {
	t.print("")
	for k, p := range list {
		t.print("  %2d  %-6s after %-20s %s at input %s, %.2f bit in %s", k+1, p.TestPoint, p.After, hertz(p.Frequency), p.Input, p.Information, inMinutes(p.Minutes))
	}
}
