package runner

import (
	"fmt"
	"math"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"

	"gonum.org/v1/gonum/stat"
)

func (r *run) inputOf(res *PointResult) procedures.Input {
	i, _ := r.Procedure.Input(res.Point.Input)
	return i
}

// evaluate computes error, limit, uncertainty and verdict of a point from its
// counted readings. symptom and bench come from taking it.
func (r *run) evaluate(at *place, res *PointResult, symptom, bench decision.Reason) error {
	p := res.Point
	set := res.Setting.Reported
	if set.Sign() <= 0 {
		set = p.Frequency // the source never said; nothing is judged then
	}
	res.Reference = set.Exact().Mul(r.Plan.Topology[p.Source].Factor)
	limit, err := r.Plan.LimitAt(at.input, p.Source, res.Reference, res.Gate)
	if err != nil {
		return fmt.Errorf("point %s: %w", p.ID, err)
	}
	res.Limit, res.LimitPPM = limit, limit.Total.Quo(res.Reference).Float()*1e6
	numbers := res.numbers()
	res.Counted, res.Spread = len(numbers), spread(numbers)
	if symptom == "" && r.ReplyAgrees && coarser(res) {
		symptom = decision.CoarseReply
	}
	errors := make([]quantity.Exact, len(numbers))
	sum := quantity.Exact{}
	for k, x := range numbers {
		errors[k] = x.Sub(res.Reference)
		sum = sum.Add(x)
	}
	if len(numbers) > 0 {
		res.Mean = sum.Quo(quantity.ExactInt(int64(len(numbers))))
		res.Error = res.Mean.Sub(res.Reference)
		res.ErrorPPM = res.Error.Quo(res.Reference).Float() * 1e6
	}
	if err := r.uncertainties(at, res, errors); err != nil {
		return fmt.Errorf("point %s: %w", p.ID, err)
	}
	res.Verdict, res.GuardBand = r.Plan.Rule.Judge(decision.Evidence{Bench: bench, Symptom: symptom, Errors: errors, Limit: limit.Total,
		BenchU: res.Bench.Expanded, DecisionU: res.Decision.Expanded})
	if len(numbers) > 0 {
		c := decision.Conformity(res.Error.Float(), limit.Total.Float(), res.Decision.Standard)
		res.Conformity = &c
		if res.Verdict.Bad() {
			res.Symptom = symptomOf(res.Mean, res.Reference, limit.Total)
		}
	}
	describe(res)
	return nil
}

// describe adds notes on how the point was taken.
func describe(res *PointResult) {
	if n := res.missing(); n > 0 && res.Counted > 0 {
		res.Notes = append(res.Notes, fmt.Sprintf("%d of %d readings gave no count", n, n+res.Counted))
	}
	if res.Setting.Tries > 1 {
		res.Notes = append(res.Notes, fmt.Sprintf("source set %d times before it was good", res.Setting.Tries))
	}
	if res.Point.Coherent {
		res.Notes = append(res.Notes, "coherent: readings at one phase count as one for statistics")
	}
}

// coarser tells whether all replies resolve coarser than one count. A reply
// with an exponent says nothing of its digits.
func coarser(res *PointResult) bool {
	any := false
	for _, x := range res.Readings {
		if x.Use != Counted || x.Mark != drivers.None {
			continue
		}
		step, ok := replyStep(x)
		if !ok || step.Cmp(res.Limit.Resolution) <= 0 {
			return false
		}
		any = true
	}
	return any
}

// replyStep is the size of the last digit of a reply, in Hz; ok is false for a
// reply with an exponent.
func replyStep(x Reading) (quantity.Exact, bool) {
	for _, c := range x.Text {
		if c == 'e' || c == 'E' {
			return quantity.Exact{}, false
		}
	}
	return quantity.New[quantity.Hertz](unitStep(x.Frequency)).Exact(), true
}

// uncertainties fills in the three budgets. The bench's holds reference,
// source and path; the decision's adds repeatability where the readings
// scatter by more than a count; the reported one takes the larger of the
// unit's resolution and its repeatability, never both.
func (r *run) uncertainties(at *place, res *PointResult, errors []quantity.Exact) (err error) {
	bench := r.Plan.BenchBudget(at.spec, res.Point.Frequency)
	if res.Bench, err = bench.Combine(); err != nil {
		return err
	}
	q := res.Limit.Resolution.Float()
	resolution := uncertainty.Line("resolution of the unit", q, uncertainty.Triangular, 0, "asynchronous gate, half-width one count")
	if at.input.Accuracy.Kind == accuracy.Reciprocal {
		resolution = uncertainty.Line("resolution of the unit", q/2, uncertainty.Rectangular, 0, "rounded display, half-width half a count")
	}
	own := resolution
	decided := append(uncertainty.Budget{}, bench...)
	if repeat, ok := repeatability(errors, res); ok {
		decided = append(decided, repeat)
		if repeat.Standard > own.Standard {
			own = repeat
		}
	}
	if link, ok := linkRounding(res); ok {
		res.Notes = append(res.Notes, "replies show fewer digits than the unit counts; their rounding is in the budget")
		decided = append(decided, link)
		bench = append(bench, link)
	}
	if res.Decision, err = decided.Combine(); err != nil {
		return err
	}
	res.ReportedBudget = append(bench, own)
	if res.Reported, err = res.ReportedBudget.Combine(); err != nil {
		return err
	}
	res.TUR = ratio(res.Limit.Total, res.Bench.Expanded)
	res.TURWithUnit = ratio(res.Limit.Total, res.Reported.Expanded)
	return nil
}

func ratio(limit quantity.Exact, u float64) *float64 {
	if tur, limited := decision.TUR(limit, u); limited {
		return &tur
	}
	return nil
}

// repeatability is s/√n of readings that scatter by more than a count and are
// not all of one phase.
func repeatability(errors []quantity.Exact, res *PointResult) (uncertainty.Contribution, bool) {
	n := len(errors)
	if n < 2 || res.Point.Coherent || res.Spread.Cmp(res.Limit.Resolution) <= 0 {
		return uncertainty.Contribution{}, false
	}
	x := make([]float64, n)
	for k, e := range errors {
		x[k] = e.Float()
	}
	s := stat.StdDev(x, nil)
	return uncertainty.Line("repeatability", s/math.Sqrt(float64(n)), uncertainty.Normal, float64(n-1), fmt.Sprintf("standard deviation of %d readings", n)), true
}

// linkRounding is what a reply that shows fewer digits than the unit counts
// adds (half-width half its last digit).
func linkRounding(res *PointResult) (uncertainty.Contribution, bool) {
	if !coarser(res) {
		return uncertainty.Contribution{}, false
	}
	for _, x := range res.Readings {
		if x.Use == Counted && x.Mark == drivers.None {
			step, _ := replyStep(x)
			return uncertainty.Line("rounding of the reply", step.Float()/2, uncertainty.Rectangular, 0, "digits of the reply"), true
		}
	}
	return uncertainty.Contribution{}, false
}
