package runnertest

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"time"

	"bandproof/drivers/virtual"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// Journal is a journal that keeps everything, and can be made to fail.
type Journal struct {
	Points   []runner.PointResult
	Events   []runner.Event
	Outcomes []runner.Outcome
	Steps    []string // task and body
	After    int      // fail after this many points; 0 never
	OnStep   func()   // told of each step that was kept; nil for nobody

	putOff    []runner.PutOff
	steps     map[string][]json.RawMessage
	entries   []runner.Entry
	sessions  []runner.Session
	told      runner.Standing // waits for what it is kept with
	standing  runner.Standing
	journaled []runner.PointResult // final ones, the last word at the place of the first
}

// Earlier is what a run that goes on finds in the journal, as after a power cut.
// It comes back from JSON, as from a store.
func (m *Journal) Earlier(last time.Time) (*runner.Earlier, error) {
	e := runner.Earlier{Standing: m.standing, Points: m.journaled, PutOff: m.putOff, Outcomes: m.Outcomes, Steps: m.steps, Events: m.Events, Entries: m.entries,
		Sessions: m.sessions, Last: last}
	text, err := json.Marshal(e)
	if err != nil {
		return nil, err
	}
	var back runner.Earlier
	return &back, json.Unmarshal(text, &back)
}

// final takes a point from those put off; with keep it stands with the others.
func (m *Journal) final(p runner.PointResult, keep bool) {
	m.putOff = slices.DeleteFunc(m.putOff, func(x runner.PutOff) bool { return x.Result.Point.ID == p.Point.ID })
	m.standing = m.told
	if !keep {
		return
	}
	if k := slices.IndexFunc(m.journaled, func(x runner.PointResult) bool { return x.Point.ID == p.Point.ID }); k >= 0 {
		m.journaled[k] = p
		return
	}
	m.journaled = append(m.journaled, p)
}

// ErrFull is what a full journal says.
var ErrFull = errors.New("no space left on device")

// Point keeps a point.
func (m *Journal) Point(_ context.Context, p runner.PointResult) error {
	if m.After > 0 && len(m.Points) >= m.After {
		return ErrFull
	}
	m.Points = append(m.Points, p)
	m.final(p, true)
	return nil
}

// Event keeps an event.
func (m *Journal) Event(_ context.Context, e runner.Event) error {
	m.Events = append(m.Events, e)
	return nil
}

// Entry keeps what a person answered.
func (m *Journal) Entry(_ context.Context, e runner.Entry) error {
	m.entries = append(m.entries, e)
	return nil
}

// Outcome keeps an outcome.
func (m *Journal) Outcome(_ context.Context, o runner.Outcome) error {
	m.Outcomes = append(m.Outcomes, o)
	return nil
}

// Step keeps a step.
func (m *Journal) Step(_ context.Context, task string, body json.RawMessage) error {
	m.Steps = append(m.Steps, task+" "+string(body))
	if m.steps == nil {
		m.steps = map[string][]json.RawMessage{}
	}
	m.steps[task] = append(m.steps[task], body)
	if m.OnStep != nil {
		m.OnStep()
	}
	return nil
}

// PutOff keeps a point as it stands if it is not taken again.
func (m *Journal) PutOff(_ context.Context, p runner.PutOff) error {
	if m.After > 0 && len(m.Points) >= m.After {
		return ErrFull
	}
	m.Points = append(m.Points, p.So)
	m.final(p.So, false)
	m.putOff = append(m.putOff, p)
	return nil
}

// Standing waits for what it is kept with.
func (m *Journal) Standing(_ context.Context, s runner.Standing) error {
	m.told = s
	return nil
}

// Session keeps that one begins, or how it ended.
func (m *Journal) Session(_ context.Context, s runner.Session) error {
	if k := len(m.sessions) - 1; k >= 0 && !s.Ended.IsZero() {
		m.standing, m.sessions[k] = m.told, s
		return nil
	}
	m.sessions = append(m.sessions, s)
	return nil
}

// Last is the last entry of a point, or nil.
func (m *Journal) Last(id string) *runner.PointResult {
	for k := len(m.Points) - 1; k >= 0; k-- {
		if m.Points[k].Point.ID == id {
			return &m.Points[k]
		}
	}
	return nil
}

// Said tells whether an event holds the text.
func (m *Journal) Said(text string) bool {
	for _, e := range m.Events {
		if strings.Contains(e.Text, text) {
			return true
		}
	}
	return false
}

// Person is a person at the virtual bench.
type Person struct {
	bench   *virtual.Bench
	Moves   []string
	Answers []bool // to Confirm, in order; then ErrNoOperator
	Asked   []string
	Texts   []string // to Text, in order; then none
	Away    bool
	Then    func(runner.Move) // after a move
}

// Name is the one in the record.
func (*Person) Name() string { return "helper" }

// Move moves the cable of the virtual bench.
func (h *Person) Move(_ context.Context, m runner.Move) error {
	if h.Away {
		return runner.ErrNoOperator
	}
	h.Moves = append(h.Moves, m.Source+" to "+m.Input)
	err := h.bench.Connect(m.Source, m.Input)
	if h.Then != nil {
		h.Then(m)
	}
	return err
}

// Confirm answers in order.
func (h *Person) Confirm(_ context.Context, q string) (bool, error) {
	h.Asked = append(h.Asked, q)
	if len(h.Answers) == 0 {
		return false, runner.ErrNoOperator
	}
	a := h.Answers[0]
	h.Answers = h.Answers[1:]
	return a, nil
}

// Text answers in order.
func (h *Person) Text(context.Context, string) (string, error) {
	if len(h.Texts) == 0 {
		return "", nil
	}
	text := h.Texts[0]
	h.Texts = h.Texts[1:]
	return text, nil
}

// Alone makes sure that nobody was asked for anything.
func (r *Rig) Alone() {
	r.T.Helper()
	require.Empty(r.T, r.Operator.Moves)
	require.Empty(r.T, r.Operator.Asked)
}
