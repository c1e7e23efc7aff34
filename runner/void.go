package runner

import (
	"context"
	"fmt"
	"slices"

	"bandproof/procedures/decision"
)

// void takes back the verdicts on what was taken at a place since its references
// were last asked for: points, and rows of other measurements. The journal gets
// them again as they now stand; nothing that was read is lost.
func (r *run) void(ctx context.Context, at *place, why decision.Reason) error {
	if err := r.synced(); err != nil {
		return err
	}
	r.voided = why
	r.voidChanges(at.from, why)
	for k := at.from; k < len(r.result.Points); k++ {
		p := &r.result.Points[k]
		if p.Verdict.Word == decision.NotJudged {
			continue
		}
		p.Notes = append(slices.Clip(p.Notes), wasVoided(p.Verdict))
		p.Verdict, p.Conformity = decision.Verdict{Word: decision.NotJudged, Reason: why}, nil
		if err := r.Journal.Point(ctx, *p); err != nil {
			return fmt.Errorf("%w: point %s: %w", ErrJournal, p.Point.ID, err)
		}
	}
	for k := at.fromTask; k < len(r.result.Outcomes); k++ {
		o := &r.result.Outcomes[k]
		if !o.void(why) {
			continue
		}
		if err := r.Journal.Outcome(ctx, *o); err != nil {
			return fmt.Errorf("%w: %s: %w", ErrJournal, o.Task.ID, err)
		}
	}
	return nil
}

// void takes back the verdicts of an outcome's rows. One that only reports is
// not judged either: what it reports was taken under another condition.
func (o *Outcome) void(why decision.Reason) (any bool) {
	o.Rows = slices.Clone(o.Rows)
	for k := range o.Rows {
		x := &o.Rows[k]
		if x.Open() {
			continue
		}
		was := "was reported before it was voided"
		if x.Verdict.Word != "" {
			was = wasVoided(x.Verdict)
		}
		if x.Says != "" {
			was = x.Says + "; " + was
		}
		x.Says, x.Verdict, any = was, decision.Verdict{Word: decision.NotJudged, Reason: why}, true
	}
	return any
}

func wasVoided(v decision.Verdict) string { return "was " + v.String() + " before it was voided" }

// areVoid says how much is void at a place.
func (r *run) areVoid(at *place) string {
	text := fmt.Sprintf("%d points are void", len(r.result.Points)-at.from)
	if n := len(r.result.Outcomes) - at.fromTask; n > 0 {
		text = fmt.Sprintf("%d points and %d other measurements are void", len(r.result.Points)-at.from, n)
	}
	return text
}
