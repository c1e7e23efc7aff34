package store

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner"
)

// What stands in the bench log.
const (
	logHold       = "hold"
	logAdjustment = "adjustment"
	logTry        = "try"
	logEnd        = "end"
)

// Held is a hold as the bench log has it: no part of any run.
type Held struct {
	ID        string      `json:"id"`
	Serial    string      `json:"serial"`
	Procedure string      `json:"procedure_sha256"`
	Held      runner.Held `json:"held"`
}

// KeepHold keeps that a source was held: once when it begins, once at its end.
func (s *Store) KeepHold(ctx context.Context, h Held) error {
	what := logHold
	if !h.Held.Finished.IsZero() {
		what = logEnd
	}
	return s.log(ctx, h.ID, what, h.Held.Started, h.Serial, h.Procedure, "", h)
}

// KeepAdjustment keeps that an adjustment begins, or how it stands at its end.
// From its beginning on an as-left run is due.
func (s *Store) KeepAdjustment(ctx context.Context, a record.Adjustment) error {
	what, at := logAdjustment, a.Started
	if !a.Finished.IsZero() {
		what, at = logEnd, a.Finished
	}
	return s.log(ctx, a.ID, what, at, a.Serial, a.Procedure, a.AsFound, a)
}

// KeepTry keeps one try of an adjustment.
func (s *Store) KeepTry(ctx context.Context, a record.Adjustment, t runner.Try) error {
	return s.log(ctx, a.ID, logTry, t.Ended, a.Serial, a.Procedure, a.AsFound, t)
}

func (s *Store) log(ctx context.Context, entry, what string, at time.Time, serial, procedure, asFound string, body any) error {
	written, err := json.Marshal(body)
	if err == nil {
		_, err = s.exec(ctx, "INSERT INTO bench_log (entry, what, at, serial, procedure, as_found, body) VALUES ($1, $2, $3, $4, $5, $6, $7)",
			entry, what, stamp(at), text(serial), procedure, asFound, string(written))
	}
	if err != nil {
		return wrap(s.file, "bench log", err)
	}
	return nil
}

// Adjustments returns those of a unit that began in a stretch of time, oldest
// first, each as far as it was kept.
func (s *Store) Adjustments(ctx context.Context, serial, procedureSHA256 string, after, before time.Time) (list []record.Adjustment, err error) {
	at := map[string]int{}
	err = s.each(ctx, func(scan func(...any) error) error {
		var entry, what, body string
		if err := scan(&entry, &what, &body); err != nil {
			return err
		}
		k, known := at[entry]
		switch {
		case what == logAdjustment:
			a, err := decode[record.Adjustment](body)
			at[entry], list = len(list), append(list, a)
			return err
		case what == logTry && known:
			t, err := decode[runner.Try](body)
			list[k].Tries = append(list[k].Tries, t)
			return err
		case what == logEnd && known:
			list[k], err = decode[record.Adjustment](body)
			return err
		}
		return nil
	}, "SELECT entry, what, body FROM bench_log WHERE serial = $1 AND procedure = $2 ORDER BY seq", text(serial), procedureSHA256)
	if err != nil {
		return nil, wrap(s.file, "bench log", err)
	}
	return slices.DeleteFunc(list, func(a record.Adjustment) bool { return a.Started.Before(after) || a.Started.After(before) }), nil
}

// AsFound returns the newest as-found record of a whole run of a unit by a
// procedure; ok is false where there is none.
func (s *Store) AsFound(ctx context.Context, serial, procedureSHA256 string) (r record.Record, ok bool, err error) {
	rows, err := s.List(ctx, Query{Serial: serial, Kind: string(runner.AsFound)})
	if err != nil {
		return r, false, err
	}
	for _, row := range rows { // newest first
		if r, err = s.Record(ctx, row.ID); err != nil {
			return r, false, fmt.Errorf("as-found record: %w", err)
		}
		if r.Procedure.SHA256 == procedureSHA256 && len(r.Run.Only) == 0 {
			return r, true, nil
		}
	}
	return record.Record{}, false, nil
}

// LogLine is one thing that was done at the bench outside any run.
type LogLine struct {
	ID      string    `json:"id"`
	What    string    `json:"what"` // "hold", "adjustment", or an entry of isolate: "look", "prepared", "revoked", "found"
	Began   time.Time `json:"began"`
	Ended   time.Time `json:"ended,omitzero"` // zero: cut off
	Serial  string    `json:"serial"`
	AsFound string    `json:"as_found,omitempty"`
	Tries   int       `json:"tries,omitempty"`
	How     string    `json:"how,omitempty"` // it ended
	// Where the source was parked.
	Input     string             `json:"input"`
	Frequency quantity.Frequency `json:"frequency"`
	Level     quantity.Level     `json:"level"`
	// Of an entry of isolate: the record that it is about, who entered what.
	Record string `json:"record,omitempty"`
	Who    string `json:"who,omitempty"`
	Text   string `json:"text,omitempty"`
}

// BenchLog lists what was done outside any run, newest first.
func (s *Store) BenchLog(ctx context.Context, serial string) (list []LogLine, err error) {
	at := map[string]int{}
	err = s.each(ctx, func(scan func(...any) error) error {
		var l LogLine
		var body string
		if err := scan(&l.ID, &l.What, &l.Serial, &l.AsFound, &body); err != nil {
			return err
		}
		k, known := at[l.ID]
		if !known {
			k = len(list)
			at[l.ID], list = k, append(list, l)
		}
		if l.What == logTry {
			list[k].Tries++
			return nil
		}
		return list[k].fill(body)
	}, "SELECT entry, what, serial, as_found, body FROM bench_log WHERE $1 = '' OR serial = $1 ORDER BY seq", text(serial))
	if err != nil {
		return nil, wrap(s.file, "bench log", err)
	}
	slices.Reverse(list)
	return list, nil
}

// fill takes over what an entry says of itself.
func (l *LogLine) fill(body string) error {
	if isSearch(l.What) {
		return l.fillSearch(body)
	}
	if l.What == logAdjustment {
		var a record.Adjustment
		if err := json.Unmarshal([]byte(body), &a); err != nil {
			return err
		}
		l.Began, l.Ended, l.How, l.Input, l.Frequency, l.Level = a.Started, a.Finished, a.Ended, a.Point.Input, a.Point.Frequency, a.Point.Levels.Input
		return nil
	}
	var h Held
	if err := json.Unmarshal([]byte(body), &h); err != nil {
		return err
	}
	p := h.Held.Point
	l.Began, l.Ended, l.How, l.Input, l.Frequency, l.Level = h.Held.Started, h.Held.Finished, h.Held.Ended, p.Input, p.Frequency, p.Levels.Input
	return nil
}
