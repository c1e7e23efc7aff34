package main

import (
	"bytes"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"bandproof/procedures/quantity"
	"bandproof/reports/history"
)

// Size of the field of a plot in characters.
const plotWidth, plotHeight = 66, 15

// history lays the history of a unit out; s is what is shown in full.
func (t *terminal) history(h history.History, s *history.Series) error {
	if h.Invented {
		t.print("INVENTED: a virtual bench, no real unit")
	}
	asset := ""
	if h.Asset != "" {
		asset = ", asset " + h.Asset
	}
	t.print("%s: %s", joined(", ", strings.TrimSpace(h.Maker+" "+h.Model), "serial "+named(h.Serial)+asset), countOf(len(h.Runs), "run"))
	w := t.table()
	for _, r := range h.Runs {
		from := shortID(r.Record)
		if r.Imported != "" {
			from = "IMPORTED: " + r.Imported
		}
		fmt.Fprintln(w, visible(fmt.Sprintf("  %s\t%s\t%s\t%s", date(r.At), r.Kind, from, joined("; ", string(r.Statement), r.Note))))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for _, n := range h.LeftOut {
		t.print("left out: %s", n)
	}
	for _, n := range h.Notes {
		t.print("note: %s", n)
	}
	if s != nil {
		if err := t.series(h, *s); err != nil {
			return err
		}
	}
	if err := t.drifts(h, s); err != nil {
		return err
	}
	t.recommendation(h.Interval)
	return nil
}

// table lines up cells that tabs part, without spaces at the ends of lines.
type table struct {
	*tabwriter.Writer
	text bytes.Buffer
	to   *terminal
}

func (t *terminal) table() *table {
	w := &table{to: t}
	w.Writer = tabwriter.NewWriter(&w.text, 0, 0, 2, ' ', 0)
	return w
}

// Flush writes the table to standard output.
func (w *table) Flush() error {
	err := w.Writer.Flush()
	for line := range strings.Lines(w.text.String()) {
		if err == nil {
			_, err = w.to.Write([]byte(strings.TrimRight(line, " \n") + "\n"))
		}
	}
	if err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	return nil
}

func date(t time.Time) string { return t.UTC().Format(time.DateOnly) }

func joined(between string, texts ...string) string {
	var list []string
	for _, x := range texts {
		if x != "" {
			list = append(list, x)
		}
	}
	return strings.Join(list, between)
}

func countOf(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// series is one result in full: values, intervals, plot, prediction.
func (t *terminal) series(h history.History, s history.Series) error {
	unit, scale := shownIn(s.Unit)
	t.print("")
	t.print("%s: %s", s.Name, s.What)
	w := t.table()
	fmt.Fprintf(w, "  \t\tfound/%s\tU\tlimit\tverdict\t\n", unit)
	for _, v := range s.Values {
		limit := "-"
		if v.Limit != nil {
			limit = shownLimit(*v.Limit, v.Side, scale)
		}
		u := "-"
		if v.Expanded > 0 {
			u = shownU(v.Expanded * scale.Float())
		}
		why := ""
		if v.Why != "" {
			why = "not fitted: " + v.Why
		}
		mark := ""
		if v.Imported != "" {
			mark = "imported"
		}
		fmt.Fprintln(w, visible(fmt.Sprintf("  %s\t%s\t%s\t%s\t%s\t%s\t%s", date(v.At), v.Run, signedPlain(shownValue(v.Found.Mul(scale), v.Expanded*scale.Float())), u, limit, wordOr(string(v.Verdict.Word)), joined("; ", v.From, mark, why))))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	if len(s.Intervals) > 0 {
		t.print("  from one calibration to the next, with nothing adjusted between:")
	}
	w = t.table()
	for _, i := range s.Intervals {
		change := shownValue(quantity.ExactDecimal(i.Change).Mul(scale), i.Expanded*scale.Float())
		fmt.Fprintf(w, "  %s %s to %s\t%.0f d\t%s ± %s %s\t%s %s per day\n", date(i.From), i.As, date(i.To), i.Days, signedPlain(change), shownU(i.Expanded*scale.Float()), unit, signedPlain(short3(i.PerDay*scale.Float())), unit)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for _, l := range courseOf(h, s).Text(plotWidth, plotHeight) {
		t.print("  %s", l)
	}
	t.print("  o as-found, x as-left (O, X imported, ? not fitted); . prediction, : its interval, - limit")
	for _, l := range driftWords(s) {
		for k, part := range wrapped(l, 100) {
			t.print("%s%s", []string{"  ", "    "}[min(k, 1)], part)
		}
	}
	return nil
}

func short3(x float64) string { return fmt.Sprintf("%.3g", x) }

// driftWords says what a drift comes to, one sentence a line.
func driftWords(s history.Series) []string {
	d := s.Drift
	if d == nil {
		return []string{s.TooFew}
	}
	unit, scale := shownIn(s.Unit)
	f := scale.Float()
	slope := shownValue(quantity.ExactDecimal(d.PerDay).Mul(scale), d.Expanded*f)
	shown := "drift is shown"
	if !d.Shown {
		shown = "no drift is shown: it is smaller than its uncertainty"
	}
	list := []string{
		fmt.Sprintf("drift %s %s per day, U = %s (95.45 %%, %s in %s, %d degrees of freedom; scatter %.2g times what the uncertainties explain): %s",
			signedPlain(slope), unit, shownU(d.Expanded*f), countOf(d.Results, "result"), stretchWords(d.Stretches), d.Freedom, d.Ratio, shown)}
	if !d.Since.IsZero() {
		return append(list, fmt.Sprintf("adjusted or repaired on %s and not measured since: where it stands is not known, and nothing is predicted", date(d.Since)))
	}
	if d.Limit == nil {
		return append(list, "no limit is stated that could be crossed")
	}
	c := d.Crossing
	limit := fmt.Sprintf("its limit of %s %s (of %s)", shownLimit(*d.Limit, d.Side, scale), unit, date(d.LimitOf))
	until := fmt.Sprintf("not up to %s, which is %d times the time that the results span; nothing is predicted beyond", date(d.Until), history.Reach)
	line := "probably crosses " + limit + " on " + date(c.Line) + " (where the line does, at even chances)"
	switch {
	case c.Beyond:
		line = "lies beyond " + limit + " already at its newest result"
	case !d.Shown:
		line = "no day for crossing " + limit + " can be told while no drift is shown"
	case c.Line.IsZero():
		line = "the line crosses " + limit + " " + until
	}
	interval := "may cross it from " + date(c.Interval) + " on (where the prediction interval of a next as-found result, 95.45 %, reaches it)"
	switch {
	case c.MayBeBeyond:
		interval = "the prediction interval reaches beyond it already at the newest result"
	case c.Interval.IsZero():
		interval = "the prediction interval of a next as-found result, 95.45 %, reaches it " + until
	}
	list = append(list, line, interval)
	if d.LimitsDiffer {
		list = append(list, "the limit is not the same for all results; that of the newest as-found one is taken to stay")
	}
	return list
}

func stretchWords(n int) string {
	if n == 1 {
		return "1 stretch without adjustment"
	}
	return fmt.Sprintf("%d stretches between adjustments", n)
}

// drifts is one line for each result.
func (t *terminal) drifts(h history.History, full *history.Series) error {
	t.print("")
	w := t.table()
	fmt.Fprintln(w, "result\tunit\tresults\tnewest\tU\tlimit\tper day\tU\tmay cross from\tprobably crosses\t")
	for _, s := range h.Series {
		unit, scale := shownIn(s.Unit)
		f := scale.Float()
		v := s.Values[len(s.Values)-1]
		cells := []string{s.Name, unit, fmt.Sprint(len(s.Values)), signedPlain(shownValue(v.Found.Mul(scale), v.Expanded*f)), shownU(v.Expanded * f), "-", "-", "-", "-", "-", ""}
		if v.Limit != nil {
			cells[5] = shownLimit(*v.Limit, v.Side, scale)
		}
		if d := s.Drift; d != nil {
			cells[6], cells[7] = signedPlain(shownValue(quantity.ExactDecimal(d.PerDay).Mul(scale), d.Expanded*f)), shownU(d.Expanded*f)
			switch {
			case d.Crossing != nil:
				cells[8], cells[9] = crossings(d)
			case !d.Since.IsZero():
				cells[10] = "adjusted or repaired since"
			}
		} else {
			cells[10] = fmt.Sprintf("too few: %s", countOf(len(s.Intervals), "interval"))
		}
		fmt.Fprintln(w, visible(strings.Join(cells, "\t")))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	if full != nil && len(h.Series) > 1 {
		t.print("--of NAME shows one of these in full")
	}
	return nil
}

func crossings(d *history.Drift) (interval, line string) {
	interval, line = date(d.Crossing.Interval), date(d.Crossing.Line)
	switch {
	case d.Crossing.MayBeBeyond:
		interval = "now"
	case d.Crossing.Interval.IsZero():
		interval = "not by " + date(d.Until)
	}
	switch {
	case d.Crossing.Beyond:
		line = "is beyond"
	case !d.Shown:
		line = "no drift shown"
	case d.Crossing.Line.IsZero():
		line = "not by " + date(d.Until)
	}
	return interval, line
}

// recommendation says what interval is advised, and that it is advice.
func (t *terminal) recommendation(r history.Recommendation) {
	t.print("")
	if r.Days == 0 {
		t.print("recommended interval: none")
	} else {
		t.print("recommended interval: %s from %s on, that is up to %s", dayWords(r.Days), date(r.From), date(r.From.AddDate(0, 0, r.Days)))
		t.print("  method: %s", r.Method)
	}
	if r.Reliability > 0 {
		t.print("  reliability at its end: %.4g %% for each result by itself", r.Reliability*100)
	}
	for _, x := range []struct {
		what string
		days int
	}{{"last interval", r.Last}, {"control chart alone", r.ControlChart}, {"staircase alone", r.Staircase}} {
		if x.days > 0 {
			t.print("  %s: %s", x.what, dayWords(x.days))
		}
	}
	for _, x := range r.Reasons {
		t.print("  - %s", x)
	}
	t.print("  This is advice. It stands on no data sheet and no label, where only a due date that the customer agreed to may stand (ISO/IEC 17025:2017, 7.8.4.3).")
}

func dayWords(n int) string {
	if n < 60 {
		return fmt.Sprintf("%d d", n)
	}
	return fmt.Sprintf("%d d (about %.0f months)", n, float64(n)/30.44)
}
