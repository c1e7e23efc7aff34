package decision

import (
	"fmt"
	"math"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// RuleName names a decision rule.
type RuleName string

const (
	// Simple acceptance: within the limit passes.
	Simple RuleName = "simple"
	// Guarded acceptance: within the limit less a guard band w = r·U passes.
	Guarded RuleName = "guarded"
	// Risk: within the limit less the guard band that keeps the probability of
	// a false accept at or below a stated one passes.
	Risk RuleName = "risk"
)

// Basis is what a limited probability of a false accept refers to.
type Basis string

const (
	// Specific: the probability that this unit, with this reading, lies outside.
	Specific Basis = "specific"
	// Global: the probability, before measuring, that a unit of this kind lies
	// outside and is accepted; it needs a stated prior.
	Global Basis = "global"
	// ClosedForm: the published approximation for 2 % as a function of TUR,
	// which needs no prior.
	ClosedForm Basis = "closed-form"
)

// Rule is the decision rule of a procedure.
type Rule struct {
	Name RuleName `toml:"rule" json:"rule" jsonschema:"enum=simple,enum=guarded,enum=risk" jsonschema_description:"simple: an error up to the limit passes. guarded: the limit is narrowed by the guard band w = r·U first. risk: by the guard band that limits the probability of a false accept."`
	// R is the factor on U of a guard band; nil is 1.
	R *quantity.Ratio `toml:"r,omitempty" json:"r,omitempty" jsonschema_description:"Factor r of the guard band w = r·U, as a bare number; 1 unless stated (rule guarded)."`
	// FalseAccept is the largest probability of a false accept; nil is 2 %.
	FalseAccept *quantity.Ratio `toml:"false_accept,omitempty" json:"false_accept,omitempty" jsonschema_description:"Largest probability of a false accept; 2 % unless stated (rule risk)."`
	Basis       Basis           `toml:"basis,omitempty" json:"basis,omitempty" jsonschema:"enum=specific,enum=global,enum=closed-form" jsonschema_description:"What the probability refers to: specific (this reading; the default), global (units of this kind, needs in_tolerance), closed-form (published approximation for 2 %)."`
	// InTolerance is the prior of the global risk: the share of units of this
	// kind that come in within tolerance.
	InTolerance *quantity.Ratio `toml:"in_tolerance,omitempty" json:"in_tolerance,omitempty" jsonschema_description:"Share of units of this kind found within tolerance, the prior of the global risk."`
}

// Check says what is wrong with the rule, by key; nothing where all is well.
func (r Rule) Check() map[string]string {
	wrong := map[string]string{}
	only := func(key string, set bool, fits bool, where string) {
		if set && !fits {
			wrong[key] = "belongs to " + where
		}
	}
	only("r", r.R != nil, r.Name == Guarded, "rule guarded")
	only("false_accept", r.FalseAccept != nil, r.Name == Risk, "rule risk")
	only("basis", r.Basis != "", r.Name == Risk, "rule risk")
	only("in_tolerance", r.InTolerance != nil, r.Name == Risk && r.Basis == Global, "basis global of rule risk")
	if r.R != nil && r.R.Sign() < 0 {
		wrong["r"] = fmt.Sprintf("is %s; a guard band factor can't be negative", r.R)
	}
	if r.FalseAccept != nil && (r.FalseAccept.Sign() <= 0 || r.FalseAccept.Float() > 0.5) {
		wrong["false_accept"] = fmt.Sprintf("is %s; expected above 0 and at most 50 %%", r.FalseAccept)
	}
	if r.Basis == ClosedForm && r.FalseAccept != nil && r.falseAccept() != 0.02 {
		wrong["false_accept"] = fmt.Sprintf("is %s; the closed form is for 2 %% only", r.FalseAccept)
	}
	if r.Basis == Global && r.InTolerance == nil {
		wrong["basis"] = "is global; then in_tolerance must state the share of units found within tolerance"
	}
	if r.InTolerance != nil && (r.InTolerance.Float() < 0.01 || r.InTolerance.Float() > 0.9999) {
		wrong["in_tolerance"] = fmt.Sprintf("is %s; expected 1 %% to 99.99 %%", r.InTolerance)
	}
	return wrong
}

// String writes the rule as a person would state it.
func (r Rule) String() string {
	switch r.Name {
	case Guarded:
		return fmt.Sprintf("guarded acceptance, w = %s·U", r.factor())
	case Risk:
		what := map[Basis]string{Specific: "at the reading", Global: "over units of which " + percent(r.inTolerance()) + " are found within tolerance",
			ClosedForm: "by the published closed form in TUR"}[r.basis()]
		return fmt.Sprintf("guard band that limits the probability of a false accept to %s %s", percent(r.falseAccept()), what)
	}
	return "simple acceptance (guard band w = 0; the risk of a false accept at the limit is up to 50 %)"
}

func percent(p float64) string { return fmt.Sprintf("%.3g %%", p*100) }

func (r Rule) factor() quantity.Exact {
	if r.R == nil {
		return quantity.ExactInt(1)
	}
	return r.R.Exact()
}

func (r Rule) falseAccept() float64 {
	if r.FalseAccept == nil {
		return 0.02
	}
	return r.FalseAccept.Float()
}

func (r Rule) inTolerance() float64 {
	if r.InTolerance == nil {
		return math.NaN()
	}
	return r.InTolerance.Float()
}

func (r Rule) basis() Basis {
	if r.Basis == "" {
		return Specific
	}
	return r.Basis
}

// GuardBand returns w in Hz for a limit (Hz) and the decision uncertainty;
// never below zero.
func (r Rule) GuardBand(limit quantity.Exact, u uncertainty.Result) quantity.Exact {
	w := quantity.Exact{}
	switch r.Name {
	case Guarded:
		w = r.factor().Mul(quantity.ExactDecimal(u.Expanded))
	case Risk:
		w = quantity.ExactDecimal(r.riskBand(limit.Float(), u))
	}
	if w.Sign() < 0 {
		return quantity.Exact{}
	}
	return w
}
