package runner

import (
	"errors"
	"fmt"
	"time"

	"bandproof/procedures"
)

// Notice is something that a person elsewhere may want to know at once.
type Notice struct {
	Event string    // one of procedures.Events
	At    time.Time // by the clock of the run
	Text  string    // in one line
	Input string    // that it is about; "" where it is about the run
	// Point that failed, or Row of a Task of another kind than the band sweep.
	Point *PointResult
	Row   *Row
	Task  string
	// Prompt that waits for its answer.
	Prompt *Prompt
	// Result of the run, at its end.
	Result *Result
}

// Herald is a Watcher that is told of notices too; it must return at once, and
// may be told of a prompt while another of its methods is under way.
type Herald interface {
	Happened(n Notice)
}

// happened passes a notice on where somebody wants it.
func (r *run) happened(n Notice) {
	if h, ok := r.Watcher.(Herald); ok {
		n.At = r.Clock.Now()
		h.Happened(n)
	}
}

// tellFailed tells of a point that failed.
func (r *run) tellFailed(p PointResult) {
	if p.Verdict.Bad() {
		r.happened(Notice{Event: procedures.PointFailed, Input: p.Point.Input, Point: &p,
			Text: fmt.Sprintf("point %s at %s: %s", p.Point.ID, p.Point.Frequency, p.Verdict)})
	}
}

// tellFailedRows tells of what failed in another measurement.
func (r *run) tellFailedRows(o Outcome) {
	for _, x := range o.Rows {
		if x.Verdict.Bad() {
			r.happened(Notice{Event: procedures.PointFailed, Input: o.Task.Input, Row: &x, Task: o.Task.ID,
				Text: fmt.Sprintf("%s, %s: %s %s", o.Task.ID, x.What, x.Verdict, x.Says)})
		}
	}
}

// tellGivenUp tells of an input whose points, or the rest of them, are not judged.
func (r *run) tellGivenUp(s procedures.Stop, why string) {
	path, _ := r.Bench.Path(s.Path)
	r.happened(Notice{Event: procedures.InputGivenUp, Input: path.Input, Text: fmt.Sprintf("input %s by path %s: %s", path.Input, s.Path, why)})
}

// tellEnd tells how the run ended: by exactly one of three events.
func (r *run) tellEnd(err error) {
	n := Notice{Event: procedures.Finished, Text: string(r.result.Statement), Result: &r.result}
	if r.result.Ended != "" {
		n.Event, n.Text = procedures.Stopped, r.result.Ended
	}
	if errors.Is(err, ErrBench) || errors.Is(err, ErrJournal) {
		n.Event = procedures.BenchError
	}
	for _, name := range r.result.RFMayBeOn {
		n.Text += fmt.Sprintf("; CAUTION: RF of source %s may still be on", name)
	}
	r.happened(n)
}

// Prompt is a question that waits for the person at the bench.
type Prompt struct {
	Asked    time.Time
	Reminder int       // how often somebody was told before
	Lapses   time.Time // zero: it waits without end
	Then     string    // what happens then
}
