package main

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"slices"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/manual"
	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"
	"bandproof/runner/kinds"

	"github.com/google/uuid"
)

// sweep is one run from files to data sheet; the demo uses it too.
type sweep struct {
	files    *files
	job      procedures.Job
	kind     runner.Kind
	store    *store.Store
	key      ed25519.PrivateKey // signs the record
	place    *time.Location     // where the bench stands; UTC unless stated
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
	logo      *record.Picture
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
	release, err := w.store.Hold(ctx, id)
	if err != nil {
		return finished{}, err
	}
	defer release()
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
