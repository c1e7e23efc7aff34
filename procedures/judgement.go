package procedures

import (
	"fmt"
	"math"

	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"

	"gonum.org/v1/gonum/stat"
)

// Measurement is what a judgement at one point rests on. Frequencies in Hz.
type Measurement struct {
	Reference quantity.Exact   // f_ref
	Readings  []quantity.Exact // those that count
	// Also are readings that do not enter the mean but must lie within the limit.
	Also     []quantity.Exact
	Limit    accuracy.Limit
	Counting accuracy.Counting
	Bench    uncertainty.Budget // reference, source and path
	// Reply is what the rounding of replies adds; nil where they show all digits.
	Reply *uncertainty.Contribution
	// BenchFault is why the bench could not show the point, Symptom the unit's
	// own failure before any limit is compared; "" for none.
	BenchFault, Symptom decision.Reason
}

// Judgement is the outcome at one point, as far as it is computed.
type Judgement struct {
	// Of the counted readings, in Hz and exact; empty where there are none.
	Reference quantity.Exact `json:"reference_hz"`
	Counted   int            `json:"counted"`
	Mean      quantity.Exact `json:"mean_hz"`
	Error     quantity.Exact `json:"error_hz"`
	ErrorPPM  float64        `json:"relative_error_ppm"`
	Spread    quantity.Exact `json:"spread_hz"` // largest − smallest

	Limit    accuracy.Limit `json:"limit"`
	LimitPPM float64        `json:"limit_ppm"`

	// Reported holds everything; Decision leaves out the quantisation that the
	// limit's count term already allows; Bench is reference, source and path.
	Reported       uncertainty.Result `json:"reported_uncertainty"`
	ReportedBudget uncertainty.Budget `json:"reported_budget"`
	Decision       uncertainty.Result `json:"decision_uncertainty"`
	Bench          uncertainty.Result `json:"bench_uncertainty"`
	// TUR is limit over bench uncertainty, nil where not limited; TURWithUnit
	// takes the unit's resolution and repeatability in as well.
	TUR         *float64       `json:"tur"`
	TURWithUnit *float64       `json:"tur_with_unit"`
	GuardBand   quantity.Exact `json:"guard_band_hz"`
	// Bias is what a truncating display shows too little on average; the verdict
	// takes the reading as shown, the best estimate of the error is Error − Bias.
	Bias quantity.Exact `json:"bias_hz,omitzero"`
	// Conformity is nil unless the limit decided, and so are the risks.
	Conformity *float64         `json:"probability_of_conformity"`
	Risks      *Risks           `json:"risks,omitempty"`
	Verdict    decision.Verdict `json:"verdict"`
}

// Risks are the probabilities of a wrong decision at a point.
type Risks struct {
	Consumer float64 `json:"consumer"` // outside, if the point is accepted
	Producer float64 `json:"producer"` // inside, if it is rejected
	// Over units of which the rule states the share within tolerance.
	GlobalFalseAccept *float64 `json:"global_false_accept,omitempty"`
	GlobalFalseReject *float64 `json:"global_false_reject,omitempty"`
}

// Judge computes error, uncertainties and verdict by a rule.
func Judge(rule decision.Rule, m Measurement) (Judgement, error) {
	j := Judgement{Reference: m.Reference, Counted: len(m.Readings), Limit: m.Limit,
		LimitPPM: PPM(m.Limit.Total, m.Reference), Spread: Spread(m.Readings)}
	sum := quantity.Exact{}
	for _, x := range m.Readings {
		sum = sum.Add(x)
	}
	if j.Counted > 0 {
		j.Mean = sum.Quo(quantity.ExactInt(int64(j.Counted)))
		j.Error = j.Mean.Sub(m.Reference)
		j.ErrorPPM = PPM(j.Error, m.Reference)
	}
	errors := differences(m.Readings, m.Reference)
	if err := j.uncertainties(m, errors); err != nil {
		return Judgement{}, err
	}
	j.Verdict, j.GuardBand = rule.Judge(decision.Evidence{Bench: m.BenchFault, Symptom: m.Symptom, Errors: errors,
		Also: differences(m.Also, m.Reference), Limit: m.Limit.Total, BenchU: j.Bench, DecisionU: j.Decision})
	if j.Counted > 0 && m.Symptom == "" && m.BenchFault == "" {
		e, limit, u := j.Error.Float(), m.Limit.Total.Float(), j.Decision
		c := decision.Conformity(e, limit, u.Standard, u.DegreesOfFreedom)
		outside := decision.Nonconformity(e, limit, u.Standard, u.DegreesOfFreedom)
		j.Conformity, j.Risks = &c, &Risks{Consumer: outside, Producer: c}
		if accept, reject, ok := rule.GlobalRisks(limit, j.GuardBand.Float(), u); ok {
			j.Risks.GlobalFalseAccept, j.Risks.GlobalFalseReject = &accept, &reject
		}
	}
	return j, nil
}

// PPM returns a part of a whole in parts per million.
func PPM(part, whole quantity.Exact) float64 {
	return part.Mul(quantity.ExactInt(1_000_000)).Quo(whole).Float()
}

// differences returns reading − reference for each.
func differences(readings []quantity.Exact, reference quantity.Exact) []quantity.Exact {
	out := make([]quantity.Exact, len(readings))
	for k, x := range readings {
		out[k] = x.Sub(reference)
	}
	return out
}

// Spread returns largest − smallest.
func Spread(list []quantity.Exact) quantity.Exact {
	if len(list) == 0 {
		return quantity.Exact{}
	}
	low, high := list[0], list[0]
	for _, x := range list {
		if x.Cmp(low) < 0 {
			low = x
		}
		if x.Cmp(high) > 0 {
			high = x
		}
	}
	return high.Sub(low)
}

// uncertainties fills in the three budgets. The bench's holds reference,
// source and path; the decision's adds repeatability where the readings
// scatter by more than a count; the reported one takes the larger of the
// unit's resolution and its repeatability, never both.
func (j *Judgement) uncertainties(m Measurement, errors []quantity.Exact) (err error) {
	if j.Bench, err = m.Bench.Combine(); err != nil {
		return err
	}
	base := m.Bench
	if m.Reply != nil {
		base = with(base, *m.Reply)
	}
	half, shape, bias, why := m.Counting.Quantisation(m.Limit)
	j.Bias = bias
	j.ReportedBudget = with(base, uncertainty.Line("resolution of the unit", half, shape, 0, why))
	if j.Reported, err = j.ReportedBudget.Combine(); err != nil {
		return err
	}
	decided := base
	if repeat, ok := Repeatability(errors); ok {
		// Never both, and the one that makes the larger U.
		scattered := with(base, repeat)
		u, err := scattered.Combine()
		if err != nil {
			return err
		}
		if u.Expanded > j.Reported.Expanded {
			j.Reported, j.ReportedBudget = u, scattered
		}
		// For the decision, readings within one count of each other scatter no
		// more than the count that the limit allows already.
		if j.Spread.Cmp(m.Limit.Resolution) > 0 {
			decided = scattered
		}
	}
	if j.Decision, err = decided.Combine(); err != nil {
		return err
	}
	j.TUR = ratio(m.Limit.Total, j.Bench.Expanded)
	j.TURWithUnit = ratio(m.Limit.Total, j.Reported.Expanded)
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

// repeatabilityLine is the name of the line in a budget.
const repeatabilityLine = "repeatability"

// Repeatability is s/√n of two readings or more that differ at all.
func Repeatability(errors []quantity.Exact) (uncertainty.Contribution, bool) {
	n := len(errors)
	if n < 2 || Spread(errors).Sign() == 0 {
		return uncertainty.Contribution{}, false
	}
	x := make([]float64, n)
	for k, e := range errors {
		x[k] = e.Float()
	}
	s := stat.StdDev(x, nil)
	return uncertainty.Line(repeatabilityLine, s/math.Sqrt(float64(n)), uncertainty.Normal, float64(n-1), fmt.Sprintf("standard deviation of %d readings", n)), true
}
