package sheet

import (
	"cmp"
	"fmt"
	"strings"
)

// warmUps show the course of each run's warm-up that was waited for by drift.
func (s *Sheet) warmUps() []block {
	var b []block
	for _, r := range s.runs {
		w := r.Run.WarmUp
		if w == nil {
			continue
		}
		b = append(b, &heading{Level: 2, Text: "Warm-up, " + strings.ToLower(r.label)},
			&paragraph{Text: capital(fmt.Sprintf("%s. %s, when the unit had been on for %s.", w.Until, capital(cmp.Or(w.Ended, "how it ended is not stated")), w.OnFor.Grouped()))})
		for _, c := range w.Curves() {
			if g := curveGraph(c); g != nil {
				g.Caption = c.Title + ", " + strings.ToLower(r.label) + g.Caption
				b = append(b, g)
			}
		}
		if len(w.Notes) > 0 {
			b = append(b, &notes{Title: "Notes", Lines: w.Notes})
		}
	}
	return b
}

// warmUpEnded is how a warm-up that was waited for by drift came to its end.
func (r run) warmUpEnded() string {
	if r.Run.WarmUp == nil {
		return ""
	}
	return r.Run.WarmUp.Ended
}
