package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"bandproof/procedures"

	"github.com/spf13/cobra"
)

func planCommand(t *terminal) *cobra.Command {
	var asJSON bool
	var point string
	var only []string
	var job jobFlags
	c := &cobra.Command{
		Use:   "plan PROCEDURE BENCH",
		Short: "show every point with its limit, level and time, and what cannot be shown",
		Args:  exactly(2, "a procedure file and a bench file"),
		RunE: func(c *cobra.Command, args []string) error {
			f, err := loadFiles(args[0], args[1])
			if err != nil {
				return err
			}
			j, err := job.load(c)
			if err != nil {
				return err
			}
			plan, err := f.plan(time.Now(), j.Adjusted)
			if err == nil {
				err = f.restrict(plan, only)
			}
			if err != nil {
				return err
			}
			if asJSON {
				return t.json(plan)
			}
			if point != "" {
				return printPlannedLevel(t, f, plan, point)
			}
			return printPlan(t, f, plan)
		},
	}
	onlyFlag(c, &only)
	c.Flags().BoolVar(&asJSON, "json", false, "print the plan as JSON (schema \"bandproof plan 1\")")
	c.Flags().StringVar(&point, "point", "", "show how uncertain the level at one point is, and why, such as B-007")
	c.MarkFlagsMutuallyExclusive("json", "point")
	job.file(c)
	return c
}

// printPlannedLevel shows one point's level with its budget.
func printPlannedLevel(t *terminal, f *files, p *procedures.Plan, id string) error {
	for _, x := range p.Points {
		if x.ID != id {
			continue
		}
		i, _ := f.procedure.Input(x.Input)
		b, err := f.bench.LevelBudget(i, x)
		if err != nil {
			return err
		}
		t.print("point %s: %s at %s, source %s at %s, connector %s, input %s", x.ID, x.Input, x.Frequency, x.Source, x.Levels.Source, x.Levels.Connector, x.Levels.Input)
		return printLevelBudget(t, b)
	}
	return usage{fmt.Errorf("the plan has no point %q; points are such as %s", id, p.Points[0].ID)}
}

// printPlan lays the plan out for a person.
func printPlan(t *terminal, f *files, p *procedures.Plan) error {
	t.print("procedure: %s, revision %s", p.Procedure, p.Revision)
	t.print("bench: %s", p.Bench)
	for name, x := range sorted(p.Topology) {
		t.print("source %s: %s", name, x.Says)
	}
	printAids(t, f, p)
	t.print("timebase: %s ppm (%s)", number(p.Timebase.Float()*1e6, 4), p.TimebaseHow)
	if u := f.procedure.WarmUpUntil; u != nil && p.WarmUp != nil {
		t.print("warm-up: %s, read every %s through %s; at most %s, then: %s", u, u.Every, p.WarmUp.Path, u.Longest, u.Otherwise)
	}
	if w := f.procedure.WarmUp; w.Sign() > 0 {
		t.print("warm-up: the unit must be on for %s before the first point (--on-for states how long it has been)", w)
	}
	t.print("decision rule: %s", p.Rule)
	w := tabwriter.NewWriter(t, 0, 0, 2, ' ', tabwriter.AlignRight)
	for _, i := range p.Inputs {
		fmt.Fprintf(w, "\ninput %s\t\n", i.Input)
		fmt.Fprintln(w, "point\tfrequency\tsource\tset\tconnector\tinput\tU/dB\tgate\tn\tlimit/Hz\tlimit/ppm\tTUR\ttime/s\t")
		for _, x := range p.Points {
			if x.Input != i.Input {
				continue
			}
			tur := "not limited"
			if x.TUR != nil {
				tur = number(*x.TUR, 3)
			}
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t\n", x.ID, x.Frequency, x.Source, x.Levels.Source, x.Levels.Connector, x.Levels.Input, number(x.LevelU, 2),
				x.Gate, readings(x), number(x.Limit.Total.Float(), 4), number(x.LimitPPM, 4), tur, number(x.Seconds, 3))
		}
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	if err := printTasks(t, p.Tasks); err != nil {
		return err
	}
	t.print("")
	for _, i := range p.Inputs {
		t.print("input %s: %.1f %% of the range covered (logarithm of frequency)", i.Input, i.Coverage.Share*100)
		for _, n := range i.NotShown {
			t.print("  not shown: %s", n)
		}
		for _, s := range i.Coverage.Open {
			if !s.PlannedOut(i.NotShown) {
				t.print("  not covered: %s to %s: no points, or further apart than max_gap, or a crossover between them", s.From, s.To)
			}
		}
	}
	for _, i := range p.Inputs {
		n, sources := p.Repeatable(i.Input)
		if n > 0 {
			t.print("input %s: %d points can be repeated with source %s if they fail", i.Input, n, strings.Join(sources, " or "))
		}
	}
	for _, x := range p.Warnings {
		t.print("warning: %s", x)
	}
	for _, d := range p.PastDue {
		t.print("overdue: %s; a run stops before the first point unless --accept-overdue %q is given", d, d.Name)
	}
	f.people(t)
	t.print("%s, %d cables to move, about %s minutes", planned(p), p.Moves, minutes(p.Minutes))
	if minutes(p.FixedMinutes) != minutes(p.Minutes) {
		t.print("with the longest gates and all readings it would be about %s minutes", minutes(p.FixedMinutes))
	}
	return nil
}

// planned counts points, and tasks where there are any.
func planned(p *procedures.Plan) string {
	if len(p.Tasks) == 0 {
		return fmt.Sprintf("%d points", len(p.Points))
	}
	return fmt.Sprintf("%d points, %d tasks of other measurements", len(p.Points), len(p.Tasks))
}

func minutes(m float64) string { return strings.TrimSuffix(fmt.Sprintf("%.1f", m), ".0") }

// readings writes how often a point is read: "2-3" where two may do.
func readings(p procedures.Point) string {
	if p.EarlyStop != nil && p.EarlyStop.Least < p.Readings {
		return fmt.Sprintf("%d-%d", p.EarlyStop.Least, p.Readings)
	}
	return strconv.Itoa(p.Readings)
}

// number writes x with n significant digits and without an exponent, grouped.
func number(x float64, n int) string {
	if x == 0 || math.IsInf(x, 0) || math.IsNaN(x) {
		return fmt.Sprint(x)
	}
	places := n - 1 - int(math.Floor(math.Log10(math.Abs(x))))
	scale := math.Pow(10, float64(places))
	return group(strconv.FormatFloat(math.Round(x*scale)/scale, 'f', max(places, 0), 64))
}
