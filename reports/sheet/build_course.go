package sheet

import (
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
		parts = append(parts, r.period(x.Began, end)+prefixed(", ", r.word(x.How)))
	}
	return r.say("interrupted and resumed, in %[1]s sessions: %[2]s.", r.count(len(list)), r.semicolons(parts))
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
		list = append(list, r.say("%s points", r.count(points)))
	}
	if rows > 0 {
		list = append(list, r.say("%s findings of other measurements", r.count(rows)))
	}
	if len(list) > 0 {
		return r.say("nobody was at the bench when it was needed: %s not judged for that.", r.and(list))
	}
	var longest runner.Entry
	for _, e := range r.Run.Entries {
		if !e.AskedAt.IsZero() && e.At.Sub(e.AskedAt) > longest.At.Sub(longest.AskedAt) {
			longest = e
		}
	}
	if d := longest.At.Sub(longest.AskedAt); d >= longestWait {
		return r.say("waited up to %[1]s for an answer at the bench, from %[2]s on.", r.whole(int(d.Round(time.Minute).Minutes()))+narrow+"min", r.moment(longest.AskedAt))
	}
	return ""
}
