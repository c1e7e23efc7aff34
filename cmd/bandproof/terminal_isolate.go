package main

import (
	"fmt"
	"os"
	"strings"

	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner/isolate"
	"bandproof/runner/symptom"

	"golang.org/x/term"
)

// reportWidth is where a line of a report ends, or before, where the terminal is
// narrower.
const reportWidth = 100

func (t *terminal) reportWidth() int {
	if f, ok := t.out.(*os.File); ok {
		if w, _, err := term.GetSize(int(f.Fd())); err == nil && w >= 40 {
			return min(w, reportWidth)
		}
	}
	return reportWidth
}

// paragraph writes a text in lines that begin with first, then rest.
func (t *terminal) paragraph(first, rest, text string) {
	for k, line := range wrapped(text, t.reportWidth()-len([]rune(rest))) {
		t.print("%s%s", []string{first, rest}[min(k, 1)], line)
	}
}

// heldIn names the files of the hold command that applies a signal.
type heldIn struct{ procedure, bench string }

func holdFiles(r record.Record) heldIn { return heldIn{r.Procedure.File, r.Bench.File} }

// isolation lays out where to look, in the order in which one reads it.
func (t *terminal) isolation(r *isolate.Report, top int, files heldIn) {
	if r.Invented {
		t.print("INVENTED: a virtual bench, no real unit")
	}
	t.print("%s, serial %s: %s run %s", r.Unit, named(r.Serial), r.Run, r.Record)
	t.doubts(r.Doubts)
	t.symptoms(r.Symptoms)
	t.shown(r.Shown)
	t.entered(r.Entries)
	if m := r.Model; m != nil {
		t.weighed(m, top, files)
	} else {
		t.print("")
		t.paragraph("", "", "With a block model of the unit (--model FILE) this lists suspects, and the next look worth taking.")
	}
}

// doubts stand before everything that is read out of the run.
func (t *terminal) doubts(list []string) {
	if len(list) == 0 {
		return
	}
	t.print("\nbefore you believe it")
	for _, d := range list {
		t.paragraph("  - ", "    ", d)
	}
}

// symptoms are what the run as a whole looks like.
func (t *terminal) symptoms(list []symptom.Finding) {
	t.print("\nwhat the run shows")
	for _, f := range list {
		where := ""
		if n := len(f.Inputs); n > 0 {
			where = []string{"input ", "inputs "}[min(n-1, 1)] + strings.Join(f.Inputs, ", ")
		}
		t.paragraph("  - ", "    ", joined(": ", joined(", ", where, string(f.Symptom)), f.Says))
		for _, x := range []struct {
			says string
			list []string
		}{{"evidence: ", f.Evidence}, {"points to: ", []string{f.Suggests}}, {"speaks against: ", f.Against}, {"can't tell: ", f.Open}, {"would confirm: ", f.Confirm}} {
			if text := joined("; ", x.list...); text != "" {
				t.paragraph("    ", "      ", x.says+text)
			}
		}
	}
}

func (t *terminal) shown(list []isolate.Shown) {
	t.print("\npoint by point")
	if len(list) == 0 {
		t.print("  no point was judged")
	}
	before := ""
	for _, s := range list {
		what := "input " + s.Input
		switch {
		case s.SelfTest:
			what = "self-test"
		case s.Sensitivity:
			what += ", least level"
		}
		first := strings.Repeat(" ", len([]rune(what)))
		if what != before {
			first, before = what, what
		}
		at := ""
		if len(s.Points) > 1 || !s.SelfTest {
			at = fmt.Sprintf(" at %s", countOf(len(s.Points), "point"))
		}
		if s.From > 0 {
			at += ", " + span(s.From, s.To)
		}
		text := string(s.Kind) + at
		if s.Kind != "good" && s.Says != "" {
			text += fmt.Sprintf(" (%s: %s)", s.Points[0], s.Says)
		}
		t.paragraph("  "+first+"  ", strings.Repeat(" ", len([]rune(first))+4), text)
	}
}

func span(from, to float64) string {
	if from == to {
		return hertz(from)
	}
	return hertz(from) + " to " + hertz(to)
}

// hertz writes a frequency in engineering units.
func hertz(f float64) string { return quantity.Significant(f, 10).String() }

// entered lists what a person entered, with the numbers that revoke it.
func (t *terminal) entered(list []isolate.Numbered) {
	if len(list) == 0 {
		return
	}
	t.print("\nwhat was entered since (--revoke NUMBER takes one back)")
	for _, e := range list {
		text := e.Text
		switch {
		case e.Kind == isolate.Prepared:
			text = "done: " + text
		case e.Kind == isolate.Closed:
			text = "found: " + text
		case e.Seen != nil && e.Seen.Says != "":
			text = e.Seen.Says
		}
		if e.Gone {
			text += " [revoked]"
		}
		t.paragraph(fmt.Sprintf("  %2d  ", e.Number), "      ", joined(", ", text, e.At.UTC().Format("2006-01-02T15:04Z"), e.Who))
	}
}

func (t *terminal) weighed(m *isolate.Weighed, top int, files heldIn) {
	t.print("\nsuspects, by the model %q", m.Name)
	if m.Good >= 0.01 {
		t.print("  %6s  no stage at fault", percent(m.Good))
	}
	t.suspects(m, top)
	t.alike(m)
	for _, p := range m.Pairs {
		t.paragraph("  ", "    ", fmt.Sprintf("Both at fault at once: %s and %s, %s.", p.Stages[0], p.Stages[1], percent(p.Probability)))
	}
	if m.LeftOut > 0 {
		t.print("  Pairs of faults that were not weighed have a probability of at most %.1g.", m.LeftOut)
	}
	t.observed("evidence that no suspect explains: a slip, a fault outside of the model, or three at once", m.Unexplained)
	t.observed("evidence outside of the model, which counts for nothing here", m.Outside)
	t.print("\nassumed, for all percentages here: they rank stages, and prove nothing")
	for _, a := range m.Assumptions {
		t.paragraph("  - ", "    ", a)
	}
	t.next(m, files)
}

// suspects are the first of them, and all that are as good as cleared.
func (t *terminal) suspects(m *isolate.Weighed, top int) {
	more := 0
	for k, s := range m.Suspects {
		switch {
		case s.Probability < isolate.LeastSuspect:
		case k < top:
			t.suspect(s)
		default:
			more++
		}
	}
	if more > 0 {
		t.print("          and %d more of at least 1 %% (--top %d)", more, top+more)
	}
	for _, e := range m.Exonerated {
		by := "would seldom fail so"
		switch {
		case len(e.By) > 0:
			by = "exonerated by: " + strings.Join(e.By, "; ")
		case len(e.Leaves) > 0:
			by = "would not explain: " + strings.Join(e.Leaves, "; ")
		}
		t.paragraph("    <1 %  ", "            ", strings.Join(e.Stages, ", ")+": "+by)
	}
}

func (t *terminal) alike(m *isolate.Weighed) {
	for _, g := range m.Alike {
		t.paragraph("  ", "    ", "The evidence does not tell apart: "+strings.Join(g, ", ")+". Only how often such stages fail ranks them.")
	}
}

func percent(p float64) string {
	switch {
	case p >= 0.9995: // never certain, whatever is rounded
		return ">99.9 %"
	case p < 0.0005:
		return "<0.1 %"
	}
	return fmt.Sprintf("%.1f %%", 100*p)
}

func (t *terminal) suspect(s isolate.Suspect) {
	where := ""
	if s.Place != "" {
		where = ", " + s.Place
	}
	var modes []string
	for k, m := range s.Modes {
		if k < 3 && (k == 0 || m.Probability > s.Probability/20) {
			modes = append(modes, fmt.Sprintf("%s %s", m.Says, percent(m.Probability)))
		}
	}
	if len(modes) == 1 {
		modes[0] = s.Modes[0].Says
	}
	t.paragraph(fmt.Sprintf("  %6s  ", percent(s.Probability)), "            ", fmt.Sprintf("%s (%s%s): %s", s.Stage, s.Kind, where, strings.Join(modes, "; ")))
	for _, x := range []struct {
		says string
		list []string
	}{{"explains: ", s.For}, {"exonerated by: ", s.Against}, {"does not explain: ", s.Leaves}} {
		if len(x.list) > 0 {
			t.paragraph("            ", "              ", x.says+strings.Join(x.list, "; "))
		}
	}
}

func (t *terminal) observed(title string, list []isolate.Observation) {
	if len(list) == 0 {
		return
	}
	t.print("\n%s", title)
	for _, o := range list {
		where := o.ID
		if o.TestPoint == "" && o.Input != "" {
			where += fmt.Sprintf(", input %s at %s", o.Input, hertz(o.Frequency))
		}
		t.paragraph("  ", "    ", joined(": ", where, string(o.Kind), o.Says))
	}
}

// next says what to do, with the cautions before it.
func (t *terminal) next(m *isolate.Weighed, files heldIn) {
	switch {
	case m.Closed != "":
		t.print("\nthe fault is found, as was entered: %s", m.Closed)
		return
	case m.Found != "":
		t.print("\nfound: %s (%.0f %% or more)", m.Found, 100*isolate.Found)
		return
	case m.Next == nil && m.Good >= isolate.Found:
		t.print("\nnothing points to a fault")
		return
	case m.Next == nil:
		t.print("\nno look at a test point tells more; what is left can't be told apart")
		return
	}
	t.cautionsInside(m.Cautions)
	t.print("\nnext look")
	t.proposal(*m.Next, files)
	var may []string
	for _, a := range m.Next.Answers {
		may = append(may, fmt.Sprintf("%s %s", isolate.AtTestPoint(a.Kind), percent(a.Probability)))
	}
	t.row("may show", strings.Join(may, "; "))
	about := ""
	if !m.LooksExact {
		about = "about "
	}
	t.print("  to expect  %s%.1f looks until the stage is found, this one included", about, m.Looks)
	for k, p := range m.Others {
		if k == 0 {
			t.print("\nor else")
		}
		t.paragraph("  ", "    ", fmt.Sprintf("%s after %s, %s at input %s: %.2f bit in %s", p.TestPoint, p.After, hertz(p.Frequency), p.Input, p.Information, inMinutes(p.Minutes)))
	}
}

// cautionsInside stand before any look inside.
func (t *terminal) cautionsInside(list []string) {
	t.print("\nbefore you look inside")
	for _, c := range list {
		t.paragraph("  - ", "    ", c)
	}
}

func inMinutes(m float64) string { return fmt.Sprintf("%.3g min", m) }

// row is a line of a proposal.
func (t *terminal) row(name, text string) {
	t.paragraph(fmt.Sprintf("  %-10s ", name), "             ", text)
}

func (t *terminal) proposal(p isolate.Proposal, files heldIn) {
	t.row("look at", fmt.Sprintf("%s, after %s: %s", p.TestPoint, p.After, joined("; ", isolate.AccessWords(p.Access), p.About)))
	if p.Needs != "" {
		t.row("first", p.Needs)
	}
	signal := fmt.Sprintf("%s to input %s", hertz(p.Frequency), p.Input)
	hold := fmt.Sprintf("bandproof hold %s %s --input %s --frequency %s", quoted(files.procedure), quoted(files.bench), quoted(p.Input), quoted(hertz(p.Frequency)))
	if p.Apply != nil {
		signal += fmt.Sprintf(", %s there, as at point %s", p.Apply, p.Point)
		hold += " --level " + quoted(p.Apply.String())
	} else {
		signal += ", 10 dB above the specified sensitivity, as hold does"
	}
	if p.Damage != nil {
		signal += fmt.Sprintf("; %s destroys the input", p.Damage)
	}
	t.row("order", p.Order)
	t.row("apply", signal)
	t.print("             %s", hold)
	t.row("good unit", strings.Join(goodThere(p), ", "))
	t.row("worth", fmt.Sprintf("%.2f bit in %s", p.Information, inMinutes(p.Minutes)))
}

// goodThere is what a good unit has at a test point.
func goodThere(p isolate.Proposal) []string {
	var list []string
	if p.Expect != nil && *p.Expect > 0 {
		list = append(list, hertz(*p.Expect))
	}
	if p.Level != nil {
		list = append(list, fmt.Sprintf("%s to %s", p.Level[0], p.Level[1]))
	}
	if len(list) == 0 {
		list = append(list, "as its diagram says; the model states no frequency")
	}
	return list
}
