package main

import (
	"errors"
	"io/fs"
	"slices"

	"bandproof/drivers"
	"bandproof/drivers/claim"
	"bandproof/drivers/link"
	"bandproof/procedures/quantity"
	"bandproof/procedures/quantity/tomlfile"
	"bandproof/reports/store"
	"bandproof/runner"
)

// Exit codes. Where several apply the order is bench, usage, failed, open, ok.
const (
	exitOK     = 0 // all shown points pass (a conditional pass included)
	exitFailed = 1 // at least one point fails or conditionally fails
	exitUsage  = 2 // usage or input file error
	exitOpen   = 3 // incomplete: something could not be judged
	exitBench  = 4 // bench error: link, interlock, journal
)

// usage marks an error in how the program was called.
type usage struct{ error }

func (u usage) Unwrap() error { return u.error }

// worst is the code that says more: bench, usage, failed, open, ok.
func worst(a, b int) int {
	for _, code := range []int{exitBench, exitUsage, exitFailed, exitOpen} {
		if a == code || b == code {
			return code
		}
	}
	return exitOK
}

// outcome carries the exit code of a run that ended by its own rules; err is
// what is still to be said, or nil.
type outcome struct {
	code int
	err  error
}

func (o outcome) Error() string {
	if o.err != nil {
		return o.err.Error()
	}
	return "see the data sheet"
}

func (o outcome) Unwrap() error { return o.err }

// exitCode maps the kinds of errors to exit codes, in this one place.
func exitCode(err error) int {
	var done outcome
	var u usage
	var mistakes *tomlfile.Mistakes
	switch {
	case err == nil:
		return exitOK
	case errors.As(err, &done):
		return done.code
	case errors.As(err, &u), errors.As(err, &mistakes), isAny(err, usageErrors()):
		return exitUsage
	case errors.Is(err, runner.ErrBench), errors.Is(err, runner.ErrJournal), errors.Is(err, claim.ErrTaken), errors.Is(err, store.ErrUnderWay), errors.Is(err, drivers.ErrInterlock), errors.Is(err, drivers.ErrUnreadable),
		errors.Is(err, drivers.ErrInstrument), isLink(err):
		return exitBench
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, fs.ErrPermission), errors.Is(err, store.ErrDamaged), errors.Is(err, store.ErrExists):
		return exitUsage
	case errors.Is(err, store.ErrStore):
		return exitBench
	}
	return exitUsage
}

// usageErrors are those of what the program was given.
func usageErrors() []error {
	return []error{
		quantity.ErrSyntax,
		link.ErrAddress,
		runner.ErrOverdue,
		store.ErrArchive,
		store.ErrConflict,
		store.ErrCorrected,
		store.ErrNoWireLog,
		store.ErrNotAStore,
		store.ErrNotFound,
		store.ErrNotInterrupted,
		store.ErrNotProven,
		store.ErrOnServer,
		store.ErrQuery,
	}
}

func isAny(err error, of []error) bool {
	return slices.ContainsFunc(of, func(x error) bool { return errors.Is(err, x) })
}

func isLink(err error) bool {
	var l *link.Error
	var d *drivers.Error
	return errors.As(err, &l) || errors.As(err, &d)
}

// codeOf sums up a run.
func codeOf(r runner.Result) int {
	failed, bench, open := r.Worst()
	switch {
	case bench:
		return exitBench
	case failed:
		return exitFailed
	case open:
		return exitOpen
	}
	return exitOK
}
