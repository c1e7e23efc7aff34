package runner

import (
	"fmt"
	"math"

	"bandproof/drivers"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"

	"gonum.org/v1/gonum/stat"
)

// evaluate computes error, limit, uncertainty and verdict of a point from its
// counted readings. symptom and bench come from taking it.
func (r *run) evaluate(at *place, res *PointResult, symptom, bench decision.Reason) error {
	if err := r.limitInForce(at, res); err != nil {
		return err
	}
	numbers := res.numbers()
	at.look(res)
	res.Counted, res.Spread = len(numbers), spread(numbers)
	if symptom == "" && r.ReplyAgrees && coarser(res) {
		symptom = decision.CoarseReply
	}
	errors := differences(numbers, res.Reference)
	sum := quantity.Exact{}
	for _, x := range numbers {
		sum = sum.Add(x)
	}
	if len(numbers) > 0 {
		res.Mean = sum.Quo(quantity.ExactInt(int64(len(numbers))))
		res.Error = res.Mean.Sub(res.Reference)
		res.ErrorPPM = res.Error.Quo(res.Reference).Float() * 1e6
	}
	if err := r.uncertainties(at, res, errors); err != nil {
		return fmt.Errorf("point %s: %w", res.Point.ID, err)
	}
	res.Verdict, res.GuardBand = r.Plan.Rule.Judge(decision.Evidence{Bench: bench, Symptom: symptom, Errors: errors,
		Also: differences(res.numbersOf(FirstLook), res.Reference), Limit: res.Limit.Total, BenchU: res.Bench.Expanded, DecisionU: res.Decision.Expanded})
	if len(numbers) > 0 && symptom == "" && bench == "" {
		c := decision.Conformity(res.Error.Float(), res.Limit.Total.Float(), res.Decision.Standard, res.Decision.DegreesOfFreedom)
		res.Conformity = &c
	}
	if len(numbers) > 0 && res.Verdict.Bad() {
		res.Symptom = symptomOf(res.Mean, res.Reference, res.Limit.Total)
	}
	describe(res)
	return nil
}

// differences returns reading − reference for each.
func differences(readings []quantity.Exact, reference quantity.Exact) []quantity.Exact {
	out := make([]quantity.Exact, len(readings))
	for k, x := range readings {
		out[k] = x.Sub(reference)
	}
	return out
}

// describe adds notes on how the point was taken.
func describe(res *PointResult) {
	if n := res.missing(); n > 0 && res.Counted > 0 {
		res.Notes = append(res.Notes, fmt.Sprintf("%d readings gave no count, %d did", n, res.Counted))
	}
	if res.Setting.Refused > 0 {
		res.Notes = append(res.Notes, fmt.Sprintf("source was not good after %d of %d settings", res.Setting.Refused, res.Setting.Tries))
	}
	if res.Counted == 1 {
		res.Notes = append(res.Notes, "one reading: no repeatability in the budget")
	}
	if res.Point.Coherent {
		res.Notes = append(res.Notes, "coherent: all readings at one phase, they count as one; scatter not tested")
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
	if link, ok := at.linkRounding(res); ok {
		res.Notes = append(res.Notes, "replies show fewer digits than the unit counts; their rounding is in the budget")
		bench = append(bench, link)
	}
	half, shape, why := at.input.Accuracy.Quantisation(res.Limit.Resolution)
	res.ReportedBudget = with(bench, uncertainty.Line("resolution of the unit", half, shape, 0, why))
	if res.Reported, err = res.ReportedBudget.Combine(); err != nil {
		return err
	}
	decided := bench
	if repeat, ok := repeatability(errors, res); ok {
		decided = with(bench, repeat)
	}
	if res.Decision, err = decided.Combine(); err != nil {
		return err
	}
	// Never both, and the larger one: where the readings' own scatter comes to
	// more than the resolution, it is what is reported.
	if res.Decision.Expanded > res.Reported.Expanded {
		res.Reported, res.ReportedBudget = res.Decision, decided
	}
	res.TUR = ratio(res.Limit.Total, res.Bench.Expanded)
	res.TURWithUnit = ratio(res.Limit.Total, res.Reported.Expanded)
	return nil
}

// with returns a copy of a budget with one more line.
func with(b uncertainty.Budget, line uncertainty.Contribution) uncertainty.Budget {
	return append(append(uncertainty.Budget{}, b...), line)
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
	if n < 2 || res.Spread.Cmp(res.Limit.Resolution) <= 0 {
		return uncertainty.Contribution{}, false
	}
	x := make([]float64, n)
	for k, e := range errors {
		x[k] = e.Float()
	}
	s := stat.StdDev(x, nil)
	return uncertainty.Line("repeatability", s/math.Sqrt(float64(n)), uncertainty.Normal, float64(n-1), fmt.Sprintf("standard deviation of %d readings", n)), true
}

// look notes which digits the replies of this place show.
func (at *place) look(res *PointResult) {
	for _, x := range res.Readings {
		if x.Mark != drivers.None {
			continue
		}
		step, ok := replyStep(x)
		if !ok {
			continue
		}
		if at.finest.Sign() == 0 || step.Cmp(at.finest) < 0 {
			at.finest = step
		}
		digits := x.Frequency.Decimal().Coeff.String()
		at.zeros = at.zeros || digits[len(digits)-1] == '0'
	}
}

// linkRounding is what replies that show fewer digits than the unit counts add
// (half-width half the last digit). Digits of an instrument that never ends a
// reply in a zero say nothing: it may suppress them.
func (at *place) linkRounding(res *PointResult) (uncertainty.Contribution, bool) {
	if !at.zeros || at.finest.Cmp(res.Limit.Resolution) <= 0 {
		return uncertainty.Contribution{}, false
	}
	return uncertainty.Line("rounding of the reply", at.finest.Float()/2, uncertainty.Rectangular, 0, "digits of the replies on this path"), true
}
