package main

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"bandproof/drivers/find"
	"bandproof/procedures/quantity"

	"github.com/spf13/cobra"
)

// findSchema names the JSON shape of what was found.
const findSchema = "bandproof find 1"

type findFlags struct {
	o       find.Options
	time    string
	verbose bool
}

// add adds the flags that say where to look.
func (f *findFlags) add(c *cobra.Command) {
	fl := c.Flags()
	fl.StringVar(&f.time, "time", "5 s", "how long to look in all")
	fl.StringArrayVar(&f.o.Try, "try", nil, "ask here too: `HOST`, HOST:PORT, a serial device such as /dev/ttyUSB0 or COM3, or a VISA resource name (repeatable)")
	fl.StringArrayVar(&f.o.Adapters, "adapter", nil, "poll the GPIB addresses behind the adapter at this `ADDRESS` (repeatable)")
	fl.BoolVar(&f.o.AskSerial, "ask-serial", false, "ask *IDN? on every serial port: what is behind one may take it for something else")
	fl.BoolVar(&f.o.AskGPIB, "ask-gpib", false, "ask *IDN? at every GPIB address that answers a poll: instruments older than SCPI may take it for something else")
	fl.IntSliceVar(&f.o.Bauds, "baud", nil, "ask serial ports at these rates, one after the other; 9600 unless stated")
	fl.BoolVar(&f.o.Local, "local", false, "send nothing to the network but to hosts that --try names")
	fl.BoolVar(&f.verbose, "verbose", false, "log what happens to standard error")
}

// looked is the JSON shape of find, and what bench init begins from.
type looked struct {
	Schema   string      `json:"schema"`
	Found    []foundItem `json:"found"`
	Problems []string    `json:"problems"`
}

type foundItem struct {
	find.Found
	Bench string `json:"bench"` // lines for a bench file
}

func findCommand(t *terminal) *cobra.Command {
	var f findFlags
	var asJSON bool
	c := &cobra.Command{
		Use:   "find",
		Short: "look for instruments, ask who they are, and propose lines for a bench file",
		Long: `Look for instruments: serial ports, services announced by multicast DNS, VXI-11
devices that answer a broadcast, USB test and measurement devices, GPIB
addresses behind an adapter, and whatever --try names. *IDN? is asked where it
is safe: of what says by itself that it is an instrument, and of what you name.
No unknown serial port is written to unless --ask-serial says so.`,
		Example: `  bandproof find
  bandproof find --try 192.0.2.7 --try /dev/ttyUSB0 --baud 9600,19200
  bandproof find --adapter ASRL/dev/ttyUSB1::INSTR --time "20 s"`,
		Args: exactly(0, "no arguments"),
		RunE: func(c *cobra.Command, _ []string) error {
			l, err := f.look(c.Context(), t)
			if err != nil {
				return err
			}
			if asJSON {
				return t.json(l)
			}
			t.found(l)
			return nil
		},
	}
	f.add(c)
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON (schema \""+findSchema+"\")")
	return c
}

// look looks where the flags say.
func (f findFlags) look(ctx context.Context, t *terminal) (looked, error) {
	d, err := quantity.Parse[quantity.Second](f.time)
	if err != nil {
		return looked{}, usage{fmt.Errorf("--time: %w", err)}
	}
	if f.o.Time = time.Duration(d.Float() * float64(time.Second)); f.o.Time <= 0 || f.o.Time > time.Hour {
		return looked{}, usage{fmt.Errorf("--time is %s; expected above 0 and at most 1 h", f.time)}
	}
	level := slog.LevelError
	if f.verbose {
		level = slog.LevelDebug
	}
	finder := find.Finder{Log: slog.New(slog.NewTextHandler(t.err, &slog.HandlerOptions{Level: level}))}
	r, err := finder.Find(ctx, f.o)
	if err != nil {
		return looked{}, usage{err}
	}
	if ctx.Err() != nil {
		t.note("note: interrupted; this is what was found until then")
	}
	l := looked{Schema: findSchema, Found: []foundItem{}, Problems: r.Problems}
	for _, x := range r.Found {
		l.Found = append(l.Found, foundItem{x, snippet(x)})
	}
	return l, nil
}

// found lays out what was found for a person.
func (t *terminal) found(l looked) {
	for _, x := range l.Found {
		t.print("%s", x.Address+orEmpty(" via ", x.Via))
		for _, line := range []struct{ key, text string }{
			{"identity", x.Answer}, {"announced", announced(x.Found)}, {"USB", usbText(x.USB)}, {"also", strings.Join(x.Also, ", ")},
			{"found by", strings.Join(x.How, ", ")}, {"note", x.Note}, {"proposed", orEmpty("profile ", x.Profile)},
		} {
			if line.text != "" {
				t.print("  %s: %s", line.key, line.text)
			}
		}
	}
	for _, p := range l.Problems {
		t.note("note: %s", p)
	}
	if len(l.Found) == 0 {
		t.note("nothing was found; name what you know with --try, such as --try 192.0.2.7 or --try /dev/ttyUSB0")
		return
	}
	t.print("")
	t.print("For the bench file (\"bandproof bench init\" writes a whole one):")
	for _, x := range l.Found {
		t.print("")
		t.print("%s", strings.TrimSuffix(x.Bench, "\n"))
	}
}

// announced is what an instrument that did not answer said of itself.
func announced(x find.Found) string {
	if x.Answer != "" || x.Model == "" {
		return ""
	}
	return strings.Trim(strings.Join([]string{x.Maker, x.Model, x.Serial, x.Version}, ", "), ", ")
}

func usbText(u *find.USB) string {
	if u == nil {
		return ""
	}
	return strings.TrimSpace(u.Vendor + ":" + u.Product + orEmpty(" serial ", u.SerialNumber) + orEmpty(" ", u.Name))
}

func orEmpty(before, text string) string {
	if text == "" {
		return ""
	}
	return before + text
}
