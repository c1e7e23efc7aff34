// Command bandproof proves the bands of a frequency counter: it sweeps a
// source across each input, judges the readings against the specification, and
// writes as-found and as-left records.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"bandproof/reports/record"

	"github.com/spf13/cobra"
)

func main() { os.Exit(Main()) }

// Main runs the program on the process's arguments and returns the exit code;
// tests call it as a command of their scripts.
func Main() int {
	// A run must end by its own rules, RF off, whatever goes away: the terminal
	// (hang-up, unless started with nohup), the reader of its output, the person.
	ends := []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGQUIT}
	if !signal.Ignored(syscall.SIGHUP) {
		ends = append(ends, syscall.SIGHUP)
	}
	ctx, stop := signal.NotifyContext(context.Background(), ends...)
	defer stop()
	signal.Ignore(syscall.SIGPIPE) // a write then fails instead
	return execute(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
}

func execute(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) int {
	t := newTerminal(in, out, errOut)
	root := &cobra.Command{
		Use:           "bandproof",
		Short:         "prove every band of a frequency counter, before and after its repair",
		Version:       record.Version,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errOut)
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return usage{fmt.Errorf("%w; see \"%s --help\"", err, c.CommandPath())}
	})
	root.AddCommand(adjustCommand(t), benchCommand(t), budgetCommand(t), dccCommand(t), demoCommand(t), findCommand(t), holdCommand(t), judgeCommand(t), keyCommand(t), noticesCommand(t), planCommand(t), profileCommand(t), resumeCommand(t), runCommand(t), schemaCommand(t), sheetCommand(t), recordsCommand(t), stabilityCommand(t), talkCommand(t), wireLogCommand(t))
	root.AddCommand(isolateCommand(t), labelCommand(t), noticeCommand(t))
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	code := exitCode(err)
	if t.outErr != nil {
		err, code = fmt.Errorf("standard output: %w", t.outErr), worst(code, exitUsage)
	}
	var done outcome
	if err != nil && (!errors.As(err, &done) || done.err != nil) {
		t.complain(err)
	}
	return code
}

// exactly makes the complaint about a wrong number of arguments a usage error.
func exactly(n int, names string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) != n {
			return usage{fmt.Errorf("%s takes %s; see \"%s --help\"", c.CommandPath(), names, c.CommandPath())}
		}
		return nil
	}
}
