// Package decision turns an error, a limit and an uncertainty into a verdict by
// a stated decision rule (words of ILAC-G8:09/2019).
//
// It is pure: how the error came about is the business of runner, what the
// limit is that of procedures/accuracy. Comparisons are exact; an error equal
// to the limit passes.
package decision

import (
	"math"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"

	"gonum.org/v1/gonum/stat/distuv"
)

// Word is the word of a verdict.
type Word string

const (
	Pass            Word = "pass"
	ConditionalPass Word = "conditional pass"
	ConditionalFail Word = "conditional fail"
	Fail            Word = "fail"
	NotJudged       Word = "not judged"
)

// Reason says why a verdict is not a plain one.
type Reason string

// Reasons for fail.
const (
	NoCount        Reason = "no count"
	Unstable       Reason = "unstable"
	CoarseReply    Reason = "resolution"
	OutsideLimit   Reason = "error outside the limit"
	ReadingOutside Reason = "a reading outside the limit"
	DigitFault     Reason = "a digit is stuck or missing"
	GateShort      Reason = "readings come sooner than the gate allows"
	SelfTestFailed Reason = "the self-test fails"
	NotAsExpected  Reason = "not as expected" // what a person saw
	// NotObtainable: the unit gives no readings at all, here or anywhere.
	NotObtainable Reason = "not obtainable"
)

// Reasons for not judged.
const (
	UncertaintyTooLarge Reason = "uncertainty too large"
	SourceNotLocked     Reason = "source not locked"
	SourceReadBack      Reason = "source does not report what was set"
	SourceReference     Reason = "source runs from another reference than stated"
	GateNotInForce      Reason = "gate not in force"
	LinkFailed          Reason = "link"
	PathNotProven       Reason = "path not proven"
	HeldReading         Reason = "held reading"
	ReferenceChanged    Reason = "reference changed"
	InterlockRefused    Reason = "interlock"
	NoOperator          Reason = "no operator"
	LeftOut             Reason = "left out by the operator"
	NotCold             Reason = "the unit was not cold when the warm-up began"
	Interrupted         Reason = "interrupted"
	SourceOffFrequency  Reason = "source not at frequency (monitor)"
	SourcesDisagree     Reason = "sources disagree"
	SignalImpure        Reason = "harmonics of the source above what the procedure allows"
	LevelNotAsPlanned   Reason = "level at the input not as planned (power meter)"
)

// Verdict is the outcome at one point.
type Verdict struct {
	Word   Word   `json:"word"`
	Reason Reason `json:"reason,omitempty"`
}

// String writes "fail: no count".
func (v Verdict) String() string {
	if v.Reason == "" {
		return string(v.Word)
	}
	return string(v.Word) + ": " + string(v.Reason)
}

// Good tells whether the point counts as shown within tolerance.
func (v Verdict) Good() bool { return v.Word == Pass || v.Word == ConditionalPass }

// Bad tells whether the point counts as outside tolerance.
func (v Verdict) Bad() bool { return v.Word == Fail || v.Word == ConditionalFail }

// Evidence is what a verdict at one point rests on. Frequencies are in Hz.
type Evidence struct {
	// Bench is the reason why the bench or the link could not show the point;
	// "" where it could.
	Bench Reason
	// Symptom is the unit's own failure before any limit is compared (NoCount,
	// Unstable, CoarseReply); "" for none.
	Symptom Reason
	Errors  []quantity.Exact // of the n readings: reading − f_ref
	// Also are errors of readings that do not enter the mean (a first look that
	// scattered) but must lie within the limit all the same.
	Also  []quantity.Exact
	Limit quantity.Exact
	// BenchU holds reference, source and path only and gates the verdict by
	// TUR; DecisionU is what the rule uses.
	BenchU, DecisionU uncertainty.Result
}

// Judge returns the verdict and the guard band used. The order is: not judged
// (bench), no count, unstable, |E| > L + U: fail, TUR < 1: not judged, the rule.
func (r Rule) Judge(e Evidence) (Verdict, quantity.Exact) {
	w := r.GuardBand(e.Limit, e.DecisionU)
	if e.Bench != "" {
		return Verdict{NotJudged, e.Bench}, w
	}
	if e.Symptom != "" {
		return Verdict{Fail, e.Symptom}, w
	}
	if len(e.Errors) == 0 {
		return Verdict{Fail, NoCount}, w
	}
	// Σ|…| is compared as n·|E| with n·L, so that no division rounds.
	n := quantity.ExactInt(int64(len(e.Errors)))
	sum := quantity.Exact{}
	for _, x := range e.Errors {
		sum = sum.Add(x)
	}
	sum = sum.Abs()
	within := func(bound quantity.Exact) bool { return sum.Cmp(n.Mul(bound)) <= 0 }
	if !within(e.Limit.Add(quantity.ExactDecimal(e.DecisionU.Expanded))) {
		return Verdict{Fail, OutsideLimit}, w
	}
	if tur, limited := TUR(e.Limit, e.BenchU.Expanded); limited && tur < 1 {
		return Verdict{NotJudged, UncertaintyTooLarge}, w
	}
	if !within(e.Limit) {
		if r.Name != Simple && within(e.Limit.Add(w)) {
			return Verdict{ConditionalFail, OutsideLimit}, w
		}
		return Verdict{Fail, OutsideLimit}, w
	}
	for _, x := range append(append([]quantity.Exact{}, e.Errors...), e.Also...) {
		if x.Abs().Cmp(e.Limit) > 0 {
			return Verdict{Fail, ReadingOutside}, w
		}
	}
	if !within(e.Limit.Sub(w)) {
		return Verdict{ConditionalPass, ""}, w
	}
	return Verdict{Pass, ""}, w
}

// TUR is the test uncertainty ratio, limit over expanded uncertainty (span
// over span, ANSI/NCSL Z540.3-2006, from memory); limited is false where the
// uncertainty is zero.
func TUR(limit quantity.Exact, u float64) (tur float64, limited bool) {
	if !(u > 0) {
		return 0, false
	}
	return limit.Float() / u, true
}

// manyDegrees of freedom are as good as infinitely many; far beyond, the library
// loses all digits of Student's t.
const manyDegrees = 1e6

// Conformity returns the probability that the true error lies within ±limit,
// given the measured mean error and a standard uncertainty, all in Hz (JCGM
// 106:2012 clause 7, no prior knowledge); by Student's t where the effective
// degrees of freedom are finite, normal where they are 0, which stands for
// infinitely many.
func Conformity(mean, limit, standard, dof float64) float64 {
	if !(standard > 0) {
		if math.Abs(mean) <= limit {
			return 1
		}
		return 0
	}
	return math.Max(0, 1-Nonconformity(mean, limit, standard, dof))
}

// Nonconformity is the probability that the true error lies outside ±limit: the
// sum of both tails, so that small ones keep their digits.
func Nonconformity(mean, limit, standard, dof float64) float64 {
	if !(standard > 0) {
		if math.Abs(mean) <= limit {
			return 0
		}
		return 1
	}
	cdf := distuv.UnitNormal.CDF
	if dof > 0 && dof <= manyDegrees {
		cdf = distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.CDF
	}
	return math.Min(1, cdf((mean-limit)/standard)+cdf((-limit-mean)/standard))
}
