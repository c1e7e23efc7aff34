package main

import (
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"

	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"

	"github.com/spf13/cobra"
)

// judgeFlags are texts as given; parse makes them quantities.
type judgeFlags struct {
	nominal, gate, timebase, counting, timeResolution, resolution, trigger, residual, triggerNoise, level string
	readings                                                                                              []string
	counts, prescale, harmonic                                                                            int
	gateLengthened, truncates                                                                             bool
	topology, unitReference                                                                               string
	referenceU, referenceOffset, unitU, unitOffset                                                        string
	rule, r, falseAccept, basis, inTolerance                                                              string
	json, monteCarlo                                                                                      bool
	seed                                                                                                  uint64
}

func judgeCommand(t *terminal) *cobra.Command {
	var f judgeFlags
	c := &cobra.Command{
		Use:   "judge --nominal FREQUENCY --reading FREQUENCY... --gate TIME",
		Short: "judge one reading, or a few, against one specification and show the reasoning",
		Example: `  bandproof judge --nominal 25MHz --reading 25.000004MHz --gate 1s --timebase 0.5ppm --reference-uncertainty 1e-9
  bandproof judge --nominal 1GHz --reading 1000000032Hz --gate 1s --counting prescaled --prescale 32 --topology shared`,
		Args: exactly(0, "flags only"),
		RunE: func(c *cobra.Command, _ []string) error {
			s, err := f.parse(c)
			if err != nil {
				return usage{err}
			}
			topology, j, err := s.Judge()
			if err != nil {
				return usage{err}
			}
			var mc *monteCarloReport
			if f.monteCarlo {
				sample, validation, err := j.ReportedBudget.Confirm(c.Context(), nil, uncertainty.Options{Seed: f.seed})
				if err != nil {
					return err
				}
				mc = &monteCarloReport{sample, validation}
			}
			if f.json {
				err = t.json(judgementJSON(s, topology, j, mc))
			} else {
				err = printJudgement(t, s, topology, j, mc)
			}
			switch {
			case err != nil:
				return err
			case j.Verdict.Bad():
				return outcome{exitFailed, nil}
			case !j.Verdict.Good():
				return outcome{exitOpen, nil}
			}
			return nil
		},
	}
	fl := c.Flags()
	fl.StringVar(&f.nominal, "nominal", "", "what the source is set to, such as 25MHz")
	fl.StringArrayVar(&f.readings, "reading", nil, "reading of the unit (repeat for more)")
	fl.StringVar(&f.gate, "gate", "", "gate time, such as 1s")
	fl.IntVar(&f.counts, "counts", 1, "counts of the ± count rule")
	fl.StringVar(&f.timebase, "timebase", "", "promised accuracy of the unit's own timebase, such as 0.5ppm")
	fl.StringVar(&f.counting, "counting", "direct", "how the unit counts: direct, prescaled, reciprocal, down-converted")
	fl.IntVar(&f.prescale, "prescale", 0, "prescale factor (counting prescaled)")
	fl.BoolVar(&f.gateLengthened, "gate-lengthened", false, "the unit lengthens its gate by the prescale factor")
	fl.StringVar(&f.timeResolution, "time-resolution", "", "time resolution, such as 100ns (counting reciprocal)")
	fl.IntVar(&f.harmonic, "harmonic", 0, "factor on the intermediate count (counting down-converted)")
	fl.StringVar(&f.resolution, "resolution", "", "resolution of the display where it is coarser than the gate gives")
	fl.BoolVar(&f.truncates, "display-truncates", false, "the display cuts digits off instead of rounding")
	fl.StringVar(&f.trigger, "trigger", "", "permitted trigger error, relative")
	fl.StringVar(&f.triggerNoise, "trigger-noise", "", "noise voltage at the input, from which the trigger error follows with --level")
	fl.StringVar(&f.level, "level", "", "level at the input, such as 100mV or \"-10 dBm\" (into 50 Ω)")
	fl.StringVar(&f.residual, "residual", "", "permitted systematic error, such as 20Hz")
	fl.StringVar(&f.topology, "topology", "", "independent (unit on its own timebase) or shared (one reference for both)")
	fl.StringVar(&f.unitReference, "unit-reference", "", "what the unit runs from, in full: "+strings.Join(procedures.UnitReferences(), ", "))
	fl.StringVar(&f.referenceU, "reference-uncertainty", "", "expanded relative uncertainty (k = 2) of the source's reference, such as 1e-9")
	fl.StringVar(&f.referenceOffset, "reference-offset", "", "known fractional offset of the source's reference")
	fl.StringVar(&f.unitU, "unit-reference-uncertainty", "", "the same of the unit's external reference")
	fl.StringVar(&f.unitOffset, "unit-reference-offset", "", "known fractional offset of the unit's external reference")
	fl.StringVar(&f.rule, "rule", "simple", "decision rule: simple, guarded, risk")
	fl.StringVar(&f.r, "r", "", "factor r of the guard band w = r·U (rule guarded)")
	fl.StringVar(&f.falseAccept, "false-accept", "", "largest probability of a false accept (rule risk); 2 % unless stated")
	fl.StringVar(&f.basis, "basis", "", "specific, global or closed-form (rule risk)")
	fl.StringVar(&f.inTolerance, "in-tolerance", "", "share of such units found within tolerance (basis global)")
	fl.BoolVar(&f.monteCarlo, "monte-carlo", false, "confirm the reported uncertainty by propagation of distributions (JCGM 101)")
	fl.Uint64Var(&f.seed, "seed", 1, "seed of the Monte Carlo generator")
	fl.BoolVar(&f.json, "json", false, "print as JSON (schema \"bandproof judgement 1\")")
	return c
}

// parsed reads an optional flag; nil where it was not given.
func parsed[D quantity.Dimension](flag, text string) (*quantity.Value[D], error) {
	if text == "" {
		return nil, nil
	}
	v, err := quantity.Parse[D](text)
	if err != nil {
		return nil, fmt.Errorf("--%s: %w", flag, err)
	}
	return &v, nil
}

// into stores what parsed gives, if anything.
func into[D quantity.Dimension](flag, text string, to *quantity.Value[D]) error {
	v, err := parsed[D](flag, text)
	if v != nil {
		*to = *v
	}
	return err
}

func (f judgeFlags) parse(c *cobra.Command) (s procedures.Single, err error) {
	for _, need := range []string{"nominal", "reading", "gate"} {
		if !c.Flags().Changed(need) {
			return s, fmt.Errorf("--%s is missing; it must be given", need)
		}
	}
	if s.UnitReference, err = f.reference(); err != nil {
		return s, err
	}
	for _, text := range f.readings {
		r, err := quantity.Parse[quantity.Hertz](text)
		if err != nil {
			return s, fmt.Errorf("--reading: %w", err)
		}
		s.Readings = append(s.Readings, r)
	}
	var residual quantity.Frequency
	var first error
	for _, e := range []error{
		into("nominal", f.nominal, &s.Nominal), into("gate", f.gate, &s.Gate), into("time-resolution", f.timeResolution, &s.Spec.TimeResolution),
		into("resolution", f.resolution, &s.Spec.Display), into("trigger", f.trigger, &s.Spec.Trigger), into("trigger-noise", f.triggerNoise, &s.Spec.TriggerNoise), into("residual", f.residual, &residual),
		into("reference-uncertainty", f.referenceU, &s.ReferenceU), into("reference-offset", f.referenceOffset, &s.ReferenceOffset),
		into("unit-reference-uncertainty", f.unitU, &s.UnitReferenceU), into("unit-reference-offset", f.unitOffset, &s.UnitReferenceOffset),
	} {
		if first == nil {
			first = e
		}
	}
	if first != nil {
		return s, first
	}
	if s.Timebase, err = parsed[quantity.One]("timebase", f.timebase); err != nil {
		return s, err
	}
	if residual.Sign() != 0 {
		s.Spec.Residuals = []accuracy.Residual{{To: s.Nominal.Scale(2, 0), Error: residual}}
	}
	s.Impedance = quantity.Dbm50()
	switch {
	case f.level != "":
		if s.Level, err = quantity.ParseLevel(f.level); err != nil {
			return s, fmt.Errorf("--level: %w", err)
		}
		if f.triggerNoise == "" {
			return s, fmt.Errorf("--level matters only with --trigger-noise")
		}
	case f.triggerNoise != "":
		return s, fmt.Errorf("--trigger-noise needs --level: the trigger error follows from both")
	}
	if c.Flags().Changed("seed") && !f.monteCarlo {
		return s, fmt.Errorf("--seed belongs to --monte-carlo")
	}
	if err := f.kind(c, &s.Spec); err != nil {
		return s, err
	}
	return s, f.decision(&s.Rule)
}

// reference joins the short --topology and the full --unit-reference.
func (f judgeFlags) reference() (string, error) {
	short := map[string]string{"": "own", "independent": "own", "shared": "shared"}
	from, ok := short[f.topology]
	switch {
	case !ok:
		return "", fmt.Errorf("--topology is %q; expected independent or shared (or --unit-reference in full)", f.topology)
	case f.unitReference == "":
		return from, nil
	case f.topology != "":
		return "", fmt.Errorf("--topology and --unit-reference say the same thing; give one of them")
	case !slices.Contains(procedures.UnitReferences(), f.unitReference):
		return "", fmt.Errorf("--unit-reference is %q; expected one of %s", f.unitReference, strings.Join(procedures.UnitReferences(), ", "))
	}
	return f.unitReference, nil
}

// kind takes the counting flags; one that belongs to another kind is refused. A
// prescale factor makes a direct count a prescaled one, a time resolution alone
// a reciprocal one.
func (f judgeFlags) kind(c *cobra.Command, spec *accuracy.Spec) error {
	given := c.Flags().Changed
	switch {
	case given("prescale") && f.counting == string(accuracy.Direct):
		f.counting = string(accuracy.Prescaled)
	case given("time-resolution") && !given("counting"):
		f.counting = string(accuracy.Reciprocal)
	}
	spec.Kind, spec.Counts, spec.Prescale, spec.Harmonic = accuracy.Kind(f.counting), f.counts, f.prescale, f.harmonic
	spec.GateLengthened, spec.Truncates = f.gateLengthened, f.truncates
	if f.counts < 1 {
		return fmt.Errorf("--counts is %d; expected at least 1", f.counts)
	}
	for _, x := range []struct {
		flag string
		kind accuracy.Kind
	}{{"prescale", accuracy.Prescaled}, {"gate-lengthened", accuracy.Prescaled}, {"time-resolution", accuracy.Reciprocal}, {"harmonic", accuracy.Converted}} {
		if given(x.flag) && spec.Kind != x.kind {
			return fmt.Errorf("--%s belongs to --counting %s, not to %s", x.flag, x.kind, spec.Kind)
		}
	}
	return nil
}

func (f judgeFlags) decision(rule *decision.Rule) (err error) {
	rule.Name, rule.Basis = decision.RuleName(f.rule), decision.Basis(f.basis)
	if !slices.Contains([]decision.RuleName{decision.Simple, decision.Guarded, decision.Risk}, rule.Name) {
		return fmt.Errorf("--rule is %q; expected simple, guarded or risk", f.rule)
	}
	if !slices.Contains([]decision.Basis{"", decision.Specific, decision.Global, decision.ClosedForm}, rule.Basis) {
		return fmt.Errorf("--basis is %q; expected specific, global or closed-form", f.basis)
	}
	if rule.R, err = parsed[quantity.One]("r", f.r); err != nil {
		return err
	}
	if rule.FalseAccept, err = parsed[quantity.One]("false-accept", f.falseAccept); err != nil {
		return err
	}
	rule.InTolerance, err = parsed[quantity.One]("in-tolerance", f.inTolerance)
	return err
}

// judgementJSON is the documented shape; exact quantities are strings.
func judgementJSON(s procedures.Single, topology procedures.Topology, j procedures.Judgement, mc *monteCarloReport) any {
	return struct {
		Schema      string            `json:"schema"`
		Topology    string            `json:"topology"`
		Reference   quantity.Exact    `json:"reference_hz"`
		Mean        quantity.Exact    `json:"mean_hz"`
		Error       quantity.Exact    `json:"error_hz"`
		ErrorPPM    float64           `json:"relative_error_ppm"`
		Resolution  quantity.Exact    `json:"resolution_hz"`
		Limit       quantity.Exact    `json:"limit_hz"`
		LimitPPM    float64           `json:"limit_ppm"`
		Terms       []accuracy.Term   `json:"limit_terms"`
		Standard    float64           `json:"standard_uncertainty_hz"`
		Freedom     *float64          `json:"effective_degrees_of_freedom"` // null: infinitely many
		Coverage    float64           `json:"coverage_factor"`
		Expanded    float64           `json:"expanded_uncertainty_hz"`
		Decision    float64           `json:"decision_uncertainty_hz"`
		Bench       float64           `json:"bench_uncertainty_hz"`
		Budget      any               `json:"budget"`
		TUR         *float64          `json:"tur"` // null: not limited
		TURWithUnit *float64          `json:"tur_with_unit"`
		Conformity  *float64          `json:"probability_of_conformity"`
		Risks       *procedures.Risks `json:"risks"`
		Bias        quantity.Exact    `json:"bias_hz"`
		Rule        decision.RuleName `json:"rule"`
		RuleText    string            `json:"rule_text"`
		GuardBand   quantity.Exact    `json:"guard_band_hz"`
		Verdict     decision.Word     `json:"verdict"`
		Reason      decision.Reason   `json:"reason,omitempty"`
		Notes       []string          `json:"notes,omitempty"`
		MonteCarlo  *monteCarloReport `json:"monte_carlo,omitempty"`
	}{"bandproof judgement 1", topology.Name, j.Reference, j.Mean, j.Error, j.ErrorPPM, j.Limit.Resolution, j.Limit.Total, j.LimitPPM, j.Limit.Terms,
		j.Reported.Standard, finite(j.Reported.DegreesOfFreedom), j.Reported.CoverageFactor, j.Reported.Expanded, j.Decision.Expanded, j.Bench.Expanded, j.ReportedBudget,
		j.TUR, j.TURWithUnit, j.Conformity, j.Risks, j.Bias, s.Rule.Name, s.Rule.String(), j.GuardBand, j.Verdict.Word, j.Verdict.Reason, s.Notes(j), mc}
}

func finite(dof float64) *float64 {
	if dof == 0 {
		return nil
	}
	return &dof
}

// printJudgement writes the whole reasoning as a person would.
func printJudgement(t *terminal, s procedures.Single, topology procedures.Topology, j procedures.Judgement, mc *monteCarloReport) error {
	t.print("%s", topology.Says)
	for _, note := range s.Notes(j) {
		t.print("note: %s", note)
	}
	for _, r := range s.Readings {
		t.print("reading: %s", group(r.Plain())+" Hz")
	}
	return printReasoning(t, s.Rule, j, mc)
}

// printReasoning writes how a judgement came about, from reference value to
// verdict.
func printReasoning(t *terminal, rule decision.Rule, j procedures.Judgement, mc *monteCarloReport) error {
	places := decimals(j.Limit.Resolution.Float())
	hz := func(x quantity.Exact, more int) string { return group(x.Fixed(places+more)) + " Hz" }
	t.print("reference value: %s", hz(j.Reference, 3))
	if j.Counted > 0 {
		t.print("error: mean %s − reference value = %s Hz, %s ppm", hz(j.Mean, 1), signed(j.Error.Fixed(places+2)), signed(j.Error.Quo(j.Reference).Mul(quantity.ExactInt(1_000_000)).Fixed(4)))
	}
	w := tabwriter.NewWriter(t, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "limit:")
	for _, x := range j.Limit.Terms {
		fmt.Fprintf(w, "  %s\t%s\t%s\n", x.Name, x.How, hz(x.Hz, 3))
	}
	fmt.Fprintf(w, "  total\t\t%s, %s ppm\n", hz(j.Limit.Total, 3), number(j.LimitPPM, 4))
	if err := w.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	table, err := j.ReportedBudget.Table(nil)
	if err != nil {
		return err
	}
	t.print("uncertainty budget (Hz):")
	if err := printLines(t, table.Rows, nil); err != nil {
		return err
	}
	t.print("effective degrees of freedom: %s; k = %.2f for %.2f %%", degrees(j.Reported.DegreesOfFreedom), j.Reported.CoverageFactor, uncertainty.Coverage*100)
	if y, u, ok := uncertainty.Report(j.Error.Sub(j.Bias), quantity.ExactFloat(j.Reported.Expanded)); ok && j.Counted > 0 {
		t.print("to be reported: error %s Hz ± %s Hz", group(y), group(u))
	}
	t.print("for the decision, without the quantisation that the limit allows: U = %s Hz", number(j.Decision.Expanded, 2))
	printMonteCarlo(t, mc, "Hz")
	t.print("test uncertainty ratio: %s", turText(j.TUR))
	t.print("decision rule: %s; guard band w = %s Hz", rule, number(j.GuardBand.Float(), 3))
	if r := j.Risks; r != nil {
		t.print("probability of conformity: %s; risk if accepted (consumer's): %s; if rejected (producer's): %s", share(*j.Conformity), share(r.Consumer), share(r.Producer))
		if r.GlobalFalseAccept != nil {
			t.print("over such units: false accept %s, false reject %s", share(*r.GlobalFalseAccept), share(*r.GlobalFalseReject))
		}
	}
	t.print("verdict: %s", j.Verdict)
	return nil
}

func turText(tur *float64) string {
	switch {
	case tur == nil:
		return "not limited (nothing of the bench enters)"
	case *tur < 1:
		return number(*tur, 3) + "; below 1 a point can't pass: a better reference is needed"
	case *tur < 4:
		return number(*tur, 3) + "; below 4: a better reference is advised, or a rule with a guard band"
	}
	return number(*tur, 3)
}

// share writes a probability; one that is nearly 0 or 1 is not rounded to it.
func share(p float64) string {
	switch {
	case p > 0 && p < 1e-6:
		return "below 0.0001 %"
	case p < 1 && p > 1-1e-4:
		return "above 99.99 %"
	}
	return fmt.Sprintf("%.3g %%", p*100)
}
