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
			after := s.say("after as-found record %s", a.AsFound)
			if a.AsFound == "" {
				after = s.say("as-found not obtainable: %s", a.NotObtainable)
			}
			e := s.say("Relative error, ppm")
			t := &table{Title: s.say("Adjustment of the timebase on %[1]s, %[2]s, before the %[3]s run", r.moment(a.Started), after, r.inline),
				Columns: []column{{Head: s.say("Try")}, {Head: s.say("Ended")}, {Group: e, Head: s.say("Before"), Align: point}, {Group: e, Head: s.say("After"), Align: point}, {Head: s.say("Note")}},
				Legend:  s.say("%[1]s at input %[2]s, to %[3]s ppm, by %[4]s", s.q(a.Point.Frequency), a.Point.Input, s.signedPPM(a.Target.Float()*1e6), s.stated(a.Who))}
			for k, x := range a.Tries {
				t.Rows = append(t.Rows, []cell{{Text: s.whole(k + 1)}, {Text: r.Local(x.Ended).Format(time.TimeOnly)}, {Text: s.settled(x.Before)}, {Text: s.settled(x.After)}, {Text: x.Note}})
			}
			if a.Finished.IsZero() {
				t.Legend += s.say("; the adjustment was cut off")
			}
			b = append(b, t)
		}
	}
	if len(b) == 0 {
		return nil
	}
	return append([]block{&heading{Level: 1, Text: s.say("Adjustments")}}, b...)
}

func (w *words) settled(x *runner.Settled) string {
	if x == nil {
		return none
	}
	return w.signedPPM(x.PPM)
}

// signedPPM is for reading: the record has every digit.
func (w *words) signedPPM(ppm float64) string {
	return w.number(strings.NewReplacer("-", "\u2212").Replace(fmt.Sprintf("%+.4f", ppm)))
}
