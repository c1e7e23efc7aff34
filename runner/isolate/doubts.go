package isolate

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/decision"
	"bandproof/runner"
	"bandproof/runner/symptom"
)

// Doubts is what a person has to know of a run before any fault of the unit is
// read out of it: what the bench or the scope leaves open.
func Doubts(r runner.Result) []string {
	var list []string
	add := func(format string, args ...any) { list = append(list, fmt.Sprintf(format, args...)) }
	for _, name := range r.RFMayBeOn {
		add("RF of source %s could not be switched off at the end of the run, and may be on: switch it off by hand before anything is touched.", name)
	}
	if r.Statement == runner.NotObtainable || r.Symptom != "" {
		symptom := ""
		if r.Symptom != "" {
			symptom = " (" + r.Symptom + ")"
		}
		add("The unit gave no readings at all%s: each point is taken for one where nothing is shown. The cause may also be the supply, a fuse, "+
			"the voltage selector, the remote link or its setting, which a block model seldom has. What is on the mains side is for a person "+
			"licensed or qualified for it, with the unit unplugged.", symptom)
	}
	if n, why := notJudged(r); n > 0 {
		add("%s not judged, and count for nothing here: %s. The fault may be the bench's (source, cable, adapter, link) as well as the unit's: "+
			"prove those on an instrument known to be good, and take the points again.", pointsWere(n), why)
	}
	if !r.Complete {
		add("The run ended before its plan did%s: what was not taken is not known.", because(r.Ended))
	}
	if len(r.Only) > 0 {
		add("This was an added run of chosen points only (%s): what the rest of the unit shows is not in it, and stages may look worse or better than they are.", strings.Join(few(r.Only), ", "))
	}
	for _, o := range r.Overdue {
		add("Standard %s was past its due date: an error that all inputs share may be its own.", o.Name)
	}
	return list
}

// shared says of an error that all inputs have alike that the bench may have it.
func shared(list []symptom.Finding) []string {
	if !slices.ContainsFunc(list, func(f symptom.Finding) bool { return f.Symptom == symptom.SameShare }) {
		return nil
	}
	return []string{"An error that all inputs share may be that of the bench's reference, or of a source that does not follow it: " +
		"look at both with a second standard before the unit is adjusted."}
}

func because(why string) string {
	if why == "" {
		return ""
	}
	return " (" + why + ")"
}

func pointsWere(n int) string {
	if n == 1 {
		return "1 point was"
	}
	return fmt.Sprintf("%d points were", n)
}

// notJudged counts points without a verdict, by reason, in the order taken.
func notJudged(r runner.Result) (n int, why string) {
	var reasons []decision.Reason
	by := map[decision.Reason]int{}
	for _, p := range r.Points {
		if p.Verdict.Good() || p.Verdict.Bad() {
			continue
		}
		if !slices.Contains(reasons, p.Verdict.Reason) {
			reasons = append(reasons, p.Verdict.Reason)
		}
		by[p.Verdict.Reason]++
		n++
	}
	var list []string
	for _, x := range reasons {
		name := string(x)
		if name == "" {
			name = "no reason stated"
		}
		list = append(list, fmt.Sprintf("%s (%d)", name, by[x]))
	}
	return n, strings.Join(few(list), ", ")
}

// Assumptions is what all probabilities of a report rest on.
func (n *Network) Assumptions() []string {
	faults := "0.1"
	if f := n.Model.Faults; f != nil {
		faults = f.String()
	}
	stated := 0
	for _, s := range n.Model.Stages {
		if s.Rate != nil {
			stated++
		}
	}
	rates := "How often each kind of stage fails, and how, is common practice without a source"
	if stated > 0 {
		rates += fmt.Sprintf(", but for the %s the model states", countOf(stated, "rate"))
	}
	return []string{
		"At most two stages are at fault at once; before the run a unit has " + faults + " faults on average.",
		rates + "; so is what each fault shows.",
		fmt.Sprintf("What is seen has nothing to do with the fault once in %.0f times (a slip, a fault of a kind that is not listed).", 1/Leak),
		"The unit is as the model says, and the signal was at the input as the record says.",
	}
}

func countOf(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// otherUnit says that a model is of another unit than the record; "" where it is
// not. unit is maker and model.
func (n *Network) otherUnit(unit string) string {
	of := strings.Join(strings.Fields(n.Model.Unit), " ")
	is := strings.Join(strings.Fields(unit), " ")
	if of == "" || is == "" || strings.EqualFold(of, is) || strings.HasSuffix(strings.ToLower(is), " "+strings.ToLower(of)) {
		return ""
	}
	return fmt.Sprintf("The model is of unit %q, the record of %q: what follows may be of another unit.", of, is)
}
