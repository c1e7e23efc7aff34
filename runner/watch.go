package runner

import (
	"context"
	"fmt"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// Reason is short for the reason of a verdict.
type Reason = decision.Reason

// Watched is one reading of the monitor with what a good source makes it show.
type Watched struct {
	drivers.Reading
	Use      Use            `json:"use"`
	Expected quantity.Exact `json:"expected_hz"`
	Allowed  quantity.Exact `json:"allowed_hz"` // either way
	Good     bool           `json:"good"`
}

// watch has the monitor count the source, where the plan says that it can, and
// keeps what it shows with the point. A source that is off frequency, or that
// the monitor does not count, is no fault of the unit.
func (r *run) watch(ctx context.Context, p procedures.Point, res *PointResult) (bench Reason, err error) {
	if r.Monitor == nil || !p.Watched {
		return "", nil
	}
	if err := r.synced(); err != nil {
		return "", err
	}
	set := res.Setting.Reported
	expected := set.Exact().Mul(r.Plan.Monitor.Factor)
	allowed, err := r.Plan.Allowed(r.Bench, set)
	if err != nil {
		return "", err
	}
	for k := r.Monitor.Discard(); k >= 0; k-- {
		var got drivers.Reading
		err := r.retryLink(ctx, r.Monitor, func() (err error) { got, err = r.Monitor.Read(ctx); return err })
		if err != nil {
			return "", err
		}
		use := Discarded
		if k == 0 {
			use = Counted
		}
		if got.Mark == drivers.None && got.Frequency.Sign() == 0 {
			got.Mark = drivers.NoSignal
		}
		good := got.Mark == drivers.None && got.Frequency.Exact().Sub(expected).Abs().Cmp(allowed) <= 0
		res.Monitor = append(res.Monitor, Watched{got, use, expected, allowed, good})
	}
	last := res.Monitor[len(res.Monitor)-1]
	if last.Good {
		return "", nil
	}
	res.Notes = append(res.Notes, last.says())
	return decision.SourceOffFrequency, nil
}

// says in words what the monitor showed of a source that is not good.
func (w Watched) says() string {
	if w.Mark != drivers.None {
		return fmt.Sprintf("monitor: %s, where %s Hz is expected", w.Mark, w.Expected.Fixed(3))
	}
	return fmt.Sprintf("monitor shows %s, %s Hz off what is expected; at most %s Hz is allowed", w.Frequency,
		w.Frequency.Exact().Sub(w.Expected).Fixed(3), w.Allowed.Fixed(3))
}

// watchAgain asks the monitor once more where the readings speak against the
// unit: the source must have been good to the end.
func (r *run) watchAgain(ctx context.Context, res *PointResult) (Reason, error) {
	if r.Monitor == nil || !res.Point.Watched || !res.suspicious() {
		return "", nil
	}
	return r.watch(ctx, res.Point, res)
}

// suspicious tells whether the counted readings would not pass.
func (p *PointResult) suspicious() bool {
	if p.missing() > 0 || scatters(p) {
		return true
	}
	for _, x := range p.numbers() {
		if x.Sub(p.Reference).Abs().Cmp(p.Limit.Total) > 0 {
			return true
		}
	}
	return false
}
