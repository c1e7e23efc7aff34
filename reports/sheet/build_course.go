package sheet

import (
	"fmt"
	"strings"
	"time"

	"bandproof/procedures/decision"
	"bandproof/runner"
)

// course are lines for the statement that say what was unusual about how the run
// went.
func (r run) course() []string {
	var list []string
	for _, text := range []string{r.interrupted(), r.away()} {
		if text != "" {
			list = append(list, capital(text))
		}
	}
	return list
}

// interrupted lists the stretches of a run that was gone on with.
func (r run) interrupted() string {
	list := r.Run.Sessions
	if len(list) < 2 {
		return ""
	}
	var parts []string
	for k, x := range list {
		end := x.Ended
		if end.IsZero() && k == len(list)-1 {
			end = r.Run.Finished
		}
		parts = append(parts, period(x.Began, end)+prefixed(", ", x.How))
	}
	return fmt.Sprintf("interrupted and resumed, in %d sessions: %s.", len(list), strings.Join(parts, "; "))
}

// longestWait is how long a question may wait before the first page says so.
const longestWait = 10 * time.Minute

// away says what came of nobody being at the bench.
func (r run) away() string {
	points, rows := 0, 0
	for _, p := range r.Run.Points {
		if p.Verdict.Reason == decision.NoOperator {
			points++
		}
	}
	for _, o := range r.Run.Outcomes {
		for _, x := range o.Rows {
			if x.Verdict.Reason == decision.NoOperator {
				rows++
			}
		}
	}
	var list []string
	if points > 0 {
		list = append(list, fmt.Sprintf("%d %s", points, plural(points, "point", "points")))
	}
	if rows > 0 {
		list = append(list, fmt.Sprintf("%d %s of other measurements", rows, plural(rows, "finding", "findings")))
	}
	if len(list) > 0 {
		return "nobody was at the bench when it was needed: " + strings.Join(list, " and ") + " not judged for that."
	}
	var longest runner.Entry
	for _, e := range r.Run.Entries {
		if !e.AskedAt.IsZero() && e.At.Sub(e.AskedAt) > longest.At.Sub(longest.AskedAt) {
			longest = e
		}
	}
	if d := longest.At.Sub(longest.AskedAt); d >= longestWait {
		return fmt.Sprintf("waited up to %s for an answer at the bench, from %s on.", d.Round(time.Minute), moment(longest.AskedAt))
	}
	return ""
}
