package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"text/tabwriter"
	"time"

	"bandproof/procedures"
	"bandproof/reports/notify"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/spf13/cobra"
)

func noticesCommand(t *terminal) *cobra.Command {
	var file string
	var delivered, asJSON bool
	c := &cobra.Command{Use: "notices", Short: "show what waits to be delivered to webhooks and mail, send it, try receivers",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usage{fmt.Errorf("notices has no command %q; there are send, try, drop; alone it shows what waits", args[0])}
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error {
			return withStore(c, file, func(s *store.Store) error {
				list, err := s.Outbox().List(c.Context(), delivered)
				if err != nil {
					return err
				}
				return t.notices(list, asJSON)
			})
		}}
	storeFlag(c, &file, true, "what waits")
	c.Flags().BoolVar(&delivered, "all", false, "also what was delivered")
	c.Flags().BoolVar(&asJSON, "json", false, "print as JSON (schema \"bandproof notices 1\")")
	c.AddCommand(noticesSend(t, &file), noticesTry(t), noticesDrop(t, &file))
	return c
}

// noticeRow is one event on its way, as it is shown.
type noticeRow struct {
	Number   int64        `json:"number"`
	Receiver string       `json:"receiver"` // bench / receiver
	State    string       `json:"state"`    // waiting, refused, delivered
	Tries    int          `json:"tries"`
	Last     string       `json:"last_error,omitempty"`
	Next     *time.Time   `json:"next_try,omitempty"`
	Event    notify.Event `json:"event"`
}

func rowOf(w notify.Waiting) (noticeRow, error) {
	r := noticeRow{Number: w.Seq, Receiver: w.Address, State: "waiting", Tries: w.Tries, Last: w.LastError}
	switch {
	case !w.Delivered.IsZero():
		r.State = "delivered"
	case w.GivenUp:
		r.State = "refused"
	default:
		r.Next = &w.NextTry
	}
	return r, json.Unmarshal(w.Event, &r.Event)
}

// notices lists what waits.
func (t *terminal) notices(list []notify.Waiting, asJSON bool) error {
	rows := []noticeRow{}
	for _, w := range list {
		r, err := rowOf(w)
		if err != nil {
			return fmt.Errorf("notice %d: %w", w.Seq, err)
		}
		rows = append(rows, r)
	}
	if asJSON {
		return t.json(map[string]any{"schema": "bandproof notices 1", "notices": rows})
	}
	if len(rows) == 0 {
		t.print("nothing waits to be delivered")
		return nil
	}
	w := tabwriter.NewWriter(t, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "number\tstate\ttries\treceiver\tevent\ttext")
	for _, r := range rows {
		fmt.Fprintf(w, "%d\t%s\t%d\t%s\t%s\t%s\n", r.Number, r.State, r.Tries, visible(r.Receiver), r.Event.Event, visible(r.Event.Text))
		if r.Last != "" {
			fmt.Fprintf(w, "\t\t\t\t\tlast try: %s\n", visible(r.Last))
		}
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	return nil
}

func noticesSend(t *terminal, file *string) *cobra.Command {
	var benchFile string
	var again bool
	var within time.Duration
	c := &cobra.Command{Use: "send", Short: "try to deliver what waits, now", Args: exactly(0, "no arguments"),
		RunE: func(c *cobra.Command, _ []string) error {
			o := notify.Options{Say: func(text string) { t.note("%s", text) }}
			if benchFile != "" {
				b, err := readBench(benchFile)
				if err != nil {
					return err
				}
				o.Bench, o.Receivers = b.Name, b.Notify
			}
			return withStore(c, *file, func(s *store.Store) error {
				o.Outbox = s.Outbox()
				if again {
					if err := o.Outbox.Retry(c.Context(), time.Now()); err != nil {
						return err
					}
				}
				left, err := notify.Deliver(c.Context(), o, within)
				if err != nil {
					return err
				}
				t.left(left, nil)
				if left.Waiting+left.GivenUp > 0 {
					return outcome{exitBench, nil}
				}
				t.print("nothing waits to be delivered")
				return nil
			})
		}}
	c.Flags().StringVar(&benchFile, "bench", "", "bench file whose receivers hold by now, where one was mended")
	c.Flags().BoolVar(&again, "again", false, "also what receivers have refused")
	c.Flags().DurationVar(&within, "within", time.Minute, "longest wait")
	return c
}

func noticesTry(t *terminal) *cobra.Command {
	return &cobra.Command{Use: "try BENCH", Short: "send a test to each receiver of a bench file", Args: exactly(1, "a bench file"),
		RunE: func(c *cobra.Command, args []string) error {
			b, err := readBench(args[0])
			if err != nil {
				return err
			}
			var errs []error
			for _, n := range b.Notify {
				if n.To == procedures.ToBell {
					if t.bell() {
						t.print("%s: rung", n.Called())
					} else {
						t.print("%s: silent, standard error is no terminal", n.Called())
					}
					continue
				}
				if err := notify.Try(c.Context(), notify.Options{Bench: b.Name}, n); err != nil {
					errs = append(errs, fmt.Errorf("%w: %s: %w", runner.ErrBench, n.Called(), err))
					continue
				}
				t.print("%s: delivered", n.Called())
			}
			if len(b.Notify) == 0 {
				t.print("%s names no receivers; add [[notify]] tables", args[0])
			}
			return errors.Join(errs...)
		}}
}

func noticesDrop(t *terminal, file *string) *cobra.Command {
	return &cobra.Command{Use: "drop RECEIVER", Short: "give up what waits for a receiver, as \"notices\" names it", Args: exactly(1, "a receiver, such as \"bench 1 / screen\""),
		RunE: func(c *cobra.Command, args []string) error {
			return withStore(c, *file, func(s *store.Store) error {
				n, err := s.Outbox().Drop(c.Context(), args[0])
				if err != nil {
					return err
				}
				if n == 0 {
					return usage{fmt.Errorf("nothing waits for %q", args[0])}
				}
				t.print("%s", counted(n, "notice dropped", "notices dropped"))
				return nil
			})
		}}
}

func readBench(file string) (*procedures.Bench, error) {
	text, err := readFile(file, "bench")
	if err != nil {
		return nil, err
	}
	return procedures.LoadBench(file, text)
}

// counted writes "1 notice" or "3 notices".
func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
