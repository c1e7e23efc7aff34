package main

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/virtual"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/spf13/cobra"
)

//go:embed demo/*.toml demo/logo.png
var demoFiles embed.FS

// The story of the demo: what is wrong with the virtual unit as found, and
// what the repair leaves. All of it is invented.
const demoFaults = `
# The unit as found (invented): input B is dead above 850 MHz, and the timebase
# has drifted.
[[fault]]
name = "dead-above"
input = "B"
from = "850 MHz"

[[fault]]
name = "timebase-offset"
amount = "0.5 ppm"
`

var demoLeftWith = quantity.MustParse[quantity.One]("0.015 ppm")

// demoWritten is the day on which the story of the embedded files plays; they
// are laid out with their dates moved to today.
var demoWritten = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

var isoDate = regexp.MustCompile(`\b\d{4}-\d{2}-\d{2}\b`)

func toToday(text []byte, now time.Time) []byte {
	days := int(now.Sub(demoWritten).Hours() / 24)
	return isoDate.ReplaceAllFunc(text, func(d []byte) []byte {
		t, err := time.Parse(time.DateOnly, string(d))
		if err != nil {
			return d
		}
		return []byte(t.AddDate(0, 0, days).Format(time.DateOnly))
	})
}

func demoCommand(t *terminal) *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "demo",
		Short: "two-minute tour: as-found on a faulty virtual unit, repair, as-left, data sheets",
		Args:  exactly(0, "no arguments"),
		RunE:  func(c *cobra.Command, _ []string) error { return demo(c.Context(), t, out) },
	}
	c.Flags().StringVar(&out, "out", "bandproof-demo", "folder for everything the demo makes")
	return c
}

func demo(ctx context.Context, t *terminal, out string) error {
	if err := os.MkdirAll(out, 0o755); err != nil {
		return usage{fmt.Errorf("--out: %w", err)}
	}
	if err := layOut(out); err != nil {
		return usage{err}
	}
	at := func(name string) string { return filepath.Join(out, name) }
	in, err := loadFiles(at("procedure.toml"), at("bench.toml"))
	if err != nil {
		return err
	}
	st, err := store.Open(ctx, at("bandproof.db"))
	if err != nil {
		return err
	}
	defer func() { _ = st.Close() }()
	key, _, err := record.OpenKey(at("demo-signing-key"), nil)
	if err != nil {
		return usage{err}
	}
	clock := newDemoClock()
	bench, err := demoBench(clock)
	if err != nil {
		return err
	}
	defer func() { _ = bench.Close() }()
	w := sweep{files: in, store: st, key: key, out: out, terminal: t, clock: clock, invented: true, log: slog.New(slog.DiscardHandler), dial: inProcess(bench),
		operator: demoOperator{t, bench}}

	w.logo = in.logo(t)

	t.print("Virtual bench, invented unit and data. Model time: nothing waits for its gates.")
	t.print("")
	t.print("1. As found: the unit as the customer sent it.")
	found, err := w.demoRun(ctx, at("job-as-found.toml"), runner.AsFound)
	if err != nil {
		return err
	}
	t.print("")
	t.print("2. The repair: the second amplifier of input B is replaced, the timebase adjusted.")
	bench.Repair(demoLeftWith)
	t.print("")
	t.print("3. As left: every band again.")
	w.follows = found.ID
	left, err := w.demoRun(ctx, at("job-as-left.toml"), runner.AsLeft)
	if err != nil {
		return err
	}
	t.print("")
	t.print("Look further (from the source folder, \"bandproof\" is \"go run ./cmd/bandproof\", \"virtualbench\" likewise):")
	t.print("  the data sheet, as found and as left side by side: %s", left.Files[1])
	t.print("  bandproof plan %s %s", at("procedure.toml"), at("bench.toml"))
	t.print("  bandproof records list --store %s", at("bandproof.db"))
	t.print("  bandproof records show %s --store %s", found.ID, at("bandproof.db"))
	t.print("  bandproof isolate %s --model %s --store %s   (where to look for the fault)", found.ID, at("block-model.toml"), at("bandproof.db"))
	t.print("  the same sweep against instruments in another process:")
	t.print("    virtualbench --scenario %s --follow --time-scale 100   (and in a second terminal)", at("virtual-bench.toml"))
	t.print("    bandproof run %s %s --as-found --invented --job %s --store %s --out %s", at("procedure.toml"), at("bench.toml"), at("job-as-found.toml"), at("bandproof.db"), out)
	return scripted(found, left)
}

// scripted makes sure that the demo ended as its story says.
func scripted(found, left finished) error {
	switch {
	case found.Statement != string(runner.Outside) || found.Failed == 0:
		return fmt.Errorf("the as-found run should have shown the fault, but its statement is %q", found.Statement)
	case left.Statement != string(runner.WithinShown) || left.NotShown == 0:
		return fmt.Errorf("the as-left run should be clean over the range shown, but its statement is %q", left.Statement)
	}
	return nil
}

func (w sweep) demoRun(ctx context.Context, jobFile string, kind runner.Kind) (finished, error) {
	text, err := readFile(jobFile, "job")
	if err != nil {
		return finished{}, err
	}
	job, err := procedures.LoadJob(jobFile, text)
	if err != nil {
		return finished{}, err
	}
	w.job, w.kind = *job, kind
	done, err := w.do(ctx)
	if err == nil && !done.Record.Run.Complete {
		err = outcome{exitOpen, errors.New("the demo was interrupted; what there is was kept")}
	}
	if err == nil {
		w.terminal.summary(done)
	}
	return done, err
}

// layOut writes the files that the demo uses, so that they can be used again:
// the embedded ones, and the virtual bench with its faults and repaired.
func layOut(out string) error {
	entries, err := demoFiles.ReadDir("demo")
	if err != nil {
		return err
	}
	for _, e := range entries {
		text, err := demoFiles.ReadFile("demo/" + e.Name())
		if err == nil {
			if filepath.Ext(e.Name()) == ".toml" {
				text = toToday(text, time.Now())
			}
			err = writeFile(filepath.Join(out, e.Name()), text)
		}
		if err != nil {
			return err
		}
	}
	if err := writeFile(filepath.Join(out, "virtual-bench.toml"), demoScenario()); err != nil {
		return err
	}
	return writeFile(filepath.Join(out, "virtual-bench-repaired.toml"), virtual.DefaultScenarioText())
}

func demoScenario() []byte { return append(virtual.DefaultScenarioText(), demoFaults...) }

func demoBench(clock drivers.Clock) (*virtual.Bench, error) {
	s, err := virtual.LoadScenario("virtual-bench.toml", demoScenario())
	if err != nil {
		return nil, err
	}
	return virtual.New(s, virtual.Options{Clock: clock})
}

// inProcess connects the bench file's addresses to the virtual bench in this
// process, so that the demo needs no free port.
func inProcess(b *virtual.Bench) func(context.Context, string, string) (net.Conn, error) {
	return func(ctx context.Context, _, address string) (net.Conn, error) {
		for _, i := range b.Instruments() {
			if i.TCP == address {
				return b.Dial(ctx, i.Name)
			}
		}
		return nil, fmt.Errorf("the virtual bench has no instrument at %s", address)
	}
}

// demoClock is a clock that never waits and begins now.
type demoClock struct {
	*virtual.InstantClock
	ahead time.Duration
}

func newDemoClock() demoClock {
	c := virtual.NewInstantClock()
	return demoClock{c, time.Since(c.Now()).Truncate(time.Second)}
}

func (c demoClock) Now() time.Time { return c.InstantClock.Now().Add(c.ahead) }

// demoOperator moves the cables of the virtual bench when asked.
type demoOperator struct {
	t     *terminal
	bench *virtual.Bench
}

func (demoOperator) Name() string { return "A. Example (invented)" }

func (o demoOperator) Move(_ context.Context, m runner.Move) error {
	o.t.note(">> %s (the demo does it)", m)
	return o.bench.Connect(m.Source, m.Input)
}

func (o demoOperator) Confirm(_ context.Context, question string) (bool, error) {
	o.t.note(">> %s (the demo answers no)", question)
	return false, nil
}
