package main

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"bandproof/procedures/quantity"
	"bandproof/reports/chart"
	"bandproof/runner/stability"

	"github.com/spf13/cobra"
)

// stabilityFlags are the flags of the command as written.
type stabilityFlags struct {
	data, tau0, deadTime, deviations, averaging string
	column, gap, confidence, nominal            string
	fits                                        []string
	removeDrift, asJSON                         bool
	plot                                        string
}

// stabilityTable is the printed form of a result (schema "bandproof stability 1").
type stabilityTable struct {
	Schema       string             `json:"schema"`
	File         string             `json:"file"`
	Data         stability.Kind     `json:"data"`
	Tau0         quantity.Duration  `json:"tau0"`
	DeadTime     quantity.Duration  `json:"dead_time"`
	Count        int                `json:"count"`
	Gaps         int                `json:"gaps"`
	Confidence   float64            `json:"confidence"`
	Drift        *stability.Drift   `json:"drift"`
	DriftRemoved bool               `json:"drift_removed"`
	Rows         []stability.Row    `json:"rows"`
	Fits         []*stability.Curve `json:"fits,omitempty"`
	Notes        []string           `json:"notes"`
}

// fitters are the curves that --fit names.
var fitters = map[string]func(times, values []float64) (*stability.Curve, error){
	"linear": stability.FitLinear, "logarithmic": stability.FitLogarithmic, "warm-up": stability.FitWarmUp,
}

func stabilityCommand(t *terminal) *cobra.Command {
	var f stabilityFlags
	c := &cobra.Command{
		Use:   "stability FILE",
		Short: "deviations of the Allan family, drift and ageing from a file of values",
		Long: `Compute deviations of the Allan family with noise type and confidence interval,
drift, and on demand ageing or warm-up, from a file of values at equal distances.

The file has one value a line, or, with --column, the named column of a CSV file
with a header. The word NaN stands for a missing value.`,
		Args: exactly(1, "a file of values"),
		RunE: func(c *cobra.Command, args []string) error {
			table, err := f.table(c.Context(), args[0])
			if err != nil {
				return usageUnless(c.Context(), err)
			}
			if f.plot != "" {
				if err := f.draw(table); err != nil {
					return err
				}
			}
			if f.asJSON {
				return t.json(table)
			}
			return printStability(t, table)
		},
	}
	c.Flags().StringVar(&f.data, "data", "frequency", "what the values are: frequency, or phase in seconds")
	c.Flags().StringVar(&f.tau0, "tau0", "", "time from one value to the next, such as \"1 s\" (required)")
	c.Flags().StringVar(&f.deadTime, "dead-time", "", "part of each tau0 in which nothing is measured, such as \"20 ms\"; noted, not corrected for")
	c.Flags().StringVar(&f.deviations, "deviation", "oadev", "list of adev, oadev, mdev, tdev, hdev, ohdev, totdev")
	c.Flags().StringVar(&f.averaging, "averaging", "octave", "list of averaging factors such as 1,10,100, or octave or decade")
	c.Flags().StringVar(&f.column, "column", "", "name of the column of a CSV file with a header")
	c.Flags().StringVar(&f.gap, "gap", "", "a further text that stands for a missing value, besides NaN")
	c.Flags().StringVar(&f.nominal, "nominal", "", "values are frequencies in Hz; take their fractional difference from this one, such as \"10 MHz\"")
	c.Flags().StringVar(&f.confidence, "confidence", "95.45 %", "confidence of the intervals")
	c.Flags().BoolVar(&f.removeDrift, "remove-drift", false, "take the linear drift off first")
	c.Flags().StringSliceVar(&f.fits, "fit", nil, "fit curves to frequency against time: list of linear, logarithmic, warm-up")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print the table as JSON (schema \"bandproof stability 1\")")
	c.Flags().StringVar(&f.plot, "plot", "", "draw the deviations into this file: .svg, .png or .pdf")
	return c
}

// usageUnless makes an error one of usage or input, but for an interruption.
func usageUnless(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return outcome{code: exitOpen, err: fmt.Errorf("interrupted: %w", err)}
	}
	return usage{err}
}

// table checks the flags, reads the file and computes.
func (f *stabilityFlags) table(ctx context.Context, file string) (*stabilityTable, error) {
	s, q, err := f.request()
	if err != nil {
		return nil, err
	}
	nominal, err := f.reference()
	if err != nil {
		return nil, err
	}
	text, err := readFile(file, "data")
	if err != nil {
		return nil, err
	}
	if s.Values, err = stability.Read(bytes.NewReader(text), stability.Format{Column: f.column, Gap: f.gap}); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if f.nominal != "" {
		stability.Fractional(s.Values, nominal.Float())
	}
	r, err := stability.Analyse(ctx, s, q)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	table := &stabilityTable{Schema: "bandproof stability 1", File: filepath.Base(file), Data: s.Kind, Tau0: s.Tau0, DeadTime: s.DeadTime, Count: r.Count,
		Gaps: r.Gaps, Confidence: r.Confidence, Drift: r.Drift, DriftRemoved: r.Removed, Rows: r.Rows, Notes: append([]string{}, r.Notes...)}
	times, values := s.Frequencies()
	for _, name := range f.fits {
		curve, err := fitters[name](times, values)
		if err != nil {
			return nil, fmt.Errorf("%s: --fit: %w", file, err)
		}
		table.Fits = append(table.Fits, curve)
	}
	return table, nil
}

// request reads the flags; nothing is opened before they are good.
func (f *stabilityFlags) request() (s stability.Series, q stability.Request, err error) {
	wrong := func(flag string, e error) {
		if err == nil && e != nil {
			err = fmt.Errorf("--%s: %w", flag, e)
		}
	}
	var e error
	s.Kind, e = stability.ParseKind(f.data)
	wrong("data", e)
	if f.tau0 == "" {
		wrong("tau0", fmt.Errorf("is not stated; expected the time from one value to the next, such as \"1 s\""))
	}
	s.Tau0, e = quantity.Parse[quantity.Second](f.tau0)
	wrong("tau0", e)
	if f.deadTime != "" {
		s.DeadTime, e = quantity.Parse[quantity.Second](f.deadTime)
		wrong("dead-time", e)
	}
	q.Deviations, e = stability.ParseDeviations(f.deviations)
	wrong("deviation", e)
	q.Averaging, e = stability.ParseAveraging(f.averaging)
	wrong("averaging", e)
	confidence, e := quantity.Parse[quantity.One](f.confidence)
	wrong("confidence", e)
	if q.Confidence = confidence.Float(); !(q.Confidence > 0 && q.Confidence < 1) {
		wrong("confidence", fmt.Errorf("is %s; expected a share above 0 and below 100 %%", f.confidence))
	}
	q.RemoveDrift = f.removeDrift
	for _, name := range f.fits {
		if fitters[name] == nil {
			wrong("fit", fmt.Errorf("%q is no fit; expected linear, logarithmic or warm-up", name))
		}
	}
	if f.plot != "" && !slices.Contains(chart.Formats, format(f.plot)) {
		wrong("plot", fmt.Errorf("%q names no format; expected a file ending in .svg, .png or .pdf", f.plot))
	}
	return s, q, err
}

// reference reads --nominal.
func (f *stabilityFlags) reference() (quantity.Frequency, error) {
	if f.nominal == "" {
		return quantity.Frequency{}, nil
	}
	v, err := quantity.Parse[quantity.Hertz](f.nominal)
	switch {
	case err != nil:
		return v, fmt.Errorf("--nominal: %w", err)
	case v.Sign() <= 0:
		return v, fmt.Errorf("--nominal: is %s; expected a frequency above zero", v)
	case f.data == string(stability.Phase):
		return v, fmt.Errorf("--nominal: goes with --data frequency only")
	}
	return v, nil
}

func format(file string) string { return strings.TrimPrefix(strings.ToLower(filepath.Ext(file)), ".") }

// draw writes the picture whole or not at all.
func (f *stabilityFlags) draw(table *stabilityTable) error {
	var picture bytes.Buffer
	err := chart.Write(&picture, format(f.plot), chart.Chart{Title: fmt.Sprintf("%s: %d values of %s, tau0 %s", table.File, table.Count, table.Data, table.Tau0),
		Confidence: table.Confidence, Rows: table.Rows})
	if err != nil {
		return usage{fmt.Errorf("--plot: %w", err)}
	}
	if err := writeFile(f.plot, picture.Bytes()); err != nil {
		return usage{fmt.Errorf("--plot: %w", err)}
	}
	return nil
}

// printStability lays the table out for a person.
func printStability(t *terminal, s *stabilityTable) error {
	gaps := ""
	if s.Gaps > 0 {
		gaps = fmt.Sprintf(", %d missing", s.Gaps)
	}
	t.print("%s: %d values of %s%s, tau0 %s", s.File, s.Count, s.Data, gaps, s.Tau0)
	if d := s.Drift; d != nil {
		removed := ""
		if s.DriftRemoved {
			removed = ", removed"
		}
		t.print("drift: %s per day, standard uncertainty %s (%d degrees of freedom)%s", short4(d.SlopePerDay), short4(d.PerDayStandard), d.Freedom, removed)
	}
	for _, c := range s.Fits {
		t.print("fit %s (t in s; scatter %s)", c.Model, short4(c.Scatter))
		for _, p := range c.Parameters {
			t.print("  %s = %s, standard uncertainty %s", p.Name, strconv.FormatFloat(p.Value, 'g', 7, 64), short4(p.Standard))
		}
	}
	t.print("intervals: %.4g %% confidence", s.Confidence*100)
	w := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "deviation\taveraging\ttau/s\tn\tvalue\tlower\tupper\tnoise\tedf\t")
	for _, r := range s.Rows {
		fmt.Fprintf(w, "%s\t%d\t%s\t%d\t%.6e\t%.3e\t%.3e\t%s\t%.1f\t\n", r.Deviation, r.Averaging, strconv.FormatFloat(r.Tau, 'g', 6, 64), r.N, r.Value, r.Lower, r.Upper, r.Noise, r.Freedom)
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	for _, n := range s.Notes {
		t.print("note: %s", n)
	}
	return nil
}

func short4(x float64) string { return strconv.FormatFloat(x, 'g', 4, 64) }
