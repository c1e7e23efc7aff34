package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/runner"
)

// Header is what a journal says at its head: all that is needed to go on with
// the run in another process.
type Header struct {
	ID        string        `json:"id"`
	Kind      runner.Kind   `json:"kind"`
	Started   time.Time     `json:"started"`
	Procedure record.Source `json:"procedure"`
	Bench     record.Source `json:"bench"`
	Planned   int           `json:"planned_points"`

	// What follows is not there in journals of earlier versions.

	// Plan is the SHA-256 of the plan, lower-case hex.
	Plan    string         `json:"plan_sha256,omitempty"`
	Job     procedures.Job `json:"job"`
	Follows string         `json:"follows,omitempty"`
	Only    []string       `json:"only,omitempty"` // points and tasks of an added run
	// Overdue are the standards past their due date that somebody has accepted.
	Overdue  []runner.Overdue `json:"overdue,omitempty"`
	Invented bool             `json:"invented,omitempty"`
	Program  string           `json:"program,omitempty"` // its version
	// Profiles are those of the instruments, by the name that asked for them.
	Profiles map[string]Profile `json:"profiles,omitempty"`
	// ProcedurePath and BenchPath are where the files lay, absolute.
	ProcedurePath string `json:"procedure_path,omitempty"`
	BenchPath     string `json:"bench_path,omitempty"`
	// Out is the folder for record and data sheets, absolute; WireLog tells that
	// the wire log is kept with the record.
	Out     string `json:"out,omitempty"`
	WireLog bool   `json:"wire_log,omitempty"`
	// Logo is that of the data sheet; its bytes are kept beside.
	Logo *record.Logo `json:"logo,omitempty"`
}

// Profile is the file of an instrument's profile, kept whole.
type Profile struct {
	File string `json:"file"`
	Text string `json:"text"`
}

// Begin opens the journal of a run.
func (s *Store) Begin(ctx context.Context, h Header) (runner.Journal, error) {
	body, err := json.Marshal(h)
	if err != nil {
		return nil, wrap(s.file, "begin run", err)
	}
	err = s.write(ctx, func(ctx context.Context, tx txn) error {
		if _, err := tx.ExecContext(ctx, "INSERT INTO run (id, kind, started, header) VALUES ($1, $2, $3, $4)", h.ID, text(string(h.Kind)), stamp(h.Started), string(body)); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "INSERT INTO open_run (run) SELECT $1 WHERE NOT EXISTS (SELECT 1 FROM record WHERE id = $1)", h.ID)
		return err
	})
	if err != nil {
		return nil, wrap(s.file, "begin run "+h.ID, err)
	}
	return s.Journal(h.ID), nil
}

// Journal goes on with the journal of a run that was begun.
func (s *Store) Journal(run string) runner.Journal { return &journal{s: s, run: run} }

// stamp writes a time so that text order is time order.
func stamp(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000000000Z") }

// What the rows of a journal hold.
const (
	aPoint    = "point"
	anEvent   = "event"
	anEntry   = "entry"
	aPutOff   = "put off"
	aStanding = "standing"
	aSession  = "session"
	anOutcome = "outcome"
	aStep     = "step"
)

type journal struct {
	s   *Store
	run string
	// standing waits for the point that it goes with, kept is the last one
	// that was written.
	standing, kept string
}

// row is one entry to be written.
type row struct {
	what, body string
}

func (j *journal) add(ctx context.Context, what string, body any) error {
	text, err := json.Marshal(body)
	if err == nil {
		err = j.insert(ctx, row{what, string(text)})
	}
	return j.wrap(err)
}

// addStanding writes an entry and how the run stands with it, both or neither.
func (j *journal) addStanding(ctx context.Context, what string, body any) error {
	text, err := json.Marshal(body)
	if err != nil {
		return j.wrap(err)
	}
	if j.standing == j.kept {
		return j.wrap(j.insert(ctx, row{what, string(text)}))
	}
	err = j.s.once(ctx, insertEntry+", ($1, $4, $5)", j.run, what, string(text), aStanding, j.standing)
	if err == nil {
		j.kept = j.standing
	}
	return j.wrap(err)
}

const insertEntry = "INSERT INTO journal (run, what, body) VALUES ($1, $2, $3)"

func (j *journal) insert(ctx context.Context, r row) error {
	return j.s.once(ctx, insertEntry, j.run, r.what, r.body)
}

func (j *journal) wrap(err error) error {
	if err == nil {
		return nil
	}
	return wrap(j.s.file, "journal of run "+j.run, err)
}

func (j *journal) Point(ctx context.Context, p runner.PointResult) error {
	return j.addStanding(ctx, aPoint, p)
}
func (j *journal) PutOff(ctx context.Context, p runner.PutOff) error {
	return j.addStanding(ctx, aPutOff, p)
}
func (j *journal) Session(ctx context.Context, s runner.Session) error {
	return j.addStanding(ctx, aSession, s)
}
func (j *journal) Event(ctx context.Context, e runner.Event) error { return j.add(ctx, anEvent, e) }
func (j *journal) Entry(ctx context.Context, e runner.Entry) error { return j.add(ctx, anEntry, e) }

func (j *journal) Outcome(ctx context.Context, o runner.Outcome) error {
	return j.addStanding(ctx, anOutcome, o)
}

// Step keeps a part of a long task, with the task's id.
func (j *journal) Step(ctx context.Context, task string, body json.RawMessage) error {
	return j.add(ctx, aStep, Step{task, body})
}

// Step is a part of a long task as it stands in the journal.
type Step struct {
	Task string          `json:"task"`
	Body json.RawMessage `json:"body"`
}

func (j *journal) Standing(_ context.Context, s runner.Standing) error {
	text, err := json.Marshal(s)
	if err != nil {
		return j.wrap(err)
	}
	j.standing = string(text)
	return nil
}

// Points returns the journaled points of a run in order; a point that was
// voided stands as it was written last.
func (s *Store) Points(ctx context.Context, run string) ([]runner.PointResult, error) {
	e, err := s.Earlier(ctx, run)
	if err != nil {
		return nil, err
	}
	return e.Points, nil
}

// Earlier returns what the journal of a run holds.
func (s *Store) Earlier(ctx context.Context, run string) (*runner.Earlier, error) {
	t := taking{e: &runner.Earlier{Steps: map[string][]json.RawMessage{}}, at: map[string]int{}}
	err := s.each(ctx, func(scan func(...any) error) error {
		var r row
		if err := scan(&r.what, &r.body); err != nil {
			return err
		}
		return t.take(r)
	}, "SELECT what, body FROM journal WHERE run = $1 ORDER BY seq", run)
	if err != nil {
		return nil, wrap(s.file, "journal of run "+run, err)
	}
	if len(t.e.Sessions) == 0 {
		err = s.unsaid(ctx, run, t.e)
	}
	return t.e, err
}

// unsaid adds the session of a run that ended, or was killed, before it could
// say that it had begun.
func (s *Store) unsaid(ctx context.Context, run string, e *runner.Earlier) error {
	var text string
	switch err := s.first(ctx, "SELECT header FROM run WHERE id = $1", []any{run}, &text); {
	case errors.Is(err, sql.ErrNoRows):
		return nil // of such a run there is nothing at all
	case err != nil:
		return wrap(s.file, "run "+run, err)
	}
	h, err := decode[Header](text)
	if err != nil {
		return wrap(s.file, "run "+run, err)
	}
	e.Sessions = []runner.Session{{Began: h.Started, Program: h.Program}}
	if e.Last.Before(h.Started) {
		e.Last = h.Started
	}
	return nil
}

// taking is a journal being read.
type taking struct {
	e  *runner.Earlier
	at map[string]int // where each point stands
}

func (t *taking) take(r row) error {
	e := t.e
	switch r.what {
	case aPoint:
		var p runner.PointResult
		if err := json.Unmarshal([]byte(r.body), &p); err != nil {
			return err
		}
		t.point(p)
		e.Last = p.Finished
	case aPutOff:
		var p runner.PutOff
		if err := json.Unmarshal([]byte(r.body), &p); err != nil {
			return err
		}
		t.open(p.Result.Point.ID)
		e.PutOff = append(e.PutOff, p)
		e.Last = p.So.Finished
	case anEvent:
		x, err := decode[runner.Event](r.body)
		if err != nil {
			return err
		}
		e.Events, e.Last = append(e.Events, x), x.At
	case anEntry:
		x, err := decode[runner.Entry](r.body)
		if err != nil {
			return err
		}
		e.Entries, e.Last = append(e.Entries, x), x.At
	case anOutcome:
		x, err := decode[runner.Outcome](r.body)
		if err != nil {
			return err
		}
		t.outcome(x)
		e.Last = x.Finished
	case aStep:
		x, err := decode[Step](r.body)
		if err != nil {
			return err
		}
		e.Steps[x.Task] = append(e.Steps[x.Task], x.Body)
	case aStanding:
		x, err := decode[runner.Standing](r.body)
		if err != nil {
			return err
		}
		e.Standing = x
	case aSession:
		x, err := decode[runner.Session](r.body)
		if err != nil {
			return err
		}
		t.session(x)
	default:
		return fmt.Errorf("entry %q is none that this version knows; use the bandproof that wrote it, or a newer one", r.what)
	}
	return nil
}

func decode[T any](body string) (x T, err error) {
	err = json.Unmarshal([]byte(body), &x)
	return x, err
}

// point is final. The last word on it counts, at the place of the first.
func (t *taking) point(p runner.PointResult) {
	t.open(p.Point.ID)
	if k, again := t.at[p.Point.ID]; again {
		t.e.Points[k] = p
		return
	}
	t.at[p.Point.ID] = len(t.e.Points)
	t.e.Points = append(t.e.Points, p)
}

// outcome is that of a task. The last word on it counts, as with a point.
func (t *taking) outcome(o runner.Outcome) {
	k := slices.IndexFunc(t.e.Outcomes, func(x runner.Outcome) bool { return x.Task.ID == o.Task.ID })
	if k >= 0 {
		t.e.Outcomes[k] = o
		return
	}
	t.e.Outcomes = append(t.e.Outcomes, o)
}

// open takes a point from those that were put off.
func (t *taking) open(id string) {
	for k, x := range t.e.PutOff {
		if x.Result.Point.ID == id {
			t.e.PutOff = append(t.e.PutOff[:k], t.e.PutOff[k+1:]...)
			return
		}
	}
}

// session begins, ends, or begins after one that could not say how it ended.
func (t *taking) session(x runner.Session) {
	e := t.e
	k := len(e.Sessions) - 1
	switch {
	case x.Ended.IsZero():
		if k >= 0 && e.Sessions[k].Ended.IsZero() {
			e.Sessions[k] = e.Sessions[k].CutOff(e.Last)
		}
		e.Sessions = append(e.Sessions, x)
		e.Last = x.Began
	case k >= 0:
		e.Sessions[k] = x
		e.Last = x.Ended
	}
}

// Interrupted is a run without a record.
type Interrupted struct {
	Header Header
	Points int       // final ones
	Last   time.Time // of the last entry
	Damage error     // why the journal, or its head, can't be read
}

// Interrupted returns the runs without a record, newest first.
func (s *Store) Interrupted(ctx context.Context) ([]Interrupted, error) {
	var list []Interrupted
	err := s.each(ctx, func(scan func(...any) error) error {
		i, err := header(scan)
		list = append(list, i)
		return err
	}, "SELECT id, header FROM open_run JOIN run ON run.id = open_run.run WHERE NOT EXISTS (SELECT 1 FROM record WHERE record.id = run.id) ORDER BY started DESC, id DESC")
	if err != nil {
		return nil, wrap(s.file, "interrupted runs", err)
	}
	var open []Interrupted
	for _, i := range list {
		e, err := s.Earlier(ctx, i.Header.ID)
		if i.Damage = cmp.Or(i.Damage, err); i.Damage != nil { // the others can still be gone on with
			if ctx.Err() != nil {
				return nil, err
			}
			open = append(open, i)
			continue
		}
		if i.Points, i.Last = len(e.Points), e.Last; e.Last.IsZero() {
			i.Last = i.Header.Started
		}
		if !e.Vain() {
			open = append(open, i)
		}
	}
	return open, nil
}

// Find returns the interrupted run with the id, or its beginning or end; without
// one, the only one that there is.
func (s *Store) Find(ctx context.Context, id string) (Interrupted, error) {
	list, err := s.Interrupted(ctx)
	if err != nil {
		return Interrupted{}, err
	}
	fits := slices.DeleteFunc(list, func(i Interrupted) bool {
		return !strings.HasPrefix(i.Header.ID, id) && !strings.HasSuffix(i.Header.ID, id)
	})
	switch {
	case len(fits) == 1 && fits[0].Damage != nil:
		return Interrupted{}, wrap(s.file, "interrupted run "+fits[0].Header.ID, fmt.Errorf("its journal is damaged: %w; RF of its sources may be on, switch it off by hand, and take the run anew", fits[0].Damage))
	case len(fits) == 1:
		return fits[0], nil
	case len(fits) > 1:
		var names []string
		for _, i := range fits {
			names = append(names, fmt.Sprintf("%s (%s, begun %s)", i.Header.ID, i.Header.Kind, i.Header.Started.Format("2006-01-02 15:04")))
		}
		return Interrupted{}, wrap(s.file, "interrupted run", fmt.Errorf("%w: there are several; give the id of one: %s", ErrNotInterrupted, strings.Join(names, ", ")))
	case id == "":
		return Interrupted{}, wrap(s.file, "interrupted run", fmt.Errorf("%w: every run has come to its end", ErrNotInterrupted))
	}
	if r, err := s.Record(ctx, id); err == nil {
		return Interrupted{}, wrap(s.file, "interrupted run "+id, fmt.Errorf("%w: it has come to its end; its record is %s", ErrNotInterrupted, r.ID))
	}
	return Interrupted{}, wrap(s.file, "interrupted run "+id, fmt.Errorf("%w; \"records list\" shows what there is", ErrNotInterrupted))
}

func header(scan func(...any) error) (i Interrupted, err error) {
	var id, text string
	if err := scan(&id, &text); err != nil {
		return i, err
	}
	if err := json.Unmarshal([]byte(text), &i.Header); err != nil {
		i = Interrupted{Damage: fmt.Errorf("head of run %s: %w", id, err)}
	}
	i.Header.ID = id
	return i, nil
}

// parseStamp reads a time that stamp has written, and writes it anew.
func parseStamp(text string) (string, error) {
	t, err := time.Parse(time.RFC3339Nano, text)
	return stamp(t), err
}
