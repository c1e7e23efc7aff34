package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"text/tabwriter"

	"bandproof/drivers/virtual"

	"github.com/spf13/cobra"
)

// flags are those of the command line as given.
type flags struct {
	scenario string
	seed     int
	tcp      []string
	pty      []string
	serial   []string
	hislip   []string
	vxi11    []string
	// portmapper is where the VXI-11 host is told of; empty: nowhere.
	portmapper string
	announce   string
	adapters   []string
	faults     []string
	list       bool
	stages     bool
	probe      bool
	timeScale  float64
	follow     bool
	verbose    bool
	replay     string
}

func newCommand() *cobra.Command {
	var f flags
	cmd := &cobra.Command{
		Use:   "virtualbench",
		Short: "Serve the virtual bench: a counter and its sources",
		Long: `Serve the virtual bench: a counter and its sources, as instruments that any
program can talk to. Without a serving flag each instrument is served on the
TCP port that the scenario gives it.`,
		Example: `  virtualbench --follow
  virtualbench --fault deaf:input=B,amount=15dB --time-scale 10
  virtualbench --follow --probe --fault "stage:stage=B amplifier,mode=weak"
  virtualbench --tcp counter=127.0.0.1:0 --pty LF=/tmp/lf --serial MW=/dev/ttyUSB0,9600`,
		Args:          cobra.NoArgs,
		SilenceUsage:  true,
		SilenceErrors: true,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if f.list {
				return listFaults(cmd.OutOrStdout())
			}
			if f.stages {
				return listStages(f, cmd.OutOrStdout())
			}
			if f.replay != "" {
				return replay(cmd.Context(), f, cmd.OutOrStdout(), cmd.ErrOrStderr())
			}
			return serve(cmd.Context(), f, cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.scenario, "scenario", "", "TOML `FILE` that describes the bench (default: the built-in three-input counter)")
	fl.IntVar(&f.seed, "seed", 0, "seed of all noise; 0 takes the scenario's")
	fl.StringArrayVar(&f.tcp, "tcp", nil, "serve an instrument on a TCP port, as `NAME=HOST:PORT`; port 0 takes a free one (repeatable)")
	fl.StringArrayVar(&f.pty, "pty", nil, "serve an instrument on a pseudo-terminal, as `NAME=SYMLINK` (repeatable)")
	fl.StringArrayVar(&f.serial, "serial", nil, "serve an instrument on a serial port, as `NAME=DEVICE[,BAUD]` (repeatable)")
	fl.StringArrayVar(&f.hislip, "hislip", nil, "serve an instrument by HiSLIP, as `NAME=HOST:PORT[,SUBADDRESS]`; those on one HOST:PORT share it as hislip0, hislip1, … (repeatable)")
	fl.StringArrayVar(&f.vxi11, "vxi11", nil, "serve an instrument by VXI-11, as `NAME=HOST:PORT[,DEVICE]`; those on one HOST:PORT are one host's inst0, inst1, …; gpib0,7 is as behind a gateway (repeatable)")
	fl.StringVar(&f.portmapper, "portmapper", "", "tell clients the port of the VXI-11 host at `HOST:PORT`; they ask at port 111")
	fl.StringVar(&f.announce, "announce", "", "announce what is served over TCP by multicast DNS, on one network `INTERFACE` (--announce=eth0); without one, on the first that reaches it")
	fl.Lookup("announce").NoOptDefVal = anyInterface
	fl.StringArrayVar(&f.adapters, "adapter", nil, "serve a GPIB adapter with instruments behind it, as `PLACE=NAME@ADDRESS,…`; the place is HOST:PORT, pty:SYMLINK or serial:DEVICE[:BAUD] (repeatable)")
	fl.StringArrayVar(&f.faults, "fault", nil, "break something, as `NAME:KEY=VALUE,…` (repeatable; see --list-faults)")
	fl.BoolVar(&f.list, "list-faults", false, "list the catalogue of faults and end")
	fl.BoolVar(&f.stages, "list-stages", false, "list what is inside the counter and how it can fail (--fault stage:stage=NAME,mode=MODE), and end")
	fl.BoolVar(&f.probe, "probe", false, "answer each line of standard input that names a test point inside the counter with what a probe finds there now")
	fl.Float64Var(&f.timeScale, "time-scale", 1, "run by this factor faster than real time")
	fl.BoolVar(&f.follow, "follow", false, "a virtual technician moves the cable to the selected input")
	fl.StringVar(&f.replay, "replay", "", "play a wire log: each instrument of `FILE` answers as it did then, on free TCP ports unless --tcp or --pty name some of them; ends with 1 where a client sends anything else")
	fl.BoolVar(&f.verbose, "verbose", false, "log what happens at the bench to standard error")
	return cmd
}

func listFaults(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	_, _ = fmt.Fprintln(w, "NAME\tOF\tAMOUNT\tSYMPTOM") // errors come back from Flush
	for _, k := range virtual.Catalogue() {
		role, amount := k.Role, "-"
		if role == "" {
			role = "either"
		}
		if k.Amount != "" {
			amount = k.Default
		}
		about := k.About
		if k.Needs != "" {
			about += " Needs " + k.Needs + "=FREQUENCY."
		}
		_, _ = fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", k.Name, role, amount, about)
	}
	if err := w.Flush(); err != nil {
		return &benchError{fmt.Errorf("write the list: %w", err)}
	}
	return nil
}

// build makes the bench that the flags describe.
func build(f flags, log *slog.Logger) (*virtual.Bench, error) {
	s, err := scenario(f.scenario)
	if err != nil {
		return nil, err
	}
	clock, err := virtual.NewScaledClock(f.timeScale)
	if err != nil {
		return nil, fmt.Errorf("--time-scale: %w", err)
	}
	for _, text := range f.faults {
		x, err := virtual.ParseFault(text)
		if err != nil {
			return nil, fmt.Errorf("--fault: %w", err)
		}
		s.Faults = append(s.Faults, x)
	}
	b, err := virtual.New(s, virtual.Options{Seed: f.seed, Clock: clock, Follow: f.follow, Log: log})
	if err != nil {
		return nil, fmt.Errorf("--fault: %w", err)
	}
	return b, nil
}

// logTo is where the bench tells what happens.
func logTo(f flags, stderr io.Writer) *slog.Logger {
	level := slog.LevelWarn
	if f.verbose {
		level = slog.LevelDebug
	}
	return slog.New(slog.NewTextHandler(stderr, &slog.HandlerOptions{Level: level}))
}

func scenario(path string) (virtual.Scenario, error) {
	if path == "" {
		return virtual.DefaultScenario()
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return virtual.Scenario{}, fmt.Errorf("--scenario: %w", err)
	}
	return virtual.LoadScenario(path, text)
}

func serve(ctx context.Context, f flags, stdin io.Reader, stdout, stderr io.Writer) error {
	b, err := build(f, logTo(f, stderr))
	if err != nil {
		return err
	}
	defer func() { _ = b.Close() }() // no in-process link was opened
	places, err := placesOf(f, b)
	if err != nil {
		return err
	}
	var publish func([]servedAt) (func() error, error)
	if f.announce != "" {
		publish = func(list []servedAt) (func() error, error) { return announce(b, list, f.announce, logTo(f, stderr)) }
	}
	out := &oneWriter{w: stdout}
	if f.probe {
		if len(b.TestPoints()) == 0 {
			return errors.New("--probe: the scenario states no test points of the counter")
		}
		go func() { // ends with its input, at the latest with the process
			if err := probes(b, stdin, out); err != nil {
				logTo(f, stderr).Error(err.Error())
			}
		}()
	}
	return serveAll(ctx, b, places, publish, out)
}
