package runner

import (
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// Kind tells the state of the unit in which a run was taken. Runs are kept
// apart; their status is never merged.
type Kind string

const (
	AsFound     Kind = "as-found"     // as received, before anything was done
	AfterRepair Kind = "after-repair" // repaired, not yet adjusted
	AsLeft      Kind = "as-left"      // as released
)

// Use tells what a reading served for.
type Use string

const (
	Counted   Use = "counted"    // enters mean and verdict
	Discarded Use = "discarded"  // its gate may have begun before settling ended
	FirstLook Use = "first look" // of a set that scattered too much and was read anew
	Proof     Use = "proof"      // taken elsewhere to prove the path
	RFOffLook Use = "rf off"     // taken without a signal, to see that the unit lets go
	// ClosingCheck: taken at the end of the sweep of a path, at a point that had
	// passed, to see that it still does.
	ClosingCheck Use = "closing check"
	Lost         Use = "lost" // never answered among others that were; taken anew
)

// Reading is one reading with what it served for.
type Reading struct {
	drivers.Reading
	Use Use `json:"use"`
}

// Setting is what the source was asked for and what it says it does.
type Setting struct {
	Asked    quantity.Frequency `json:"asked"`
	Reported quantity.Frequency `json:"reported"`
	Level    quantity.Level     `json:"level"`             // as reported
	Locked   string             `json:"locked"`            // "yes", "no", "not stated"
	Tries    int                `json:"tries"`             // how often it was set
	Refused  int                `json:"refused,omitempty"` // how often it was not good after that
	By       string             `json:"set_by,omitempty"`  // the person who set it, where one did
}

// PointResult is everything about one point, as planned and as taken.
type PointResult struct {
	Point   procedures.Point `json:"point"`
	Setting Setting          `json:"setting"`
	// Gate in force, read back where the unit can tell.
	Gate     quantity.Duration `json:"gate"`
	Readings []Reading         `json:"readings"`

	// Level as a power meter found it, Monitor what the monitor counted, Route
	// where the switch stood; each where the bench has it.
	Level   *Level    `json:"measured_level,omitempty"`
	Monitor []Watched `json:"monitor,omitempty"`
	Route   *Route    `json:"route,omitempty"`

	procedures.Judgement
	// StoppedEarly says why fewer readings than planned were taken; "" where all were.
	StoppedEarly string `json:"stopped_early,omitempty"`
	// Other is a look at the same point through another source, taken because of
	// what the one here showed, or did not. Both stand as they were found; Alone is
	// what the one here says by itself, where the two together say something else.
	Other *PointResult      `json:"other_look,omitempty"`
	Alone *decision.Verdict `json:"verdict_alone,omitempty"`

	// Symptom names what the readings look like, such as "half the frequency".
	Symptom   string    `json:"symptom,omitempty"`
	Notes     []string  `json:"notes,omitempty"`
	Standards []string  `json:"standards"` // names in the bench file
	Started   time.Time `json:"started"`
	Finished  time.Time `json:"finished"`
}

// Judged tells whether the point has a verdict on the unit.
func (p PointResult) Judged() bool { return p.Verdict.Word != decision.NotJudged }

// InputResult is what was shown at one input.
type InputResult struct {
	Input          procedures.Input      `json:"input"`
	Coverage       procedures.Coverage   `json:"coverage"` // by points that passed or failed
	NotShown       []procedures.NotShown `json:"not_shown,omitempty"`
	ReferenceCheck string                `json:"reference_check"` // what the unit said it runs from, or "stated, not verified"
	HeldCheck      string                `json:"held_check"`      // what the unit did with RF off
}

// Statement is the overall outcome.
type Statement string

const (
	WithinAll     Statement = "within tolerance over all of the specified range"
	WithinShown   Statement = "within tolerance over the range shown"
	WithinPoints  Statement = "within tolerance at the points shown"
	Outside       Statement = "outside tolerance"
	Incomplete    Statement = "incomplete"
	NotObtainable Statement = "not obtainable" // no readings at all; counts as outside tolerance
)

// Entry is what a person was asked and answered.
type Entry struct {
	At time.Time `json:"at"` // of the answer, or when its time was over
	// AskedAt is when the question was put; zero where that was not kept.
	AskedAt time.Time `json:"asked_at,omitzero"`
	Asked   string    `json:"asked"`
	Answer  string    `json:"answer"`
	Who     string    `json:"who"`
}

// Event is something that happened between points or to the bench.
type Event struct {
	At   time.Time `json:"at"`
	Text string    `json:"text"`
}

// Result is one finished (or ended) run.
type Result struct {
	ID       string    `json:"id"`
	Kind     Kind      `json:"kind"`
	Started  time.Time `json:"started"`
	Finished time.Time `json:"finished"`
	// Complete is false where the run ended before its plan did; Ended says why.
	Complete bool                        `json:"complete"`
	Ended    string                      `json:"ended,omitempty"`
	Unit     drivers.Identity            `json:"unit"`
	Sources  map[string]drivers.Identity `json:"sources"`
	// Aids are switches, power meters, thermometers and the monitor, by name.
	Aids     map[string]drivers.Identity    `json:"aids,omitempty"`
	Topology map[string]procedures.Topology `json:"topology"`
	Rule     decision.Rule                  `json:"decision"`
	Timebase string                         `json:"timebase"` // what the unit promises, in words
	OnFor    quantity.Duration              `json:"on_for"`   // at the first point
	WarmUp   *WarmUp                        `json:"warm_up,omitempty"`
	Inputs   []InputResult                  `json:"inputs"`
	Points   []PointResult                  `json:"points"`
	Planned  int                            `json:"planned_points"`
	// Only lists the points and tasks that an added run was restricted to.
	Only []string `json:"only,omitempty"`
	// Outcomes are of other kinds of measurement than the band sweep.
	Outcomes     []Outcome `json:"outcomes,omitempty"`
	PlannedTasks int       `json:"planned_tasks,omitempty"`
	Ambient      []Ambient `json:"ambient,omitempty"`
	Entries      []Entry   `json:"entries,omitempty"`
	// Sessions of a run that was interrupted and gone on with.
	Sessions []Session `json:"sessions,omitempty"`
	Events   []Event   `json:"events,omitempty"`
	Warnings []string  `json:"warnings,omitempty"`
	// Changes are points that passed and later in the run did not.
	Changes []Change `json:"changes,omitempty"`
	// Overdue are standards that were used past their due date.
	Overdue []Overdue `json:"overdue,omitempty"`
	// RFMayBeOn names sources whose RF could not be switched off at the end.
	RFMayBeOn []string  `json:"rf_may_be_on,omitempty"`
	Statement Statement `json:"statement"`
	// Symptom of a unit that gives no readings at all.
	Symptom string `json:"symptom,omitempty"`
}

// InputNames lists the inputs of the run in order: those of the plan, and any other that has points.
func (r Result) InputNames() []string {
	var list []string
	seen := map[string]bool{}
	add := func(name string) {
		if !seen[name] {
			seen[name] = true
			list = append(list, name)
		}
	}
	for _, in := range r.Inputs {
		add(in.Input.Name)
	}
	for k := range r.Points {
		add(r.Points[k].Point.Input)
	}
	for _, o := range r.Outcomes {
		if o.Task.Input != "" {
			add(o.Task.Input)
		}
	}
	return list
}
