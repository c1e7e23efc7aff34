package dcc

import (
	"fmt"

	"bandproof/procedures/decision"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
)

// results are one a sweep of an input, one a table of another measurement, and
// never none: the schema wants one.
func (r run) results(ids map[string]string) []result {
	var list []result
	for _, name := range r.Run.InputNames() {
		if x, ok := r.sweep(name, ids); ok {
			list = append(list, x)
		}
	}
	list = append(list, r.others(ids)...)
	if list == nil {
		list = append(list, result{Name: *english("Results"), Data: of(say("No point was taken. " + r.unobtainable()))})
	}
	return list
}

// unobtainable says why there are no values of a unit that gives none.
func (r run) unobtainable() string {
	if r.Run.Statement != runner.NotObtainable {
		return ""
	}
	return "Not obtainable: " + stated(r.Run.Symptom) + "."
}

// sweep is the range and accuracy of one input: a list a point, in the order
// taken, then what was not shown.
func (r run) sweep(name string, ids map[string]string) (result, bool) {
	x := result{Name: *english("Range and accuracy, input " + stated(name))}
	var gaps []any
	var lines []string
	for _, in := range r.Run.Inputs {
		if in.Input.Name != name {
			continue
		}
		lines = append(lines, fmt.Sprintf("Specified range: %s to %s. Share of the logarithm of that range that lies between judged points: %s %%.",
			in.Input.Range[0], in.Input.Range[1], share(in)),
			"Reference of the unit: "+stated(in.ReferenceCheck)+". With RF off: "+stated(in.HeldCheck)+".")
		for _, n := range in.NotShown {
			gaps = append(gaps, list{RefType: refNotShown, Name: *english("Not shown" + prefixed(", sweep ", n.Sweep)), Description: say("No part of the statement of conformity."), Values: []value{
				plain(refFrom, "From", n.From.Exact(), hertz), plain(refTo, "To", n.To.Exact(), hertz), none(refMeasured, "Indication", "not shown: "+stated(n.Reason))}})
		}
	}
	taken := 0
	for k := range r.Run.Points {
		if r.Run.Points[k].Point.Input == name {
			taken++
		}
	}
	if taken == 0 {
		lines = append(lines, join(" ", "No point was taken at this input.", r.unobtainable()))
	}
	x.Description = say(lines...)
	x.Data = data{func(yield func(any) bool) {
		for k := range r.Run.Points {
			for p := &r.Run.Points[k]; p != nil && p.Point.Input == name; p = p.Other {
				if !yield(r.point(p, p != &r.Run.Points[k], ids)) {
					return
				}
			}
		}
		for _, g := range gaps {
			if !yield(g) {
				return
			}
		}
		if taken == 0 && gaps == nil {
			yield(none(refMeasured, "Indication", join(" ", "No point was taken at this input.", r.unobtainable())))
		}
	}}
	return x, taken > 0 || lines != nil
}

// share is how much of the range was covered, in %, downwards.
func share(in runner.InputResult) string {
	if in.Coverage.Complete {
		return "100"
	}
	if s := in.Coverage.Share; s >= 0 && s <= 1 {
		return fmt.Sprintf("%.1f", min(float64(int(s*1000))/10, 99.9))
	}
	return notStated
}

// point is one point, or a second look at one through another source.
func (r run) point(p *runner.PointResult, again bool, ids map[string]string) list {
	x := list{RefType: refPoint, RefID: used(ids, p.Standards), Name: text{english1("Point " + stated(p.Point.ID))}, Time: moment(p.Finished)}
	lines := []string{fmt.Sprintf("Source %s through path %s, locked: %s; %d readings counted.", stated(p.Point.Source), stated(p.Point.Path), stated(p.Setting.Locked), p.Counted)}
	if again {
		x.RefType, x.Name = refSecondLook, text{english1("Point " + stated(p.Point.ID) + ", second look through another source")}
		lines = append(lines, prefixed("By itself: ", r.says(p.Verdict, p.Verdict.String())))
	}
	if p.Symptom != "" {
		lines = append(lines, "Symptom: "+p.Symptom+".")
	}
	x.Description = say(append(append(lines, prefixed("Stopped early: ", p.StoppedEarly)), p.Notes...)...)
	x.Values = []value{plain(refNominal, "Nominal frequency", p.Point.Frequency.Exact(), hertz)}
	if p.Reference.Sign() > 0 {
		x.Values = append(x.Values, plain(refReference, "Reference value", p.Reference, hertz))
	}
	if m := p.Level; m != nil {
		x.Values = append(x.Values, level("Level at the input, measured", m.Input, m.Uncertainty))
	} else {
		x.Values = append(x.Values, level("Level at the input, as set", p.Point.Levels.Input, p.Point.LevelU))
	}
	if p.Gate.Sign() > 0 {
		x.Values = append(x.Values, plain(refGate, "Gate time", p.Gate.Exact(), second))
	}
	x.Values = append(x.Values, r.found(p, !again)...)
	if p.Limit.Total.Sign() > 0 {
		x.Values = append(x.Values, plain(refLimit, "Limit of the error, to both sides", p.Limit.Total, hertz))
	}
	return x
}

// found is what the readings gave: indication and error, or why there is none,
// with the verdict where that is the point's.
func (r run) found(p *runner.PointResult, judged bool) []value {
	var meta []statement
	if judged {
		meta = r.verdict(p.Verdict, p.Verdict.String(), p.Limit.Total.Sign() > 0)
	}
	if p.Counted == 0 {
		why := r.says(p.Verdict, p.Verdict.String())
		if text := r.unobtainable(); text != "" {
			why = text
		}
		v := none(refError, "Error of indication", why)
		v.MetaData = meta
		return []value{none(refMeasured, "Indication", why), v}
	}
	e := value{RefType: refError, Name: *english("Error of indication"), MetaData: meta,
		Real: &real{Value: number(p.Error, p.Reported.Expanded), Unit: hertz, Expanded: expandedOf(p.Reported)}}
	list := []value{{RefType: refMeasured, Name: *english("Indication, mean reading"), Real: &real{Value: number(p.Mean, p.Reported.Expanded), Unit: hertz}}, e}
	if p.Bias.Sign() != 0 {
		list = append(list, plain(refBias, "Part of the error that a truncating display makes on average", p.Bias, hertz))
	}
	if !r.states() {
		return list
	}
	if p.GuardBand.Sign() > 0 {
		list = append(list, plain(refGuardBand, "Guard band of the decision rule", p.GuardBand, hertz))
	}
	if u := expandedOf(p.Decision); u != nil {
		list = append(list, plain(refDecisionU, "Decision uncertainty, k = "+u.K, digits(p.Decision.Expanded), hertz))
	}
	if c := p.Conformity; c != nil {
		if v, ok := float(*c); ok {
			list = append(list, value{RefType: refProbability, Name: *english("Probability of conformity, by the decision uncertainty"), Real: &real{Value: v, Unit: one}})
		}
	}
	return list
}

// verdict is the statement of conformity of one result; what was not judged has
// a declaration and no conformity, because the schema has no word for it. What
// has no limit was judged by no rule.
func (r run) verdict(v decision.Verdict, says string, byRule bool) []statement {
	if v.Word == "" || !r.states() {
		return nil
	}
	lines := []string{says}
	if byRule {
		lines = append(lines, "Decision rule: "+r.Run.Rule.String())
	}
	return []statement{{RefType: refConformity, RefID: r.rule(), Conformity: conformityWords[v.Word], Declaration: say(lines...)}}
}

// says is a verdict in words; where the customer agreed to none, what remains is
// why a value is missing.
func (r run) says(v decision.Verdict, words string) string {
	if r.states() || v.Word == decision.NotJudged {
		return words
	}
	return string(v.Reason)
}

// uncertain is an uncertainty that is worth stating, or nil.
func uncertain(u *uncertainty.Result) *uncertainty.Result {
	if u == nil || expandedOf(*u) == nil {
		return nil
	}
	return u
}
