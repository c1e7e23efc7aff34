// Command virtualbench serves the virtual bench of drivers/virtual: a counter
// and its sources, on TCP ports, pseudo-terminals or real serial ports, so that
// any program can talk to them. It prints one line for each instrument, its
// name and its VISA resource name, then "ready", and runs until it is told to
// end by SIGINT or SIGTERM.
//
// The instruments themselves are not its business; here is only the wiring.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"bandproof/drivers/wirelog"
)

// Exit codes, as those of bandproof.
const (
	exitDone  = 0
	exitOther = 1 // a client differs from the wire log that is played
	exitInput = 2 // a flag or the scenario file is wrong
	exitBench = 4 // a port can't be opened or broke
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is main without the process around it.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	cmd := newCommand()
	cmd.SetArgs(args)
	cmd.SetOut(stdout)
	cmd.SetErr(stderr)
	err := cmd.ExecuteContext(ctx)
	var bench *benchError
	var differs *wirelog.Difference
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &bench):
		_, _ = fmt.Fprintf(stderr, "virtualbench: %v\n", err) // there is nobody else to tell
		return exitBench
	case errors.As(err, &differs):
		_, _ = fmt.Fprintf(stderr, "virtualbench: %v\n", err)
		return exitOther
	}
	_, _ = fmt.Fprintf(stderr, "virtualbench: %v\n", err)
	return exitInput
}

// benchError is an error of a port, not of what the user wrote.
type benchError struct{ error }

func (e *benchError) Unwrap() error { return e.error }
