package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"

	"github.com/spf13/cobra"
)

// budgetReport is the JSON of the budget command.
type budgetReport struct {
	Schema       string                   `json:"schema"` // "bandproof budget 1"
	Name         string                   `json:"name"`
	Unit         string                   `json:"unit"`
	Rows         []uncertainty.Row        `json:"contributions"`
	Correlations []uncertainty.Covariance `json:"correlations,omitempty"`
	Standard     float64                  `json:"standard_uncertainty"`
	// DegreesOfFreedom is left out for infinitely many.
	DegreesOfFreedom float64 `json:"effective_degrees_of_freedom,omitempty"`
	Coverage         float64 `json:"coverage_probability"`
	K                float64 `json:"coverage_factor"`
	Expanded         float64 `json:"expanded_uncertainty"`
	// Reported is Expanded with two significant digits.
	Reported   string            `json:"reported_uncertainty"`
	Notes      []string          `json:"notes,omitempty"`
	MonteCarlo *monteCarloReport `json:"monte_carlo,omitempty"`
}

type monteCarloReport struct {
	uncertainty.Sample
	Validation uncertainty.Validation `json:"validation"`
}

func budgetCommand(t *terminal) *cobra.Command {
	var asJSON, monteCarlo bool
	var o uncertainty.Options
	c := &cobra.Command{
		Use:   "budget FILE.toml",
		Short: "combine a free-standing uncertainty budget and show how",
		Long: "combine a free-standing uncertainty budget (JCGM 100) and show every line of it; see \"bandproof schema budget\" for the file.\n\n" +
			"With --monte-carlo the distributions are propagated as well (JCGM 101), and the exit code is 0 where that validates the\n" +
			"first-order result, 1 where it doesn't, 3 where the trials are too few to tell.",
		Args: exactly(1, "a budget file"),
		RunE: func(c *cobra.Command, args []string) error {
			for _, flag := range []string{"trials", "seed"} {
				if c.Flags().Changed(flag) && !monteCarlo {
					return usage{fmt.Errorf("--%s: only with --monte-carlo", flag)}
				}
			}
			if c.Flags().Changed("trials") && (o.Trials < uncertainty.LeastTrials || o.Trials > uncertainty.MostTrials) {
				return usage{fmt.Errorf("--trials: %d; expected %d to %d", o.Trials, uncertainty.LeastTrials, uncertainty.MostTrials)}
			}
			text, err := readFile(args[0], "budget")
			if err != nil {
				return err
			}
			f, err := uncertainty.Load(args[0], text)
			if err != nil {
				return err
			}
			r, err := newBudgetReport(f)
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if monteCarlo {
				s, v, err := f.Budget().Confirm(c.Context(), f.Correlations, o)
				if err != nil {
					return fmt.Errorf("%s: %w", args[0], err)
				}
				r.MonteCarlo = &monteCarloReport{s, v}
			}
			if asJSON {
				err = t.json(r)
			} else {
				err = printBudget(t, r)
			}
			if err != nil {
				return err
			}
			return r.outcome()
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the budget as JSON (schema \"bandproof budget 1\")")
	c.Flags().BoolVar(&monteCarlo, "monte-carlo", false, "confirm the result by propagation of distributions")
	c.Flags().IntVar(&o.Trials, "trials", 0, fmt.Sprintf("Monte Carlo trials, %d to %d (%d unless stated, and %d where those can't decide)",
		uncertainty.LeastTrials, uncertainty.MostTrials, uncertainty.DefaultTrials, uncertainty.MostTrials))
	c.Flags().Uint64Var(&o.Seed, "seed", 1, "seed of the Monte Carlo generator")
	return c
}

func newBudgetReport(f *uncertainty.File) (budgetReport, error) {
	table, err := f.Budget().Table(f.Correlations)
	if err != nil {
		return budgetReport{}, err
	}
	u := table.Result
	r := budgetReport{
		Schema: uncertainty.FileSchema, Name: f.Name, Unit: f.Unit, Rows: table.Rows, Correlations: table.Covariances, Notes: table.Notes,
		Standard: u.Standard, DegreesOfFreedom: u.DegreesOfFreedom, Coverage: uncertainty.Coverage, K: u.CoverageFactor, Expanded: u.Expanded,
		Reported: "0",
	}
	if rounded, places, ok := uncertainty.TwoDigits(quantity.ExactFloat(u.Expanded)); ok {
		r.Reported = uncertainty.Decimal(rounded, places)
	}
	return r, nil
}

// outcome is nil unless the first-order result is not validated.
func (r budgetReport) outcome() error {
	switch {
	case r.MonteCarlo == nil || r.MonteCarlo.Validation.Outcome == uncertainty.Validated:
		return nil
	case r.MonteCarlo.Validation.Outcome == uncertainty.NotDecided:
		return outcome{code: exitOpen}
	}
	return outcome{code: exitFailed}
}

// printBudget lays the budget out for a person.
func printBudget(t *terminal, r budgetReport) error {
	t.print("budget: %s", r.Name)
	t.print("unit of the result: %s", r.Unit)
	t.print("")
	if err := printLines(t, r.Rows, r.Correlations); err != nil {
		return err
	}
	t.print("")
	t.print("combined standard uncertainty: u = %s %s", figures(r.Standard, 4), r.Unit)
	t.print("effective degrees of freedom: %s", degrees(r.DegreesOfFreedom))
	t.print("coverage factor: k = %.3f for %.2f %%", r.K, r.Coverage*100)
	t.print("expanded uncertainty: U = %s %s", figures(r.Expanded, 4), r.Unit)
	t.print("to be reported: U = %s %s", group(r.Reported), r.Unit)
	for _, n := range r.Notes {
		t.print("note: %s", n)
	}
	printMonteCarlo(t, r.MonteCarlo, r.Unit)
	return nil
}

// printLines writes the lines of a budget as a table that an assessor can follow.
func printLines(t *terminal, rows []uncertainty.Row, correlations []uncertainty.Covariance) error {
	w := tabwriter.NewWriter(t, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "name\tvalue\tdistribution\tdivisor\tu\tsensitivity\tcontribution\tdegrees of freedom\tshare/%\tsource")
	for _, x := range rows {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", x.Name, figures(x.Value, 6), x.Distribution, figures(x.Divisor, 4), figures(x.Standard, 4),
			figures(x.Sensitivity, 5), figures(x.Contribution, 4), degrees(x.DegreesOfFreedom), shareOf(x.Share), x.Source)
	}
	for _, x := range correlations {
		fmt.Fprintf(w, "%s with %s\tr = %s\tcorrelation\t\t\t\t\t\t%s\t\n", x.A, x.B, figures(x.R, 4), shareOf(x.Share))
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	return nil
}

// printLevelBudget writes the budget of a level.
func printLevelBudget(t *terminal, b uncertainty.Budget) error {
	table, err := b.Table(nil)
	if err != nil {
		return err
	}
	t.print("uncertainty budget of the level at the input (dB):")
	if err := printLines(t, table.Rows, nil); err != nil {
		return err
	}
	t.print("level at the input: U = %s dB (k = %.3g)", number(table.Result.Expanded, 2), table.Result.CoverageFactor)
	return nil
}

func printMonteCarlo(t *terminal, m *monteCarloReport, unit string) {
	if m == nil {
		return
	}
	t.print("")
	t.print("monte carlo: %d trials, seed %d", m.Trials, m.Seed)
	if m.Standard != nil {
		t.print("  standard uncertainty: %s %s", figures(*m.Standard, 4), unit)
	} else {
		t.print("  standard uncertainty: none (a contribution has two degrees of freedom or fewer)")
	}
	for _, x := range []struct {
		name string
		ends [2]float64
	}{{"symmetric", m.Symmetric}, {"shortest", m.Shortest}} {
		t.print("  %s %.2f %% interval: %s to %s %s", x.name, m.Coverage*100, figures(x.ends[0], 4), figures(x.ends[1], 4), unit)
	}
	t.print("  first order %s: %s", m.Validation.Outcome, m.Validation.Reason)
}

// figures writes x with n significant digits, with an exponent where x is very
// large or small.
func figures(x float64, n int) string {
	if x == 0 {
		return "0" // no minus before a zero
	}
	mantissa, exponent, large := strings.Cut(strconv.FormatFloat(x, 'g', n, 64), "e")
	if large {
		e, _ := strconv.Atoi(exponent) // FormatFloat always writes one
		mantissa += "e" + strconv.Itoa(e)
	}
	return group(mantissa)
}

// shareOf writes a share in %.
func shareOf(x float64) string {
	s := strconv.FormatFloat(x, 'f', 1, 64)
	if s == "-0.0" {
		s = "0.0"
	}
	return group(s)
}

// degrees writes degrees of freedom, of which nobody needs more than a tenth.
func degrees(nu float64) string {
	switch {
	case nu == 0:
		return "infinite"
	case nu == math.Trunc(nu) && nu < 1e6:
		return strconv.FormatFloat(nu, 'f', 0, 64)
	case nu < 1000:
		return strconv.FormatFloat(nu, 'f', 1, 64)
	}
	return figures(nu, 3)
}
