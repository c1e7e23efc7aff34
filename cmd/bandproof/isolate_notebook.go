package main

import (
	"context"
	"errors"

	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner/isolate"
)

// notebook is where entries about a record are kept: in the store that has it,
// else in a file.
type notebook struct {
	r     record.Record
	who   string
	store *store.Store
	file  string
}

// notebook finds it; a store is opened to write only where something is entered.
func (f isolateFlags) notebook(ctx context.Context, t *terminal, name string, r record.Record) (*notebook, error) {
	n := &notebook{r: r, who: f.who, file: f.answers}
	_, notFile := readable(name)
	switch {
	case notFile == nil && f.answers == "" && f.enters():
		return nil, usage{errors.New("the record is a file: say with --answers FILE where what is entered is kept")}
	case notFile == nil:
		return n, nil
	case f.answers != "":
		return nil, usage{errors.New("--answers is for a record file; of a record in the store what is entered is kept there")}
	case !f.enters():
		s, err := store.OpenToRead(ctx, f.store)
		n.store = s
		return n, err
	}
	s, err := t.openStore(ctx, f.store)
	n.store = s
	return n, err
}

// enters tells whether something may be entered.
func (f isolateFlags) enters() bool {
	return len(f.saw)+len(f.done)+len(f.revoke) > 0 || f.found != "" || f.ask
}

func (n *notebook) close() {
	if n.store != nil {
		_ = n.store.Close()
	}
}

func (n *notebook) read(ctx context.Context) ([]isolate.Entry, error) {
	switch {
	case n.store != nil:
		return n.store.Entries(ctx, n.r.ID)
	case n.file != "":
		return store.ReadEntries(n.file, n.r.ID)
	}
	return nil, nil
}

// entry completes what is entered now.
func (n *notebook) entry(e isolate.Entry) isolate.Entry {
	e.ID, e.Record, e.At, e.Who = newEntry(), n.r.ID, now(), n.who
	return e
}

func (n *notebook) keep(ctx context.Context, e isolate.Entry) error {
	if n.store != nil {
		serial := n.r.Job.Serial
		if serial == "" {
			serial = n.r.Run.Unit.Serial
		}
		return n.store.KeepEntry(ctx, serial, n.r.Procedure.SHA256, e)
	}
	if err := store.AppendEntry(n.file, e); err != nil {
		return usage{err}
	}
	return nil
}
