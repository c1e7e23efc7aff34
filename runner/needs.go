package runner

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"bandproof/drivers"
)

// Journal keeps what happened. Each method returns only once the entry would
// survive a power cut; an error ends the run.
type Journal interface {
	Point(ctx context.Context, p PointResult) error
	Event(ctx context.Context, e Event) error
	Entry(ctx context.Context, e Entry) error
	// Outcome keeps what came of a task, Step a part of a long one.
	Outcome(ctx context.Context, o Outcome) error
	Step(ctx context.Context, task string, body json.RawMessage) error
	// PutOff keeps a point that is to be taken again later.
	PutOff(ctx context.Context, p PutOff) error
	// Standing tells how the run stands. It is kept with the next Point,
	// PutOff, Outcome or Session, both or neither, so that they fit each other.
	Standing(ctx context.Context, s Standing) error
	// Session keeps that a process begins with the run, or, with Ended, how it
	// has ended.
	Session(ctx context.Context, s Session) error
}

// Operator is the person at the bench.
type Operator interface {
	// Move asks to connect a path. It returns when the person says it is done,
	// or ErrNoOperator, or ErrLeftOut. RF is off at every source meanwhile.
	Move(ctx context.Context, m Move) error
	// Confirm asks a question that is answered yes or no.
	Confirm(ctx context.Context, question string) (bool, error)
	// Name of the person, for the record.
	Name() string
}

// Texter is an operator who can be asked for a free text; "" for none.
type Texter interface {
	Text(ctx context.Context, question string) (string, error)
}

// Move says which cable goes where.
type Move struct {
	Source, Input, Connector, Path string
	Parts                          []string
	Caution                        string // damage level of the input and the like
}

// Watcher is told how the run goes; it must return at once.
type Watcher interface {
	// Progress after each point: how many are done, an estimate of the time
	// that the rest takes, and the last point.
	Progress(done, planned int, remaining time.Duration, last PointResult)
	// Measured after each task of another kind than the band sweep.
	Measured(o Outcome)
	// Says passes a line on.
	Says(text string)
}

// Errors of the bench, for exit codes.
var (
	// ErrNoOperator: a person was needed and none answered; the same that an
	// instrument worked by hand gives.
	ErrNoOperator = drivers.ErrNoOperator
	// ErrLeftOut: a person chose to leave an input out.
	ErrLeftOut = errors.New("left out by the operator")
	// ErrBench: the bench could not carry on (link, interlock).
	ErrBench = errors.New("bench error")
	// ErrJournal: what happened could not be kept.
	ErrJournal = errors.New("journal could not be written")
)
