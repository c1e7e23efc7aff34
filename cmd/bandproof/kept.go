package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"bandproof/drivers/claim"
	"bandproof/drivers/profiles"
	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"
)

// started is when the run began; the plan is made for that day.
func (w sweep) started() time.Time {
	if w.resumed != nil {
		return w.resumed.header.Started
	}
	return w.clock.Now()
}

// claim takes the instruments and the run for this process.
func (w sweep) claim(id string) (*claim.Claim, error) {
	if w.claims == "" {
		return &claim.Claim{}, nil
	}
	list := []claim.Instrument{aRun(id)}
	for name, c := range w.files.connections() {
		list = append(list, claim.Instrument{Name: name, Address: c.Address, Via: c.Via})
	}
	return claim.Take(w.claims, claim.Holder{PID: os.Getpid(), Since: w.clock.Now(), What: fmt.Sprintf("%s run %s", w.kind, shortID(id))}, list...)
}

// claimsFolder is where lock files are kept: where several users share one bench,
// BANDPROOF_CLAIMS names a folder that all of them can write to.
func claimsFolder() string {
	if dir := os.Getenv("BANDPROOF_CLAIMS"); dir != "" {
		return dir
	}
	return claim.Folder()
}

// aRun is what stands for a run among the instruments that are claimed.
func aRun(id string) claim.Instrument { return claim.Instrument{Name: "run", Address: id} }

// journal begins the journal of a run, or goes on with it where the plan is
// still the same.
func (w sweep) journal(ctx context.Context, id string, started time.Time, plan *procedures.Plan, overdue []runner.Overdue) (runner.Journal, error) {
	fingerprint, err := plan.Fingerprint()
	if err != nil {
		return nil, err
	}
	if w.resumed != nil {
		h := w.resumed.header
		if h.Plan != fingerprint {
			return nil, usage{fmt.Errorf("run %s: this version (%s) plans it differently from the one that began it (%s); go on with that one, or end the run with what there is (--finish). RF is off", shortID(id), record.Version, h.Program)}
		}
		return w.store.Journal(id), nil
	}
	out, err := filepath.Abs(w.out)
	if err != nil {
		out = w.out
	}
	kept := map[string]store.Profile{}
	for key, f := range w.files.shelf.Kept() {
		kept[key] = store.Profile{File: f.Name, Text: f.Text}
	}
	w.keepLogo(ctx)
	return w.store.Begin(ctx, store.Header{ID: id, Logo: nameOf(w.logo), Kind: w.kind, Started: started, Procedure: w.files.procedureFile, Bench: w.files.benchFile,
		Planned: len(plan.Points) + len(plan.Tasks), Plan: fingerprint, Job: w.job, Follows: w.follows, Only: w.only, Overdue: overdue, Invented: w.invented, Program: record.Version,
		Profiles: kept, ProcedurePath: w.files.procedurePath, BenchPath: w.files.benchPath, Out: out, WireLog: w.wireLog})
}

// keptFiles are the files of a run as its journal has kept them.
func keptFiles(h store.Header) (*files, error) {
	if h.Plan == "" {
		return nil, errors.New("an earlier version began it and did not keep what is needed to go on")
	}
	kept := map[string]profiles.File{}
	for key, p := range h.Profiles {
		kept[key] = profiles.File{Name: p.File, Text: p.Text}
	}
	f := &files{procedurePath: h.ProcedurePath, benchPath: h.BenchPath, shelf: profiles.OldShelf(kept)}
	if err := errors.Join(f.readProcedure(h.Procedure.File, []byte(h.Procedure.Text)), f.readBench(h.Bench.File, []byte(h.Bench.Text))); err != nil {
		return nil, err
	}
	return f, f.loadProfiles()
}

// changes says which files are no longer what the run began with. Files that
// are gone are no change: the journal has them.
func changes(h store.Header) (list []string) {
	differs := func(what, path, sum string) {
		text, err := os.ReadFile(path)
		if err != nil {
			return
		}
		if now := sha256.Sum256(text); hex.EncodeToString(now[:]) != sum {
			list = append(list, fmt.Sprintf("%s %s is no longer the one that the run began with, and still goes by", what, path))
		}
	}
	differs("procedure file", h.ProcedurePath, h.Procedure.SHA256)
	differs("bench file", h.BenchPath, h.Bench.SHA256)
	now := profiles.NewShelf(filepath.Dir(h.BenchPath))
	for key, p := range sorted(h.Profiles) {
		if f, err := now.Find(key); err == nil && f.Text != p.Text {
			list = append(list, fmt.Sprintf("profile %s is no longer the one that the run began with, and still goes by", p.File))
		}
	}
	return list
}

// rfOff switches RF off at every source that can be reached, and returns the
// names of the others.
func (w sweep) rfOff(ctx context.Context) (mayBeOn []string) {
	wires := w.wiring(runner.NewInterlock(w.files.procedure.Unit), nil)
	for _, s := range w.files.sourcesInOrder() {
		source, err := w.files.openSource(ctx, wires, s)
		if err == nil {
			err = errors.Join(source.RFOff(ctx), source.Close())
		}
		if err != nil {
			mayBeOn = append(mayBeOn, s.Name)
			w.terminal.note("warning: %v", err)
		}
	}
	return mayBeOn
}

// underWay tells whether a process holds a run, here or at another bench.
func underWay(ctx context.Context, s *store.Store) func(id string) bool {
	return func(id string) bool {
		if isUnderWay(id) {
			return true
		}
		held, err := s.Held(ctx, id)
		return held && err == nil
	}
}

// isUnderWay tells whether a process of this machine holds the run.
func isUnderWay(id string) bool {
	c, err := claim.Take(claimsFolder(), claim.Holder{PID: os.Getpid(), What: "records list"}, aRun(id))
	if err != nil {
		return errors.Is(err, claim.ErrTaken)
	}
	return c.Release() != nil
}

// interruptedRow is one line of a list of interrupted runs.
type interruptedRow struct {
	ID       string    `json:"id"`
	Kind     string    `json:"kind"`
	Started  time.Time `json:"started"`
	Last     time.Time `json:"last_entry"`
	Asset    string    `json:"asset"`
	Serial   string    `json:"serial"`
	Points   int       `json:"points"`
	Planned  int       `json:"planned_points"`
	UnderWay bool      `json:"under_way"`
	Damage   string    `json:"damage,omitempty"` // why it can't be gone on with
}

func interruptedRows(list []store.Interrupted, underWay func(id string) bool) []interruptedRow {
	rows := []interruptedRow{}
	for _, i := range list {
		h := i.Header
		damage := ""
		if i.Damage != nil {
			damage = i.Damage.Error()
		}
		rows = append(rows, interruptedRow{h.ID, string(h.Kind), h.Started, i.Last, h.Job.Asset, h.Job.Serial, i.Points, h.Planned, underWay(h.ID), damage})
	}
	return rows
}
