package main

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/reports/history"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/spf13/cobra"
)

func recordsCompare(t *terminal, file *string) *cobra.Command {
	var anyway, changed, asJSON bool
	c := &cobra.Command{Use: "compare A B", Short: "set two records of one unit side by side",
		Long: `Set two records of one unit side by side: as-found against as-left, or one year
against the other. For each point, and each finding of another measurement, both
errors, the change from A to B with its expanded uncertainty, and what crossed its
limit.

Where both rest on one reference with one certificate, the calibration of that
reference is the same error in both and cancels; all other contributions are taken
as independent (root of the sum of squares).`,
		Args: exactly(2, "the ids of two records"),
		RunE: func(c *cobra.Command, args []string) error {
			return withStore(c, *file, func(s *store.Store) error {
				a, err := s.Record(c.Context(), args[0])
				if err != nil {
					return err
				}
				b, err := s.Record(c.Context(), args[1])
				if err != nil {
					return err
				}
				if a.ID == b.ID {
					return usage{fmt.Errorf("%s and %s are the same record, %s; name two", args[0], args[1], a.ID)}
				}
				x := history.Compare(a, b, anyway)
				if err := corrected(c.Context(), s, &x); err != nil {
					return err
				}
				if len(x.Against) > 0 && !anyway {
					return usage{fmt.Errorf("these two can't be compared:\n  %s\n--anyway sets them side by side nevertheless", strings.Join(x.Against, "\n  "))}
				}
				if asJSON {
					return t.json(x)
				}
				return t.comparison(x, changed)
			})
		}}
	c.Flags().BoolVar(&anyway, "anyway", false, "compare also what differs in unit, procedure or reference topology")
	c.Flags().BoolVar(&changed, "changed", false, "list only what changed by more than its uncertainty or crossed its limit")
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON (schema \"bandproof comparison 1\")")
	return c
}

// corrected notes where another record has taken the place of one of the two.
func corrected(ctx context.Context, s *store.Store, x *history.Comparison) error {
	for _, side := range []struct {
		name string
		r    history.Compared
	}{{"A", x.A}, {"B", x.B}} {
		rows, err := s.List(ctx, store.Query{Serial: side.r.Serial})
		if err != nil {
			return err
		}
		for _, row := range rows {
			if row.ID == side.r.Record && row.CorrectedBy != "" {
				x.Notes = append(x.Notes, fmt.Sprintf("%s is corrected by record %s, which takes its place", side.name, row.CorrectedBy))
			}
		}
	}
	return nil
}

// comparison lays two records out, the summary on top.
func (t *terminal) comparison(x history.Comparison, changed bool) error {
	if x.Invented {
		t.print("INVENTED: a virtual bench, no real unit")
	}
	for _, r := range []struct {
		name string
		r    history.Compared
	}{{"A", x.A}, {"B", x.B}} {
		t.print("%s: %s %s of %s, serial %s: %s", r.name, r.r.Kind, shortID(r.r.Record), r.r.At.UTC().Format(time.DateOnly), named(r.r.Serial), r.r.Statement)
	}
	s := x.Summary
	t.print("in both: %d; changed by more than the uncertainty of the change: %d; went out of tolerance: %d; came into tolerance: %d; not compared: %d", s.Both, s.Changed, s.Out, s.In, s.NotCompared)
	for _, only := range []struct {
		name string
		list []string
	}{{"A", x.OnlyA}, {"B", x.OnlyB}} {
		if len(only.list) > 0 {
			t.print("only in %s: %s", only.name, strings.Join(only.list, "; "))
		}
	}
	for _, n := range x.Against {
		t.print("differs: %s", n)
	}
	for _, n := range x.Notes {
		t.print("note: %s", n)
	}
	w := t.table()
	fmt.Fprintln(w, "\t\tA\tB\tchange\tU (change)\tchange/U\tlimit\tverdicts")
	common, rows := map[string]bool{}, 0
	for _, r := range x.Rows {
		if changed && r.Crossed == "" && (r.Ratio == nil || *r.Ratio <= 1) {
			continue
		}
		rows++
		for _, name := range r.Common {
			common[name] = true
		}
		fmt.Fprintln(w, visible(compareLine(r)))
	}
	if rows > 0 {
		if err := w.Flush(); err != nil {
			return err
		}
	}
	return t.afterComparison(common, rows)
}

func (t *terminal) afterComparison(common map[string]bool, rows int) error {
	if rows == 0 {
		t.print("nothing to list")
		return nil
	}
	t.print("change/U: the change relative to its expanded uncertainty (95.45 %%); above 1 it is more than the uncertainty explains")
	if len(common) > 0 {
		t.print("U (change): the calibration of %s is the same error in both and cancels; all else is taken as independent", strings.Join(slices.Sorted(maps.Keys(common)), ", "))
	} else {
		t.print("U (change): all contributions are taken as independent (root of the sum of squares)")
	}
	return nil
}

// compareLine is one row of the table.
func compareLine(r history.Change) string {
	unit, scale := shownIn(r.Unit)
	show := func(x *quantity.Exact, u float64) string {
		if x == nil {
			return "-"
		}
		return shownValue(x.Mul(scale), u*scale.Float())
	}
	cells := []string{r.Name, unit, show(r.A.Value, r.A.Expanded), show(r.B.Value, r.B.Expanded), "-", "-", "-", "-"}
	if r.Change != nil {
		cells[4], cells[5] = signedPlain(show(r.Change, r.U.Expanded)), shownU(r.U.Expanded*scale.Float())
	}
	if r.Ratio != nil {
		cells[6] = fmt.Sprintf("%.2f", *r.Ratio)
	}
	cells[7] = comparedLimits(r, scale)
	words := ""
	if r.A.Verdict.Word != "" || r.B.Verdict.Word != "" {
		words = fmt.Sprintf("%s, %s", wordOr(string(r.A.Verdict.Word)), wordOr(string(r.B.Verdict.Word)))
	}
	var remarks []string
	for _, x := range []string{strings.ToUpper(r.Crossed), r.Why, r.Differs} {
		if x != "" {
			remarks = append(remarks, x)
		}
	}
	return strings.Join(append(cells, words, strings.Join(remarks, "; ")), "\t")
}

// comparedLimits are both, that of A first, unless they are the same: each verdict
// went by its own.
func comparedLimits(r history.Change, scale quantity.Exact) string {
	var list []string
	for _, x := range []history.Found{r.A, r.B} {
		text := "-"
		if x.Limit != nil {
			text = shownLimit(*x.Limit, x.Side, scale)
		}
		list = append(list, text)
	}
	if list[0] == list[1] {
		return list[0]
	}
	return strings.Join(list, ", ")
}

// shownLimit is a limit with the side on which it is good.
func shownLimit(limit quantity.Exact, side runner.Side, scale quantity.Exact) string {
	x := limit.Mul(scale).Float()
	number := short4(x)
	if x >= 1e4 && x < 1e12 { // 14880 beside an error of -11400, no power of ten
		number = strconv.FormatFloat(x, 'f', 0, 64)
	}
	if side == runner.Within {
		return "±" + number
	}
	return string(side) + " " + number
}

func wordOr(word string) string {
	if word == "" {
		return "-"
	}
	return word
}

func named(serial string) string {
	if serial == "" {
		return "not stated"
	}
	return serial
}

// shownIn is the unit that a person reads, and what a number is multiplied with
// for it.
func shownIn(unit string) (string, quantity.Exact) {
	switch unit {
	case "1":
		return "ppm", quantity.ExactInt(1_000_000)
	case "1/d":
		return "ppm/d", quantity.ExactInt(1_000_000)
	}
	return unit, quantity.ExactInt(1)
}

// shownValue rounds to the place of the second digit of u; without u to four digits.
func shownValue(x quantity.Exact, u float64) string {
	if y, _, ok := uncertainty.Report(x, quantity.ExactDecimal(u)); ok {
		return y
	}
	return short4(x.Float())
}

func shownU(u float64) string {
	if _, text, ok := uncertainty.Report(quantity.Exact{}, quantity.ExactDecimal(u)); ok {
		return text
	}
	return "0"
}

// signedPlain puts a plus before what has no minus, but for zero.
func signedPlain(number string) string {
	if strings.HasPrefix(number, "-") || strings.Trim(number, "0.") == "" {
		return number
	}
	return "+" + number
}
