package dcc

import (
	"fmt"
	"strings"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// others are the results of other measurements than the band sweep, one result
// a table of the procedure and input; none of them is known here by its kind.
func (r run) others(ids map[string]string) []result {
	type key struct{ measure, input string }
	var order []key
	by := map[key][]runner.Outcome{}
	for _, o := range r.Run.Outcomes {
		k := key{o.Task.Measure, o.Task.Input}
		if by[k] == nil {
			order = append(order, k)
		}
		by[k] = append(by[k], o)
	}
	var all []result
	for _, k := range order {
		x := result{Name: *english(join(", ", stated(k.measure), prefixed("input ", k.input)))}
		var parts []any
		var lines []string
		for _, o := range by[k] {
			lines = append(lines, o.Notes...)
			for n := range o.Rows {
				parts = append(parts, r.finding(o, &o.Rows[n], ids))
			}
			for n := range o.Curves {
				parts = append(parts, curve(&o.Curves[n], used(ids, o.Standards))...)
			}
		}
		if parts == nil {
			parts = []any{say("Nothing was found.")}
		}
		x.Description = say(once(lines)...)
		x.Data = of(parts...)
		all = append(all, x)
	}
	return all
}

// once leaves out lines that were said before.
func once(lines []string) []string {
	seen := map[string]bool{}
	var list []string
	for _, s := range lines {
		if !seen[s] {
			seen[s] = true
			list = append(list, s)
		}
	}
	return list
}

// limitWords name a limit by its side, with the reference type.
var limitWords = map[runner.Side][2]string{
	runner.AtMost:  {refAtMost, "Limit: at most"},
	runner.AtLeast: {refAtLeast, "Limit: at least"},
	runner.Within:  {refLimit, "Limit, to both sides of zero"},
}

// finding is one row of an outcome.
func (r run) finding(o runner.Outcome, x *runner.Row, ids map[string]string) list {
	f := list{RefType: refFinding, RefID: used(ids, o.Standards), Name: text{english1(stated(x.What))}, Time: moment(o.Finished), Description: say("Task "+stated(o.Task.ID)+", "+stated(o.Task.Kind)+".", x.Says)}
	if x.At != nil {
		f.Values = append(f.Values, plain(refNominal, "Frequency", x.At.Exact(), hertz))
	}
	var v value
	switch {
	case x.Found == nil:
		v = none(refMeasured, "Finding", join(": ", r.says(x.Verdict, verdictOf(x.Verdict)), x.Says))
	default:
		v = scaled(refMeasured, "Finding", *x.Found, x.Unit, uncertain(x.Uncertainty))
	}
	v.MetaData = append(v.MetaData, r.verdict(x.Verdict, verdictOf(x.Verdict), x.Limit != nil)...)
	f.Values = append(f.Values, v)
	if x.Limit != nil {
		w, ok := limitWords[x.Side]
		if !ok {
			w = limitWords[runner.Within]
		}
		f.Values = append(f.Values, scaled(w[0], w[1], *x.Limit, x.Unit, nil))
	}
	if x.GuardBand != nil && x.GuardBand.Sign() > 0 && r.states() {
		in := x.Unit
		if in == "dBm" || in == "dBV" {
			in = "dB" // a difference of levels
		}
		f.Values = append(f.Values, scaled(refGuardBand, "Guard band of the decision rule", *x.GuardBand, in, nil))
	}
	return f
}

// verdictOf writes the verdict on a finding, which need not be an error.
func verdictOf(v decision.Verdict) string {
	if v.Reason == decision.OutsideLimit {
		return string(v.Word) + ": outside the limit"
	}
	return v.String()
}

// curve is a course of something: one list a line, its columns as wide lists.
func curve(c *runner.Curve, refID string) []any {
	var parts []any
	for _, l := range c.Lines {
		n := min(len(l.X), len(l.Y))
		if n == 0 {
			continue
		}
		x := list{RefID: refID, RefType: refCurve, Name: text{english1(stated(join(": ", c.Title, l.Name)))}, Values: []value{
			column(refCurveX, c.X, l.X[:n]), column(refCurveY, c.Y, l.Y[:n])}}
		if l.Fit {
			x.Description = say("Computed, not found.")
		}
		if len(l.U) >= n {
			u := column(refCurveU, c.Y, l.U[:n])
			u.Name = *english("Expanded uncertainty of " + stated(c.Y.Name))
			if s, ok := scales[c.Y.Unit]; !ok || s.factor == nil {
				u = none(refCurveU, "Expanded uncertainty of "+stated(c.Y.Name), "see the findings; in decibels it has no one value in the unit of the column")
			}
			x.Values = append(x.Values, u)
		}
		parts = append(parts, x)
	}
	return parts
}

// column is one axis of a curve as a list of numbers, to twelve digits: they are
// statistics. What is no number stays in its place as NaN.
func column(ref string, a runner.Axis, list []float64) value {
	v := value{RefType: ref, Name: text{english1(stated(a.Name))}}
	s, ok := scales[a.Unit]
	if !ok {
		var words []string
		for _, f := range list {
			words = append(words, fmt.Sprint(f))
		}
		v.None = say(strings.Join(words, " ") + " " + a.Unit)
		return v
	}
	words := make([]string, len(list))
	for k, f := range list {
		words[k] = "NaN"
		if _, ok := float(f); ok {
			words[k] = s.real(quantity.ExactDecimal(f), nil).Value
		}
	}
	v.List = &realList{Values: strings.Join(words, " "), Unit: s.unit}
	if s.says != "" {
		v.Description = say("The record has it in " + a.Unit + "; " + s.says)
	}
	return v
}
