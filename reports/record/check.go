package record

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"bandproof/drivers"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// Check says whether a record is whole and follows from itself: its files match
// their hashes, a complete run has all its points, verdicts are known words,
// and mean and error of each point are those of its readings. It finds damage
// and careless edits, not a forger, who can make everything fit.
func (r Record) Check() error {
	for _, f := range []Source{r.Procedure, r.Bench} {
		sum := sha256.Sum256([]byte(f.Text))
		if hex.EncodeToString(sum[:]) != f.SHA256 {
			return fmt.Errorf("file %q does not match its hash", f.File)
		}
	}
	switch r.Run.Kind {
	case runner.AsFound, runner.AfterRepair, runner.AsLeft:
	default:
		return fmt.Errorf("run is of the unknown kind %q", r.Run.Kind)
	}
	if r.Run.Complete && len(r.Run.Points) != r.Run.Planned {
		return fmt.Errorf("run is complete, but has %d of %d points", len(r.Run.Points), r.Run.Planned)
	}
	seen := map[string]bool{}
	for _, p := range r.Run.Points {
		if seen[p.Point.ID] {
			return fmt.Errorf("point %s stands twice", p.Point.ID)
		}
		seen[p.Point.ID] = true
		for look := &p; look != nil; look = look.Other {
			if err := checkPoint(*look); err != nil {
				return fmt.Errorf("point %s, source %s: %w", p.Point.ID, look.Point.Source, err)
			}
		}
	}
	if err := r.checkOutcomes(); err != nil {
		return err
	}
	if err := r.checkCorrection(); err != nil {
		return err
	}
	return r.checkStatement()
}

func checkPoint(p runner.PointResult) error {
	if err := checkWord(p.Verdict.Word); err != nil {
		return err
	}
	sum, n := quantity.Exact{}, int64(0)
	for _, x := range p.Readings {
		if x.Use == runner.Counted && x.Mark == drivers.None {
			sum, n = sum.Add(x.Frequency.Exact()), n+1
		}
	}
	switch {
	case int64(p.Counted) > n && p.Verdict.Word != decision.NotJudged, p.Verdict.Good() && n == 0:
		return fmt.Errorf("%d readings count, but only %d are there", p.Counted, n)
	case p.Verdict.Good() && p.StoppedEarly == "" && p.Counted < p.Point.Readings:
		return fmt.Errorf("passes with %d of %d planned readings, and nothing says why", p.Counted, p.Point.Readings)
	case p.StoppedEarly != "" && p.Point.EarlyStop == nil:
		return fmt.Errorf("%s, but no early stop is planned", p.StoppedEarly)
	case p.Verdict.Good() && p.StoppedEarly != "" && p.Counted < p.Point.EarlyStop.Least:
		return fmt.Errorf("passes with %d readings, fewer than the %d that an early stop needs", p.Counted, p.Point.EarlyStop.Least)
	case p.Counted == 0:
		return nil
	case int64(p.Counted) == n && sum.Cmp(p.Mean.Mul(quantity.ExactInt(n))) != 0:
		return fmt.Errorf("mean %s Hz is not that of its readings", p.Mean)
	case p.Mean.Sub(p.Reference).Cmp(p.Error) != 0:
		return fmt.Errorf("error %s Hz is not mean less reference value", p.Error)
	}
	total := quantity.Exact{}
	for _, t := range p.Limit.Terms {
		total = total.Add(t.Hz)
	}
	if total.Cmp(p.Limit.Total) != 0 {
		return fmt.Errorf("limit %s Hz is not the sum of its terms", p.Limit.Total)
	}
	if p.Verdict.Good() && p.Error.Abs().Cmp(p.Limit.Total) > 0 {
		return fmt.Errorf("passes with an error beyond its limit")
	}
	return nil
}
