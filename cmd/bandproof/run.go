package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/manual"
	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/reports/sheet"
	"bandproof/reports/store"
	"bandproof/runner"
	"bandproof/runner/kinds"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
)

// runFlags are what the run command takes besides its two files.
type runFlags struct {
	store, out, follows, wireLogTo               string
	unattended, json, verbose, invented, wireLog bool
	silent                                       bool
	job                                          jobFlags
	accept, only                                 []string
	asking                                       promptFlags
}

func runCommand(t *terminal) *cobra.Command {
	var f runFlags
	var found, repaired, left bool
	c := &cobra.Command{
		Use:   "run PROCEDURE BENCH --as-found|--after-repair|--as-left",
		Short: "take every point of a procedure at the bench and write the record",
		Args:  exactly(2, "a procedure file and a bench file"),
		RunE: func(c *cobra.Command, args []string) error {
			kind, err := kindOf(found, repaired, left)
			if err != nil {
				return usage{err}
			}
			return run(c, t, args[0], args[1], kind, f)
		},
	}
	c.Flags().BoolVar(&found, "as-found", false, "the unit is as received")
	c.Flags().BoolVar(&repaired, "after-repair", false, "the unit is repaired, not yet adjusted")
	c.Flags().BoolVar(&left, "as-left", false, "the unit is as released")
	c.Flags().StringVar(&f.store, "store", "bandproof.db", "SQLite file that keeps journals and records")
	c.Flags().StringVar(&f.out, "out", ".", "folder for the record (JSON) and the data sheets (PDF, CSV)")
	c.Flags().StringVar(&f.follows, "follows", "", "id of the earlier record that this run follows; found by serial number and procedure unless stated")
	c.Flags().BoolVar(&f.unattended, "unattended", false, "nobody answers prompts: paths that need a hand are not judged")
	c.Flags().BoolVar(&f.json, "json", false, "print the summary as JSON (schema \"bandproof run 1\")")
	c.Flags().BoolVar(&f.verbose, "verbose", false, "log what happens to standard error")
	c.Flags().BoolVar(&f.invented, "invented", false, "mark the record as invented data (virtual bench)")
	c.Flags().BoolVar(&f.wireLog, "wire-log", false, "keep every byte to and from the instruments with the record (\"records wire-log\" shows them)")
	c.Flags().StringVar(&f.wireLogTo, "wire-log-to", "", "write every byte to and from the instruments to this file as well")
	c.Flags().StringArrayVar(&f.accept, "accept-overdue", nil, "name of a standard whose due date has passed and that is used all the same; the record says so (may be given again)")
	c.Flags().BoolVar(&f.silent, "no-bell", false, "never ring the terminal's bell")
	f.asking.all(c)
	onlyFlag(c, &f.only)
	f.job.all(c)
	return c
}

// onlyFlag names what an added run takes.
func onlyFlag(c *cobra.Command, only *[]string) {
	c.Flags().StringSliceVar(only, "only", nil, "take only these points and measurements, by their ids in the plan, such as B-003,B-004: an added run, which replaces none")
}

func kindOf(found, repaired, left bool) (runner.Kind, error) {
	var kinds []runner.Kind
	for _, k := range []struct {
		set  bool
		kind runner.Kind
	}{{found, runner.AsFound}, {repaired, runner.AfterRepair}, {left, runner.AsLeft}} {
		if k.set {
			kinds = append(kinds, k.kind)
		}
	}
	if len(kinds) != 1 {
		return "", errors.New("say in which state the unit is: exactly one of --as-found, --after-repair, --as-left")
	}
	return kinds[0], nil
}

func run(c *cobra.Command, t *terminal, procedureFile, benchFile string, kind runner.Kind, f runFlags) error {
	ctx := c.Context()
	in, err := loadFiles(procedureFile, benchFile)
	if err != nil {
		return err
	}
	job, err := f.job.load(c)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(f.out, 0o755); err != nil {
		return usage{fmt.Errorf("--out: %w", err)}
	}
	st, err := store.Open(ctx, f.store)
	if err != nil {
		return err
	}
	defer func() { _ = st.Close() }()
	var operator runner.Operator = person{t, job.Technician}
	if f.unattended {
		operator = nobody{}
	}
	w := sweep{files: in, job: job, kind: kind, store: st, out: f.out, operator: operator, terminal: t, clock: drivers.WallClock{}, invented: f.invented, follows: f.follows,
		wireLog: f.wireLog, wireLogTo: f.wireLogTo, silent: f.silent, asking: f.asking, accept: f.accept, only: f.only, claims: claimsFolder(),
		log: logTo(t, f.verbose)}
	done, err := w.do(ctx)
	if err != nil && done.Record.ID == "" {
		return err
	}
	return t.finish(done, err, f.json)
}

// finish shows what came out and turns it into the error with its exit code.
func (t *terminal) finish(done finished, err error, asJSON bool) error {
	if asJSON {
		if e := t.json(done); e != nil {
			return e
		}
	} else {
		t.summary(done)
	}
	return ended(done.Record.Run, err)
}

// ended turns the outcome of a run into the error that carries its exit code.
func ended(r runner.Result, err error) error {
	code := codeOf(r)
	if err != nil {
		return outcome{worst(code, exitCode(err)), err}
	}
	if code == exitOK {
		return nil
	}
	return outcome{code, nil}
}

// sweep is one run from files to data sheet; the demo uses it too.
type sweep struct {
	files    *files
	job      procedures.Job
	kind     runner.Kind
	store    *store.Store
	out      string
	operator runner.Operator
	terminal *terminal
	clock    drivers.Clock
	invented bool
	follows  string
	// wireLog keeps the wire log with the record; wireLogTo names a file for it.
	wireLog   bool
	wireLogTo string
	silent    bool // no bell
	asking    promptFlags
	accept    []string // overdue standards that are used all the same
	only      []string // points and tasks of an added run; all where none is named
	log       *slog.Logger
	// dial and system stand in for the network and the drivers of the machine.
	dial   func(ctx context.Context, network, address string) (net.Conn, error)
	system link.System
	id     func() string
	// claims is the folder of the lock files; "" where nobody else can reach the bench.
	claims string
	// resumed is the interrupted run that is gone on with; nil for a new one.
	resumed *resumed
}

// finished is what a run leaves behind.
type finished struct {
	Schema    string        `json:"schema"`
	Record    record.Record `json:"-"`
	ID        string        `json:"record"`
	Kind      string        `json:"kind"`
	Statement string        `json:"statement"`
	Only      []string      `json:"only,omitempty"` // of an added run
	// Interrupted: there is no record yet, and "resume" goes on with the run.
	Interrupted bool `json:"interrupted,omitempty"`
	runner.Tally
	Files []string `json:"files"`
}

// do plans, runs and keeps one sweep. Where it ended early there is no record
// but Interrupted is set, and an error says why.
func (w sweep) do(ctx context.Context) (finished, error) {
	started := w.started()
	plan, err := w.plan(started)
	if err != nil {
		return finished{}, err
	}
	if len(plan.Points)+len(plan.Tasks) == 0 {
		return finished{}, usage{errors.New("the bench can't show any point of this procedure; \"bandproof plan\" tells why")}
	}
	overdue, err := w.overdue(plan)
	if err != nil {
		return finished{}, err
	}
	prompts, err := w.prompts()
	if err != nil {
		return finished{}, err
	}
	w.operator = prompts
	w.terminal.cautions(w.files.procedure, record.UsualCautions())
	interlock := runner.NewInterlock(w.files.procedure.Unit)
	id := w.newID()
	claimed, err := w.claim(id)
	if err != nil {
		return finished{}, err
	}
	defer func() { _ = claimed.Release() }() // the system does at the end of the process
	if err := w.resumed.unmoved(ctx, w.store); err != nil {
		return finished{}, err
	}
	wires, err := w.openWireLogs()
	if err != nil {
		return finished{}, err
	}
	defer wires.close(w.terminal) // after the instruments: what closes them is logged too
	in, err := w.files.open(ctx, w.wiring(interlock, wires.log()))
	if err != nil {
		return finished{}, err
	}
	defer in.close(w.log)
	journal, err := w.journal(ctx, id, started, plan, overdue)
	if err != nil {
		return finished{}, err
	}
	wires.keep(w.store.WireLog(context.WithoutCancel(ctx), id))
	told, err := w.tell(ctx, id)
	if err != nil {
		return finished{}, err
	}
	defer told.close(w.terminal)
	end := func() {}
	if !w.files.byHand() { // a bar would move under what a person types
		end = w.terminal.begin(len(plan.Points), len(plan.Tasks))
	}
	setup := runner.Setup{ID: id, Kind: w.kind, Procedure: w.files.procedure, Bench: w.files.bench, Plan: plan,
		Counter: in.counter, Sources: in.sources, Aids: in.aids, Interlock: interlock, Clock: w.clock, Journal: journal, Operator: w.operator, Watcher: told, Kinds: kinds.All(),
		Log: w.log, Serial: w.job.Serial, OnFor: w.job.OnFor, Overdue: overdue, ReplyAgrees: w.files.replyAgrees(), Program: record.Version}
	w.resumed.into(&setup)
	result, runErr := runner.Run(ctx, setup)
	end()
	// What there is must be kept also when the run was interrupted.
	done, err := w.keep(context.WithoutCancel(ctx), result)
	return done, errors.Join(runErr, err)
}

// plan is that of the run as of its start, restricted where it is an added one.
func (w sweep) plan(at time.Time) (*procedures.Plan, error) {
	plan, err := w.files.plan(at, w.job.Adjusted)
	if err != nil {
		return nil, err
	}
	return plan, w.files.restrict(plan, w.only)
}

// overdue takes over what was accepted by name, and refuses the run where a
// standard is overdue that was not.
func (w sweep) overdue(plan *procedures.Plan) ([]runner.Overdue, error) {
	by := w.job.Technician
	if by == "" {
		by = w.operator.Name()
	}
	past := slices.DeleteFunc(plan.Due(w.files.bench), func(d procedures.Due) bool { return !d.Past(w.clock.Now()) })
	accepted, err := runner.Accept(past, w.accept, by, w.clock.Now())
	if err != nil {
		return nil, usage{fmt.Errorf("--accept-overdue: %w", err)}
	}
	if w.resumed != nil {
		return append(w.resumed.header.Overdue, accepted...), nil // the run refuses, once RF is off
	}
	if err := runner.Refused(past, accepted); err != nil {
		return nil, fmt.Errorf("%w (use another standard or mend the date; --accept-overdue with the name goes on, and the record says so)", err)
	}
	return accepted, nil
}

func (w sweep) wiring(interlock *runner.Interlock, wire link.WireLog) wiring {
	return wiring{link.Opener{Dial: w.dial, System: w.system, Log: w.log, Wire: wire, Adapters: &link.Adapters{}}, interlock, w.clock, w.log, w.person()}
}

// person is the operator, where that is somebody who can set and read instruments.
func (w sweep) person() manual.Person {
	if p, ok := w.operator.(*runner.Prompts); ok {
		return p.Person()
	}
	p, _ := w.operator.(manual.Person)
	return p
}

func (w sweep) newID() string {
	switch {
	case w.resumed != nil:
		return w.resumed.header.ID
	case w.id != nil:
		return w.id()
	}
	return uuid.Must(uuid.NewV7()).String()
}

// keep writes the files and, last, stores the record, which seals the run: one
// that is killed before goes on here. Whatever goes wrong with one of them, the
// other is still done: a night's readings must not be lost because an older record
// can't be read or a disk is full. A run that ended early has no record yet.
func (w sweep) keep(ctx context.Context, result runner.Result) (finished, error) {
	if !result.Complete && !w.resumed.over() {
		return w.interrupted(result), nil
	}
	earlier := w.earlier(ctx, result)
	follows := ""
	if len(earlier) > 0 {
		follows = earlier[len(earlier)-1].ID
	}
	if len(result.Only) > 0 {
		earlier = nil // an added run has a data sheet of its own
	}
	if follows != "" {
		w.terminal.note("this run follows record %s", follows)
	}
	r := w.record(result, follows)
	r.Adjustments = w.adjustments(ctx, result, earlier)
	done := summarise(r)
	files, written := writeAll(w.out, string(w.kind), append(earlier, r)...)
	done.Files = files
	stored := w.store.Add(ctx, r)
	if stored != nil && written == nil {
		w.terminal.note("warning: the record could not be kept in the store, but stands in %s; once the store can be written, %q keeps it there", files[0], w.resume(r.ID))
	}
	return done, errors.Join(stored, written)
}

// record is that of a result. It is created when the run ended, so that it is the
// same whenever it is made.
func (w sweep) record(result runner.Result, follows string) record.Record {
	return record.New(record.Parts{ID: result.ID, Follows: follows, Now: result.Finished, Job: w.job, Procedure: w.files.procedure, ProcedureFile: w.files.procedureFile,
		Bench: w.files.bench, BenchFile: w.files.benchFile, Run: result, Invented: w.invented})
}

// earlier finds the records that stand before this one on the data sheet. What
// can't be found or read is a warning: this run's record must be kept anyhow.
func (w sweep) earlier(ctx context.Context, result runner.Result) []record.Record {
	if w.follows != "" {
		r, err := w.store.Record(ctx, w.follows)
		if err != nil {
			w.terminal.note("warning: --follows: %v; the data sheet shows this run alone", err)
			return nil
		}
		return []record.Record{r}
	}
	if len(w.only) > 0 {
		return w.addsTo(ctx, result)
	}
	if w.kind == runner.AsFound {
		return nil
	}
	list, err := w.store.Before(ctx, w.kind, w.serial(result), w.files.procedureFile.SHA256, result.Started)
	if err == nil && len(list) > 0 {
		return list
	}
	w.terminal.note("warning: no as-found record of this unit (serial %q) by this very procedure file could be taken from the store; the data sheet shows this run alone", w.serial(result))
	if err != nil {
		w.terminal.note("warning: %v", err)
	}
	if rows, err := w.store.List(ctx, store.Query{Serial: w.serial(result), Kind: string(runner.AsFound)}); err == nil && len(rows) > 0 {
		w.terminal.note("the newest as-found record of the unit is %s, by another procedure file or broken; \"bandproof sheet %s %s\" tries both on one sheet", rows[0].ID, rows[0].ID, result.ID)
	}
	return nil
}

// addsTo finds the newest record of a whole run, of the same kind, unit and
// procedure, which an added run stands beside.
func (w sweep) addsTo(ctx context.Context, result runner.Result) []record.Record {
	rows, err := w.store.List(ctx, store.Query{Serial: w.serial(result), Kind: string(w.kind)})
	for _, row := range rows {
		r, e := w.store.Record(ctx, row.ID)
		if err = e; err != nil {
			break
		}
		if r.Procedure.SHA256 == w.files.procedureFile.SHA256 && len(r.Run.Only) == 0 {
			return []record.Record{r}
		}
	}
	if err != nil {
		w.terminal.note("warning: the run that this one adds to could not be taken from the store: %v", err)
	}
	return nil
}

// adjustments are those of the unit between its as-found run and this one.
func (w sweep) adjustments(ctx context.Context, result runner.Result, earlier []record.Record) []record.Adjustment {
	if w.kind == runner.AsFound {
		return nil
	}
	var after time.Time
	if len(earlier) > 0 {
		after = earlier[0].Run.Finished
	}
	list, err := w.store.Adjustments(ctx, w.serial(result), w.files.procedureFile.SHA256, after, result.Started)
	if err != nil {
		w.terminal.note("warning: adjustments since the as-found run could not be read from the store: %v", err)
	}
	return list
}

func (w sweep) serial(result runner.Result) string {
	if w.job.Serial != "" {
		return w.job.Serial
	}
	return result.Unit.Serial
}

func summarise(r record.Record) finished {
	return finished{Schema: "bandproof run 1", Record: r, ID: r.ID, Kind: string(r.Run.Kind), Statement: string(r.Run.Statement), Only: r.Run.Only, Tally: r.Run.Tally()}
}

// writeAll writes the last record as JSON and the data sheet of all records as
// PDF and CSV, each file whole or not at all.
func writeAll(dir, name string, records ...record.Record) ([]string, error) {
	last := records[len(records)-1]
	text, err := last.Encode()
	if err != nil {
		return nil, err
	}
	s, err := sheet.New(records...)
	if err != nil {
		return nil, fmt.Errorf("data sheet: %w", err)
	}
	var pdf, csv strings.Builder
	if err := s.PDF(&pdf); err != nil {
		return nil, fmt.Errorf("data sheet: %w", err)
	}
	if err := s.CSV(&csv); err != nil {
		return nil, fmt.Errorf("data sheet: %w", err)
	}
	base := filepath.Join(dir, name+"-"+shortID(last.ID))
	var list []string
	for _, f := range []struct {
		file string
		text []byte
	}{{base + ".json", text}, {base + ".pdf", []byte(pdf.String())}, {base + ".csv", []byte(csv.String())}} {
		if err := writeFile(f.file, f.text); err != nil {
			return list, err
		}
		list = append(list, f.file)
	}
	return list, nil
}

// shortID is the tail of an id: of a time-ordered one, the part that differs.
func shortID(id string) string { return id[max(0, len(id)-8):] }

// writeFile writes a file whole or not at all.
func writeFile(file string, text []byte) error {
	tmp, err := os.CreateTemp(filepath.Dir(file), ".bandproof-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", file, err)
	}
	_, err = tmp.Write(text)
	err = errors.Join(err, tmp.Sync(), tmp.Chmod(0o644), tmp.Close())
	if err == nil {
		err = os.Rename(tmp.Name(), file)
	}
	if err != nil {
		_ = os.Remove(tmp.Name())
		return fmt.Errorf("write %s: %w", file, err)
	}
	return nil
}

// summary says in a few lines what came out.
func (t *terminal) summary(d finished) {
	if d.Interrupted {
		t.print("%s run %s, not finished: there is no record yet", d.Kind, d.ID)
	} else {
		t.print("%s run, record %s", d.Kind, d.ID)
		t.print("statement: %s", d.Statement)
		if len(d.Only) > 0 {
			t.print("an added run of %s only; it replaces no other", strings.Join(d.Only, ", "))
		}
	}
	if d.Record.Run.Ended != "" {
		t.print("the run ended early: %s", d.Record.Run.Ended)
	}
	if d.Record.Run.Planned > 0 || d.Others == nil {
		t.print("%d of %d points passed, %d failed, %d not judged, %d not taken", d.Passed, d.Record.Run.Planned, d.Failed, d.NotJudged, d.NotTaken)
	}
	if o := d.Others; o != nil {
		t.print("other measurements: %d findings passed, %d failed, %d not judged; %d of %d tasks not taken", o.Passed, o.Failed, o.NotJudged, o.NotTaken, d.Record.Run.PlannedTasks)
	}
	for _, p := range d.Record.Run.Points {
		if !p.Verdict.Good() {
			line := pointLine(p)
			if p.Symptom != "" {
				line += ", " + p.Symptom
			}
			t.print("  %s", line)
		}
	}
	for _, o := range d.Record.Run.Outcomes {
		for _, x := range o.Rows {
			t.print("  %s", rowLine(o, x))
		}
	}
	for _, c := range d.Record.Run.Changes {
		t.print("%s", c)
	}
	for _, i := range d.Record.Run.Inputs {
		t.print("input %s: %.1f %% of the range shown", i.Input.Name, i.Coverage.Share*100)
		for _, n := range i.NotShown {
			t.print("  not shown: %s", n)
		}
		for _, s := range i.Coverage.Open {
			if !s.PlannedOut(i.NotShown) {
				t.print("  open: %s to %s", s.From, s.To)
			}
		}
	}
	if d.NotShown > 0 {
		t.note("note: not all of the specified range was shown, because the bench can't; see above")
	}
	for _, f := range d.Files {
		t.print("wrote %s", f)
	}
	for _, name := range d.Record.Run.RFMayBeOn {
		t.note("CAUTION: RF of source %s may still be ON; switch it off by hand", name)
	}
}
