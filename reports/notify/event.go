package notify

import (
	"fmt"
	"strings"
	"time"

	"bandproof/runner"
)

// EventSchema names the version of the JSON document of an event.
const EventSchema = "bandproof event 1"

// testEvent is what "notices try" sends; no run does.
const testEvent = "test"

// Event is what a receiver gets. Only what its kind of event has is there.
type Event struct {
	Schema string `json:"schema"`
	// ID is the same at each try, and for all receivers.
	ID    string    `json:"id"`
	Event string    `json:"event"` // prompt waiting, point failed, …, or test
	At    time.Time `json:"at"`
	Text  string    `json:"text"` // in one line
	Bench string    `json:"bench"`

	Run       string `json:"run,omitempty"`
	Kind      string `json:"kind,omitempty"`
	Procedure string `json:"procedure,omitempty"`
	Unit      *Unit  `json:"unit,omitempty"`
	Customer  string `json:"customer,omitempty"`
	Input     string `json:"input,omitempty"`

	Point   *Point   `json:"point,omitempty"`
	Prompt  *Prompt  `json:"prompt,omitempty"`
	Outcome *Outcome `json:"outcome,omitempty"`
	// Invented: the data are of a virtual bench.
	Invented bool `json:"invented,omitempty"`
}

// Unit under test.
type Unit struct {
	Model  string `json:"model"`
	Serial string `json:"serial,omitempty"`
	Asset  string `json:"asset,omitempty"`
}

// Point that failed. Error and limit are exact, in hertz; What and Says are of
// measurements other than the band sweep.
type Point struct {
	ID        string `json:"id"` // of the point or the task
	What      string `json:"what,omitempty"`
	Frequency string `json:"frequency,omitempty"`
	Verdict   string `json:"verdict"`
	ErrorHz   string `json:"error_hz,omitempty"`
	LimitHz   string `json:"limit_hz,omitempty"`
	Symptom   string `json:"symptom,omitempty"`
	Says      string `json:"says,omitempty"`
}

// Prompt that waits.
type Prompt struct {
	Asked    time.Time  `json:"asked"`
	Reminder int        `json:"reminder"` // 0 the first time
	Lapses   *time.Time `json:"lapses,omitempty"`
	Then     string     `json:"then,omitempty"` // skip, stop
}

// Outcome of a run.
type Outcome struct {
	Statement string `json:"statement"`
	Ended     string `json:"ended,omitempty"` // why it ended early
	Planned   int    `json:"planned"`
	runner.Tally
	RFMayBeOn []string `json:"rf_may_be_on,omitempty"`
	// Failed points, in order; More are left out.
	FailedPoints []Point `json:"failed_points,omitempty"`
	More         int     `json:"failed_points_left_out,omitempty"`
}

// mostFailed bounds the list of failed points in one event.
const mostFailed = 50

// newEvent makes the document of a notice.
func newEvent(a About, bench string, n runner.Notice) Event {
	e := Event{Schema: EventSchema, ID: newID(), Event: n.Event, At: n.At, Text: n.Text, Bench: bench, Run: a.Run, Kind: a.Kind,
		Procedure: a.Procedure, Unit: &a.Unit, Input: n.Input, Invented: a.Invented}
	if n.Point != nil {
		p := newPoint(*n.Point)
		e.Point = &p
	}
	if n.Row != nil {
		p := ofRow(n.Task, *n.Row)
		e.Point = &p
	}
	if p := n.Prompt; p != nil {
		e.Prompt = &Prompt{Asked: p.Asked, Reminder: p.Reminder}
		if !p.Lapses.IsZero() {
			e.Prompt.Lapses, e.Prompt.Then = &p.Lapses, p.Then
		}
	}
	if n.Result != nil {
		e.Outcome = newOutcome(*n.Result)
	}
	return e
}

func newPoint(p runner.PointResult) Point {
	out := Point{ID: p.Point.ID, Frequency: p.Point.Frequency.String(), Verdict: p.Verdict.String(), LimitHz: p.Limit.Total.String(), Symptom: p.Symptom}
	if p.Counted > 0 {
		out.ErrorHz = p.Error.String()
	}
	return out
}

func ofRow(task string, x runner.Row) Point {
	p := Point{ID: task, What: x.What, Verdict: x.Verdict.String(), Says: x.Says}
	if x.At != nil {
		p.Frequency = x.At.String()
	}
	return p
}

func newOutcome(r runner.Result) *Outcome {
	o := &Outcome{Statement: string(r.Statement), Ended: r.Ended, Planned: r.Planned, Tally: r.Tally(), RFMayBeOn: r.RFMayBeOn}
	add := func(p Point) {
		if len(o.FailedPoints) == mostFailed {
			o.More++
			return
		}
		o.FailedPoints = append(o.FailedPoints, p)
	}
	for _, p := range r.Points {
		if p.Verdict.Bad() {
			add(newPoint(p))
		}
	}
	for _, task := range r.Outcomes {
		for _, x := range task.Rows {
			if x.Verdict.Bad() {
				add(ofRow(task.Task.ID, x))
			}
		}
	}
	return o
}

// subject is the line that heads a mail.
func (e Event) subject() string {
	what := "bandproof"
	if e.Unit != nil {
		what = strings.TrimSpace(e.Unit.Model + " " + e.Unit.Serial)
	}
	return fmt.Sprintf("%s: %s", what, e.Event)
}

// lines are the text of a mail.
func (e Event) lines() string {
	var b strings.Builder
	line := func(name, text string) {
		if text != "" {
			fmt.Fprintf(&b, "%-11s%s\n", name+":", text)
		}
	}
	fmt.Fprintf(&b, "%s\n\n", e.Text)
	line("event", e.Event)
	line("time", e.At.Format("2006-01-02 15:04:05 -0700"))
	line("bench", e.Bench)
	line("customer", e.Customer)
	if u := e.Unit; u != nil {
		line("unit", u.Model)
		line("serial", u.Serial)
		line("asset", u.Asset)
	}
	line("procedure", e.Procedure)
	line("run", strings.TrimSpace(e.Kind+" "+e.Run))
	line("input", e.Input)
	if p := e.Prompt; p != nil {
		line("asked", p.Asked.Format("15:04:05"))
		if p.Lapses != nil {
			line("lapses", p.Lapses.Format("15:04:05")+", then "+p.Then)
		}
	}
	if o := e.Outcome; o != nil {
		line("statement", o.Statement)
		line("ended", o.Ended)
		fmt.Fprintf(&b, "\n%d of %d points passed, %d failed, %d not judged, %d not taken\n", o.Passed, o.Planned, o.Failed, o.NotJudged, o.NotTaken)
		for _, p := range o.FailedPoints {
			fmt.Fprintf(&b, "  %s: %s\n", strings.Join(strings.Fields(p.ID+" "+p.What+" "+p.Frequency), " "), p.Verdict)
		}
		if o.More > 0 {
			fmt.Fprintf(&b, "  and %d more\n", o.More)
		}
	}
	if e.Invented {
		b.WriteString("\nINVENTED DATA of a virtual bench.\n")
	}
	return b.String()
}
