package sheet

import (
	"cmp"

	"bandproof/procedures"
)

// warmUps show the course of each run's warm-up that was waited for by drift.
func (s *Sheet) warmUps() []block {
	var b []block
	for _, r := range s.runs {
		w := r.Run.WarmUp
		if w == nil {
			continue
		}
		b = append(b, &heading{Level: 2, Text: r.say("Warm-up, %s", r.inline)},
			&paragraph{Text: capital(r.say("%[1]s. %[2]s, when the unit had been on for %[3]s.", s.until(w.Until), capital(cmp.Or(r.word(w.Ended), r.say("how it ended is not stated"))), r.q(w.OnFor)))})
		for _, c := range w.Curves() {
			if g := r.curveGraph(c); g != nil {
				g.Caption = r.word(c.Title) + ", " + r.inline + g.Caption
				b = append(b, g)
			}
		}
		if len(w.Notes) > 0 {
			b = append(b, &notes{Title: s.say("Notes"), Lines: w.Notes})
		}
	}
	return b
}

// until says what a warm-up waited for.
func (w *words) until(u procedures.WarmUpUntil) string {
	return w.say("until %[1]s at input %[2]s drifts by at most %[3]s in %[4]s over the last %[5]s", w.q(u.Frequency), u.Input, w.q(u.Drift), w.q(u.Per), w.q(u.Over))
}

// warmUpEnded is how a warm-up that was waited for by drift came to its end.
func (r run) warmUpEnded() string {
	if r.Run.WarmUp == nil {
		return ""
	}
	return r.word(r.Run.WarmUp.Ended)
}
