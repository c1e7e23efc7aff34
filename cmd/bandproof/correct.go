package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/reports/store"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
)

// correctFlags say what is corrected, why and by whom.
type correctFlags struct {
	reason, by, job, key string
	set                  []string
	withdraw             bool
}

func recordsCorrect(t *terminal, file *string) *cobra.Command {
	var f correctFlags
	c := &cobra.Command{
		Use:   "correct RECORD --reason TEXT --by NAME (--set KEY=VALUE | --job FILE | --withdraw)",
		Short: "make a record that takes the place of another: with all that was measured, and a corrected job",
		Long: `Make a record that takes the place of another one. The old one stays as it is;
the new one names it and says what was changed from what to what, why, and by
whom. Only what the job states can be corrected (customer, serial number,
condition, due date …): what was measured, and what limits rest on, never.
With --withdraw the new record says that the old one must not be relied on.`,
		Args: exactly(1, "the id of a record"),
		RunE: func(c *cobra.Command, args []string) error { return correct(c, t, *file, args[0], f) },
	}
	c.Flags().StringVar(&f.reason, "reason", "", "why it is corrected, in a sentence")
	c.Flags().StringVar(&f.by, "by", "", "who corrects it")
	c.Flags().StringArrayVar(&f.set, "set", nil, "key of the job and its right value, such as \"customer=…\"; nothing behind the = takes it away (may be given again); keys: "+strings.Join(procedures.JobKeys(), ", "))
	c.Flags().StringVar(&f.job, "job", "", "job file with all that is right")
	c.Flags().BoolVar(&f.withdraw, "withdraw", false, "withdraw the record: it must not be relied on")
	keyFlag(c, &f.key)
	c.MarkFlagsMutuallyExclusive("job", "set", "withdraw")
	c.MarkFlagsOneRequired("job", "set", "withdraw")
	return c
}

func correct(c *cobra.Command, t *terminal, place, id string, f correctFlags) error {
	if err := isThere(place); err != nil {
		return err
	}
	s, err := t.openStore(c.Context(), place)
	if err != nil {
		return err
	}
	defer func() { _ = s.Close() }()
	old, err := s.Record(c.Context(), id)
	if err != nil {
		return err
	}
	if newest, err := s.Newest(c.Context(), old.ID); err != nil {
		return err
	} else if newest.ID != old.ID {
		return usage{fmt.Errorf("record %s %w: record %s stands in its place; correct that one", old.ID, store.ErrCorrected, newest.ID)}
	}
	job, err := f.jobFor(old)
	if err != nil {
		return err
	}
	r, err := old.Correct(uuid.Must(uuid.NewV7()).String(), time.Now(), job, f.reason, f.by, f.withdraw)
	if err != nil {
		return usage{err}
	}
	key, err := t.signingKey(f.key, false)
	if err != nil {
		return err
	}
	if _, err := s.Add(c.Context(), r, key, time.Now(), nil); err != nil {
		return err
	}
	if f.withdraw {
		t.print("record %s is withdrawn, by record %s", old.ID, r.ID)
		return nil
	}
	for _, x := range r.Corrects.Changes {
		t.print("%s: %q became %q", strings.TrimPrefix(x.Path, "/job/"), x.Old, x.New)
	}
	t.print("record %s takes the place of record %s; \"bandproof sheet %s\" writes the amended data sheet", r.ID, old.ID, shortID(r.ID))
	return nil
}

// jobFor is the job as it should have been.
func (f correctFlags) jobFor(old record.Record) (procedures.Job, error) {
	job := old.Job
	if f.job != "" {
		text, err := readFile(f.job, "job")
		if err != nil {
			return job, err
		}
		p, err := procedures.LoadJob(f.job, text)
		if err != nil {
			return job, err
		}
		return *p, nil
	}
	for _, x := range f.set {
		key, value, ok := strings.Cut(x, "=")
		if !ok {
			return job, usage{fmt.Errorf("--set %q: expected KEY=VALUE, such as customer=…", x)}
		}
		if err := job.Set(strings.TrimSpace(key), strings.TrimSpace(value)); err != nil {
			return job, usage{fmt.Errorf("--set: %w", err)}
		}
	}
	var wrong []error
	if len(f.set) > 0 {
		for _, x := range job.Check() {
			wrong = append(wrong, fmt.Errorf("--set %s: %s", x.Key, x.Text))
		}
	}
	if err := errors.Join(wrong...); err != nil {
		return job, usage{err}
	}
	return job, nil
}
