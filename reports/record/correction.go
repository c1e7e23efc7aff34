package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/quantity/tomlfile"
)

// ErrCorrection is wrapped by every refusal of a correction.
var ErrCorrection = errors.New("correction")

// takenKeys are the keys of the job that a run takes up: with other ones it would
// have had other limits, or another warm-up.
var takenKeys = map[string]string{
	"adjusted": "the limits rest on it (ageing since then)",
	"on_for":   "the warm-up rests on it",
}

// Correct makes the record that takes the place of an old one: with all that was
// measured, and another job. Withdrawing one changes nothing.
func (r Record) Correct(id string, now time.Time, job procedures.Job, reason, who string, withdraw bool) (Record, error) {
	fail := func(format string, args ...any) (Record, error) {
		return Record{}, fmt.Errorf("%w of record %s: %w", ErrCorrection, r.ID, fmt.Errorf(format, args...))
	}
	switch {
	case strings.TrimSpace(reason) == "":
		return fail("no reason is given; say why (--reason)")
	case strings.TrimSpace(who) == "":
		return fail("nobody is named who corrects it (--by)")
	case r.Corrects != nil && r.Corrects.Withdrawn:
		return fail("it was withdrawn (%s); take the run anew", r.Corrects.Reason)
	}
	for _, x := range []string{reason, who} {
		if what := tomlfile.NotPlain(x); what != "" {
			return fail("%q %s", x, what)
		}
	}
	next := r.renewed()
	old := next
	if job.Serial == "" && r.Run.Unit.Stated {
		job.Serial = r.Run.Unit.Serial
	}
	job.Schema = r.Job.Schema
	next.ID, next.Created, next.Job = id, now.UTC(), job
	next.Corrects = &Correction{ID: r.ID, Reason: reason, Who: who, Withdrawn: withdraw}
	toUTC(reflect.ValueOf(&next).Elem())
	var err error
	if next.Corrects.Changes, err = jobChanges(old.Job, next.Job); err != nil {
		return fail("%w", err)
	}
	switch {
	case withdraw && len(next.Corrects.Changes) > 0:
		return fail("withdrawing it changes nothing else; leave the changes out")
	case !withdraw && len(next.Corrects.Changes) == 0:
		return fail("nothing would change; give --set key=value, or a job file that differs")
	}
	if err := next.Check(); err != nil {
		return fail("%w", err)
	}
	return next, nil
}

// renewed is the record in the form of today: one of the first schema becomes
// one of this, its zone that of its times.
func (r Record) renewed() Record {
	text, err := r.Encode()
	var c Record
	if err != nil || json.Unmarshal(text, &c) != nil {
		return r // Check refuses what can't be written
	}
	if c.Schema == firstSchema {
		c.Schema = Schema
		c.Zone = zoneAt(r.Run.Started, r.Run.Started.Location())
	}
	toUTC(reflect.ValueOf(&c).Elem())
	return c
}

// jobChanges lists what differs between two jobs, and refuses what was measured.
func jobChanges(was, is procedures.Job) (list []Change, err error) {
	differ, err := differencesOf(was, is)
	if err != nil {
		return nil, err
	}
	for _, d := range differ {
		key, _, _ := strings.Cut(strings.TrimPrefix(d.Path, "/"), "/")
		if why, taken := takenKeys[key]; taken {
			return nil, fmt.Errorf("job key %q can't be corrected: %s; take the run anew", key, why)
		}
		list = append(list, Change{"/job" + d.Path, plainText(d.Was), plainText(d.Is)})
	}
	return list, nil
}

func differencesOf(was, is any) ([]Difference, error) {
	a, err := canonical(was)
	if err != nil {
		return nil, err
	}
	b, err := canonical(is)
	if err != nil {
		return nil, err
	}
	return Differences(a, b)
}

// plainText is a value of JSON as a person writes it: texts without quotes.
func plainText(v string) string {
	var s string
	if json.Unmarshal([]byte(v), &s) == nil {
		return s
	}
	return v
}

// checkCorrection makes sure that what a record says of its correction can be.
func (r Record) checkCorrection() error {
	c := r.Corrects
	switch {
	case c == nil:
		return nil
	case c.ID == "" || c.ID == r.ID:
		return fmt.Errorf("corrects record %q, which can't be", c.ID)
	case strings.TrimSpace(c.Reason) == "" || strings.TrimSpace(c.Who) == "":
		return errors.New("is a correction that does not say why and by whom")
	case c.Withdrawn == (len(c.Changes) > 0):
		return errors.New("is a correction that changes nothing, or withdraws and changes at once")
	}
	job, err := canonical(r.Job)
	if err != nil {
		return err
	}
	v, err := anyJSON(job)
	if err != nil {
		return err
	}
	for _, x := range c.Changes {
		path, ok := strings.CutPrefix(x.Path, "/job/")
		key, _, _ := strings.Cut(path, "/")
		_, taken := takenKeys[key]
		switch {
		case !ok || taken:
			return fmt.Errorf("corrects %s, which is never corrected", x.Path)
		case x.Old == x.New:
			return fmt.Errorf("corrects %s to what it was", x.Path)
		case plainText(shown(at(v, path))) != x.New:
			return fmt.Errorf("says that %s was corrected to %q, which is not what it is", x.Path, x.New)
		}
	}
	return nil
}

// at is the value at a pointer below v.
func at(v any, path string) any {
	for _, name := range strings.Split(path, "/") {
		name = strings.NewReplacer("~1", "/", "~0", "~").Replace(name)
		switch x := v.(type) {
		case map[string]any:
			v = member(x, name)
		case []any:
			var k int
			if _, err := fmt.Sscanf(name, "%d", &k); err != nil || k < 0 {
				return gone{}
			}
			v = element(x, k)
		default:
			return gone{}
		}
	}
	return v
}

// CorrectsOnly makes sure that the record keeps all of the old one but what it
// says it changes.
func (r Record) CorrectsOnly(old Record) error {
	a, err := old.renewed().Encode()
	if err != nil {
		return err
	}
	b, err := r.Encode()
	if err != nil {
		return err
	}
	was, err := partsOf(a)
	if err != nil {
		return err
	}
	is, err := partsOf(b)
	if err != nil {
		return err
	}
	names := slices.Collect(maps.Keys(was))
	names = append(names, slices.Collect(maps.Keys(is))...)
	slices.SortFunc(names, comparePointers)
	for _, part := range slices.Compact(names) {
		switch part {
		case "/id", "/created", "/corrects", "/job":
			continue
		}
		if !bytes.Equal(was[part], is[part]) {
			return fmt.Errorf("corrects record %s, but differs from it in %s, which is never corrected", old.ID, part)
		}
	}
	changes, err := jobChanges(old.renewed().Job, r.Job)
	if err != nil {
		return err
	}
	if !slices.Equal(changes, r.Corrects.Changes) {
		return fmt.Errorf("corrects record %s, but what it says it changes is not how they differ", old.ID)
	}
	return nil
}
