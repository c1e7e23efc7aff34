package runner

import (
	"cmp"
	"context"
	"fmt"

	"bandproof/procedures/decision"
)

// Unobtainable makes the result of a unit that gives nothing to take a run from,
// such as one that is dead on arrival: no instrument is touched, and every planned
// point and task is not obtainable, with the symptom that somebody saw.
func Unobtainable(ctx context.Context, s Setup, symptom, by string) (Result, error) {
	r := newRun(s)
	res := &r.result
	res.Complete = true
	r.event(ctx, fmt.Sprintf("not obtainable, by %s: %s", by, symptom))
	verdict := decision.Verdict{Word: decision.Fail, Reason: decision.NotObtainable}
	for _, p := range s.Plan.Points {
		x := PointResult{Point: p, Setting: Setting{Locked: "not stated"}, Gate: p.Gate, Readings: []Reading{}, Symptom: symptom, Standards: []string{}, Started: r.started, Finished: r.started}
		x.Verdict, x.Limit = verdict, p.Limit
		res.Points = append(res.Points, x)
	}
	for _, t := range s.Plan.Tasks {
		res.Outcomes = append(res.Outcomes, Outcome{Task: t, Rows: []Row{{What: "not obtainable: " + symptom, Verdict: verdict}}, Standards: []string{}, Started: r.started, Finished: r.started})
	}
	r.settle()
	res.Symptom = symptom
	return r.result, r.interrupt
}

// markUnobtainable gives each point of a unit that has shown no reading at all
// that name: "no count" is what a unit reads that works.
func (r *run) markUnobtainable() {
	for k := range r.result.Points {
		for p := &r.result.Points[k]; p != nil; p = p.Other {
			if p.Verdict.Bad() && p.Verdict.Reason == decision.NoCount {
				p.Verdict.Reason = decision.NotObtainable
				p.Symptom = cmp.Or(p.Symptom, r.result.Symptom)
			}
		}
	}
}
