package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"bandproof/reports/diagram"
	"bandproof/reports/record"
	"bandproof/runner/isolate"

	"github.com/spf13/cobra"
)

// isolateFlags say what is known beside the record, and what to print.
type isolateFlags struct {
	store, model, answers, found, who string
	svg                               string
	saw, done                         []string
	revoke                            []int
	top                               int
	json, ask                         bool
}

func isolateCommand(t *terminal) *cobra.Command {
	var f isolateFlags
	c := &cobra.Command{
		Use:   "isolate RECORD",
		Short: "say where to look for the fault of a unit: suspects, reasons, and the next look worth taking",
		Long: `Say what a run shows and, with a block model of the unit, where to look for the
fault: ranked suspects with reasons, what the evidence can't tell apart, and the
next look worth most for its time. A RECORD is the id of a record in the store, or
a record file (JSON).

What you see at a test point counts at once, and until it is revoked:
  --saw "TP7: 400 MHz"            a frequency: compared with that of a good unit
  --saw "TP9: nothing"            or: good, low, distorted, noisy, comes and goes, wrong …
  --saw "TP7 at B 1 GHz: 31.25 MHz, low"   with another signal than was proposed
  --saw "TP1: 10.00004 MHz ± 1 Hz"         good within 1 Hz instead of 1 in 10,000
It is kept in the store's bench log, or for a record file in the file of --answers.
--ask proposes one look after the other and takes what you see.`,
		Args: exactly(1, "a record: its id in the store, or a file"),
		RunE: func(c *cobra.Command, args []string) error { return isolated(c, t, args[0], f) },
	}
	storeFlag(c, &f.store, false, "the records, and what was seen at test points")
	c.Flags().StringVar(&f.model, "model", "", "block model of the unit (TOML); \"bandproof schema block-model\" has its schema")
	c.Flags().StringArrayVar(&f.saw, "saw", nil, "what was seen at a test point, such as \"TP7: 400 MHz\"; may be given several times")
	c.Flags().StringArrayVar(&f.done, "done", nil, "what test points need and has been done, such as \"input board out\"")
	c.Flags().IntSliceVar(&f.revoke, "revoke", nil, "number of an entry that does not count any more, as the report numbers them")
	c.Flags().StringVar(&f.found, "found", "", "the fault is found: the stage and what it had, such as \"B amplifier: open coupling capacitor\"")
	c.Flags().StringVar(&f.who, "who", "", "who looks")
	c.Flags().StringVar(&f.answers, "answers", "", "file that keeps what was entered (JSON lines, only added to), where RECORD is a file")
	c.Flags().BoolVar(&f.ask, "ask", false, "propose the next look, ask what is seen there, and so on until the stage is found")
	c.Flags().StringVar(&f.svg, "svg", "", "file to draw the block diagram to, stages shaded by probability, the next look marked")
	c.Flags().IntVar(&f.top, "top", 5, "how many suspects are shown")
	c.Flags().BoolVar(&f.json, "json", false, "print as JSON (schema \"bandproof isolation 1\"), all suspects unless --top is given")
	c.MarkFlagsMutuallyExclusive("json", "ask")
	c.AddCommand(isolateCheck(t))
	return c
}

// isolated takes entries and reports.
func isolated(c *cobra.Command, t *terminal, name string, f isolateFlags) error {
	if err := f.check(); err != nil {
		return usage{err}
	}
	network, err := f.network()
	if err != nil {
		return err
	}
	list, err := findRecords(c, f.store, []string{name})
	if err != nil {
		return err
	}
	r := list[0]
	p, err := proven(c, t, f.store, []string{name}, list)
	if err != nil {
		return err
	}
	keep, err := f.notebook(c.Context(), t, name, r)
	if err != nil {
		return err
	}
	defer keep.close()
	entries, err := keep.read(c.Context())
	if err != nil {
		return usage{err}
	}
	x := isolate.NewCase(network, r.Run, entries)
	x.Doubts = append(recordDoubts(r, p), x.Doubts...)
	if err := f.enter(c.Context(), x, keep); err != nil {
		return err
	}
	if f.ask {
		l := looking{t: t, x: x, keep: keep, r: r, who: person{t, f.who}}
		if err := l.loop(c.Context()); err != nil {
			return err
		}
		return f.draw(c.Context(), t, x, r, nil)
	}
	report, err := x.Report(c.Context(), subject(r), others(r))
	if err != nil {
		return err
	}
	if err := f.draw(c.Context(), t, x, r, report); err != nil {
		return err
	}
	if f.json {
		if m := report.Model; m != nil && c.Flags().Changed("top") {
			m.Suspects = m.Suspects[:min(f.top, len(m.Suspects))]
		}
		return t.json(report)
	}
	t.isolation(report, f.top, holdFiles(r))
	return nil
}

func (f isolateFlags) check() error {
	switch {
	case f.top < 1:
		return fmt.Errorf("--top: is %d; at least 1", f.top)
	case f.model == "" && (f.ask || f.svg != ""):
		return errors.New("--ask and --svg need --model: the block model of the unit")
	case f.model == "" && len(f.saw)+len(f.done) > 0:
		return errors.New("--saw and --done need --model: it says what a good unit has at each test point")
	}
	return nil
}

// draw draws the block diagram as it stands, where that is asked for.
func (f isolateFlags) draw(ctx context.Context, t *terminal, x *isolate.Case, r record.Record, report *isolate.Report) error {
	if f.svg == "" {
		return nil
	}
	if report == nil {
		var err error
		if report, err = x.Report(ctx, subject(r), nil); err != nil {
			return err
		}
	}
	post, err := x.Posterior(ctx)
	if err != nil {
		return err
	}
	o := diagram.Options{Subtitle: joined(", ", report.Unit, "serial "+named(report.Serial), report.Run+" run "+shortID(report.Record)),
		Posterior: post, Found: report.Model.Found, Looked: x.Looked()}
	if report.Invented {
		o.Notice = "INVENTED: a virtual bench, no real unit"
	}
	if report.Model.Next != nil {
		o.Next = &report.Model.Next.Probe
	}
	return t.diagram(x.Network, o, f.svg)
}

// diagram writes a block diagram to a file.
func (t *terminal) diagram(n *isolate.Network, o diagram.Options, file string) error {
	svg, err := diagram.SVG(n, o)
	if err != nil {
		return usage{fmt.Errorf("--svg: %w", err)}
	}
	if err := writeFile(file, svg); err != nil {
		return usage{fmt.Errorf("--svg: %w", err)}
	}
	t.note("wrote %s", file)
	return nil
}

// network reads the block model; nil where none is given.
func (f isolateFlags) network() (*isolate.Network, error) {
	if f.model == "" {
		return nil, nil
	}
	return loadModel(f.model)
}

// mostModel bounds a model's file, bytes: one of 2000 stages has 1 MB.
const mostModel = 16 << 20

func loadModel(file string) (*isolate.Network, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, usage{fmt.Errorf("model file: %w", err)}
	}
	defer func() { _ = f.Close() }()
	text, err := io.ReadAll(io.LimitReader(f, mostModel+1))
	switch {
	case err != nil:
		return nil, usage{fmt.Errorf("model file: %w", err)}
	case len(text) > mostModel:
		return nil, usage{fmt.Errorf("model file: %s has more than %d MB, and is no block model", file, mostModel>>20)}
	}
	return isolate.Load(file, text)
}

// enter takes over what the flags say: all of it, or where something is wrong
// nothing.
func (f isolateFlags) enter(ctx context.Context, x *isolate.Case, keep *notebook) error {
	var list []isolate.Entry
	add := func(e isolate.Entry, err error, flag string) error {
		if err != nil {
			return usage{fmt.Errorf("--%s: %w", flag, err)}
		}
		e = keep.entry(e)
		list = append(list, e)
		x.Add(e)
		return nil
	}
	for _, n := range f.revoke {
		e, err := isolate.Revoke(x.Entries, n)
		if err := add(e, err, "revoke"); err != nil {
			return err
		}
	}
	for _, text := range f.done {
		e, err := x.Prepare(text)
		if err := add(e, err, "done"); err != nil {
			return err
		}
	}
	for _, text := range f.saw {
		e, err := x.Saw(ctx, text)
		if err := add(e, err, "saw"); err != nil {
			return err
		}
	}
	if f.found != "" {
		e, err := x.Close(f.found)
		if err := add(e, err, "found"); err != nil {
			return err
		}
	}
	for _, e := range list {
		if err := keep.keep(ctx, e); err != nil {
			return err
		}
	}
	return nil
}

func subject(r record.Record) isolate.Subject {
	return isolate.Subject{Record: r.ID, Run: string(r.Run.Kind), Unit: strings.TrimSpace(r.Maker + " " + r.Model), Serial: r.Job.Serial, Invented: r.Invented}
}

// recordDoubts is what makes a record itself doubtful: it has no seal, another
// stands in its place, or it covers less than the unit.
func recordDoubts(r record.Record, p proof) []string {
	var list []string
	if newest, ok := p.replaced[r.ID]; ok {
		list = append(list, fmt.Sprintf("This record has been %s by record %s (%s).", wordOf(newest.Corrects), newest.ID, newest.Corrects.Reason))
	}
	if c := r.Corrects; c != nil && c.Withdrawn {
		list = append(list, fmt.Sprintf("This record withdraws record %s (%s): its run does not stand.", c.ID, c.Reason))
	}
	if len(p.seals) == 0 || p.seals[0].ID == "" {
		list = append(list, "The record has no seal here: nothing shows that it is as it was taken.")
	}
	for _, x := range r.Job.Limited {
		list = append(list, fmt.Sprintf("Limited by agreement: %s (%s): what was left out is not known here.", x.What, x.Why))
	}
	return list
}

// others are the cautions of a record beside the usual ones.
func others(r record.Record) []string {
	usual := map[string]bool{}
	for _, c := range record.UsualCautions() {
		usual[c] = true
	}
	var list []string
	for _, c := range r.Cautions {
		if !usual[c] {
			list = append(list, c)
		}
	}
	return list
}

// now is when something is entered.
func now() time.Time { return time.Now().UTC().Truncate(time.Millisecond) }
