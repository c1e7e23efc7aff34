package sheet

import (
	"cmp"
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
			&paragraph{Text: capital(r.say("%[1]s. %[2]s, when the unit had been on for %[3]s.", w.Until, capital(cmp.Or(r.word(w.Ended), r.say("how it ended is not stated"))), r.q(w.OnFor)))})
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

// warmUpEnded is how a warm-up that was waited for by drift came to its end.
func (r run) warmUpEnded() string {
	if r.Run.WarmUp == nil {
		return ""
	}
	return r.word(r.Run.WarmUp.Ended)
}
