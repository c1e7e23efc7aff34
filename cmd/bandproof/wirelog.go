package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bandproof/drivers/link"
	"bandproof/drivers/wirelog"
	"bandproof/reports/store"

	"github.com/spf13/cobra"
)

// wireLogSchema names the JSON shape of a wire log.
const wireLogSchema = wirelog.Schema

func wireLogCommand(t *terminal) *cobra.Command {
	var f wireLogFlags
	c := &cobra.Command{Use: "wire-log FILE", Short: "show what went over the wire, from a file that run or talk wrote",
		Args: exactly(1, "a wire log file"),
		RunE: func(_ *cobra.Command, args []string) error {
			text, err := readFile(args[0], "wire log")
			if err != nil {
				return err
			}
			return f.show(t, args[0], text)
		}}
	f.add(c)
	return c
}

func recordsWireLog(t *terminal, file *string) *cobra.Command {
	var f wireLogFlags
	var to string
	c := &cobra.Command{Use: "wire-log RECORD", Short: "show the wire log that was kept with a record", Args: exactly(1, "the id of a record"),
		RunE: func(c *cobra.Command, args []string) error {
			return withStore(c, *file, func(s *store.Store) error {
				r, err := s.Record(c.Context(), args[0])
				if err != nil {
					return err
				}
				text, err := s.ReadWireLog(c.Context(), r.ID)
				if err != nil {
					return err
				}
				if to == "" {
					return f.show(t, "record "+shortID(r.ID), text)
				}
				if err := writeFile(to, text); err != nil {
					return usage{err}
				}
				t.print("wrote %s", to)
				return nil
			})
		}}
	f.add(c)
	c.Flags().StringVar(&to, "to", "", "write the log as a file, as \"wire-log\" and \"virtualbench --replay\" take it")
	return c
}

// wireLogFlags say how a log is shown.
type wireLogFlags struct {
	only string
	json bool
}

func (f *wireLogFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.only, "only", "", "only this instrument, by its name or address")
	c.Flags().BoolVar(&f.json, "json", false, "print as JSON (schema \""+wireLogSchema+"\")")
}

// show prints a log. What stands before a mistake is shown too.
func (f wireLogFlags) show(t *terminal, name string, text []byte) error {
	l, mistake := wirelog.Parse(name, text)
	if mistake != nil && len(l.Exchanges) == 0 {
		return usage{mistake}
	}
	if f.only != "" {
		known := l.Addresses()
		l.Exchanges = slices.DeleteFunc(l.Exchanges, func(e link.Exchange) bool {
			return e.Direction != wirelog.Lost && e.Address != f.only && l.Name(e.Address) != f.only
		})
		if !slices.ContainsFunc(known, func(a string) bool { return a == f.only || l.Name(a) == f.only }) {
			var names []string
			for _, a := range known {
				names = append(names, l.Name(a))
			}
			return usage{fmt.Errorf("--only: nothing of %q is in the log; there are %s", f.only, strings.Join(names, ", "))}
		}
	}
	if f.json {
		if err := t.json(wireLogJSON(l)); err != nil {
			return err
		}
	} else {
		t.wireLog(l)
	}
	if mistake != nil {
		return usage{mistake}
	}
	return nil
}

// arrows show where bytes went; what is no message has a word.
var arrows = map[link.Direction]string{link.Sent: "->", link.Received: "<-", link.Discarded: "x-"}

// wireLog lays a log out for a person: seconds since its begin, instrument,
// arrow, the bytes in quotes.
func (t *terminal) wireLog(l wirelog.Log) {
	t.print("wire log, begun %s UTC by %s", l.Begun.Format("2006-01-02 15:04:05"), l.Program)
	width := 0
	for _, a := range l.Addresses() {
		t.print("%s is %s", l.Name(a), a)
		width = max(width, len([]rune(l.Name(a))))
	}
	for _, e := range l.Exchanges {
		t.print("%s", strings.TrimRight(fmt.Sprintf("%12.6f  %-*s  %s", e.At.Sub(l.Begun).Seconds(), width, l.Name(e.Address), happened(e)), " "))
	}
}

// happened is one exchange without its time and place.
func happened(e link.Exchange) string {
	note := ""
	if e.Note != "" {
		note = "  (" + e.Note + ")"
	}
	switch arrow, isMessage := arrows[e.Direction]; {
	case isMessage:
		return arrow + " " + wirelog.Quote(e.Bytes) + note
	case e.Direction == link.Polled && len(e.Bytes) == 1:
		return fmt.Sprintf("== status byte %d (%08b)%s", e.Bytes[0], e.Bytes[0], note)
	}
	return "== " + string(e.Direction) + note
}

// wireLogJSON is the documented shape: times as RFC 3339 texts in UTC, bytes
// quoted as in the file.
func wireLogJSON(l wirelog.Log) any {
	type exchange struct {
		At        string `json:"at"`
		Seconds   string `json:"seconds"` // since begun
		Name      string `json:"name,omitempty"`
		Address   string `json:"address,omitempty"`
		Direction string `json:"direction"`
		Bytes     string `json:"bytes,omitempty"`
		Note      string `json:"note,omitempty"`
	}
	list := []exchange{}
	for _, e := range l.Exchanges {
		x := exchange{At: e.At.Format(time.RFC3339Nano), Seconds: fmt.Sprintf("%.6f", e.At.Sub(l.Begun).Seconds()), Address: e.Address, Direction: string(e.Direction), Note: e.Note}
		if name := l.Name(e.Address); name != e.Address {
			x.Name = name
		}
		if e.Direction.CarriesBytes() || len(e.Bytes) > 0 {
			x.Bytes = wirelog.Quote(e.Bytes)
		}
		list = append(list, x)
	}
	return struct {
		Schema    string     `json:"schema"`
		Program   string     `json:"program"`
		Begun     string     `json:"begun"`
		Exchanges []exchange `json:"exchanges"`
	}{wireLogSchema, l.Program, l.Begun.Format(time.RFC3339Nano), list}
}
