package sheet

import (
	"fmt"
	"strings"
	"time"

	"bandproof/runner"
)

// adjustments lists every try of what was adjusted before a run.
func (s *Sheet) adjustments() []block {
	var b []block
	for _, r := range s.runs {
		for _, a := range r.Adjustments {
			after := "after as-found record " + a.AsFound
			if a.AsFound == "" {
				after = "as-found not obtainable: " + a.NotObtainable
			}
			t := &table{Title: fmt.Sprintf("Adjustment of the timebase on %s, %s, before the %s run", a.Started.UTC().Format("2006-01-02 15:04 UTC"), after, strings.ToLower(r.label)),
				Columns: []column{{Head: "Try"}, {Head: "Ended"}, {Group: "Relative error, ppm", Head: "Before", Align: point}, {Group: "Relative error, ppm", Head: "After", Align: point}, {Head: "Note"}},
				Legend:  fmt.Sprintf("%s at input %s, to %s ppm, by %s", a.Point.Frequency.Grouped(), a.Point.Input, signedPPM(a.Target.Float()*1e6), stated(a.Who))}
			for k, x := range a.Tries {
				t.Rows = append(t.Rows, []cell{{Text: fmt.Sprint(k + 1)}, {Text: x.Ended.UTC().Format(time.TimeOnly)}, {Text: settled(x.Before)}, {Text: settled(x.After)}, {Text: x.Note}})
			}
			if a.Finished.IsZero() {
				t.Legend += "; the adjustment was cut off"
			}
			b = append(b, t)
		}
	}
	if len(b) == 0 {
		return nil
	}
	return append([]block{&heading{Level: 1, Text: "Adjustments"}}, b...)
}

func settled(x *runner.Settled) string {
	if x == nil {
		return none
	}
	return signedPPM(x.PPM)
}

// signedPPM is for reading: the record has every digit.
func signedPPM(ppm float64) string {
	return strings.NewReplacer("-", "\u2212").Replace(fmt.Sprintf("%+.4f", ppm))
}
