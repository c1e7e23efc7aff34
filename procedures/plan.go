package procedures

import (
	"fmt"
	"math"
	"time"

	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// PlanSchema names the version of the plan's JSON.
const PlanSchema = "bandproof plan 1"

// Capability is what a profile says of an instrument's timing; cmd fills it in.
type Capability struct {
	Settle         quantity.Duration   // of a source, after each set
	Discard        int                 // readings of a counter to throw away after a change
	GateLengthened bool                // the counter multiplies its gate by the prescale factor
	Overhead       quantity.Duration   // per reading, beyond the gate
	Gates          []quantity.Duration // the only ones that the counter has, shortest first; empty: any
}

// Point is one frequency at one level at one input with one gate time.
type Point struct {
	ID        string             `json:"id"` // input and ordinal, such as "B-007"
	Input     string             `json:"input"`
	Frequency quantity.Frequency `json:"frequency"`
	Levels    Levels             `json:"levels"`
	// LevelU is U (k = 2) in dB of the level at the input: as set, or, where a
	// power meter measures it, as measured.
	LevelU float64           `json:"level_uncertainty_db,omitempty"`
	Path   string            `json:"path"`
	Source string            `json:"source_name"`
	Gate   quantity.Duration `json:"gate"`
	// Longest gate that could have been chosen; nil where the gate is fixed.
	Longest  *quantity.Duration `json:"longest_gate,omitempty"`
	Readings int                `json:"readings"`
	// EarlyStop is nil where all readings are always taken.
	EarlyStop *StopRule      `json:"early_stop,omitempty"`
	Limit     accuracy.Limit `json:"limit"`
	LimitPPM  float64        `json:"limit_ppm"`
	// BenchU is the expanded uncertainty of reference, source and path, Hz.
	BenchU float64 `json:"bench_uncertainty_hz"`
	// TUR is nil where the bench adds no uncertainty ("not limited").
	TUR *float64 `json:"tur"`
	// Seconds that settling, discarded readings and gates will take: where
	// readings may be left out, if the point passes as soon as it may.
	Seconds float64 `json:"seconds"`
	// FixedSeconds is what the longest gate and all readings would take; 0 where
	// neither can be shorter.
	FixedSeconds float64 `json:"fixed_seconds,omitempty"`
	// Coherent: shared reference and a frequency that is a multiple of 1/gate,
	// so that the phase stands still and readings repeat.
	Coherent bool `json:"coherent,omitempty"`
	// Metered: the path's power meter measures the level; Watched: the monitor
	// counts the source.
	Metered bool `json:"metered,omitempty"`
	Watched bool `json:"watched,omitempty"`
	// Impure is what is wrong with the signal; nil where nothing is.
	Impure *Impure `json:"impure,omitempty"`
	// Also are ways of other sources to the same point.
	Also []Way `json:"also,omitempty"`
}

// NotShown is a stretch of an input's range, or a single point of it, that is
// planned out because the bench can't show it.
type NotShown struct {
	Input  string             `json:"input"`
	Sweep  string             `json:"sweep,omitempty"` // where the procedure names it
	From   quantity.Frequency `json:"from"`
	To     quantity.Frequency `json:"to"`
	Reason string             `json:"reason"`
}

// String writes "18 GHz to 22 GHz: reason".
func (n NotShown) String() string {
	where := n.From.String() + " to " + n.To.String()
	if n.From.Cmp(n.To) == 0 {
		where = "at " + n.From.String()
	}
	if n.Sweep != "" {
		where += " (sweep " + n.Sweep + ")"
	}
	return where + ": " + n.Reason
}

// PlannedInput is what is planned at one input.
type PlannedInput struct {
	Input    string     `json:"input"`
	Coverage Coverage   `json:"coverage"`
	NotShown []NotShown `json:"not_shown,omitempty"`
}

// Plan is every point in the order in which it is taken.
type Plan struct {
	Schema    string              `json:"schema"`
	Procedure string              `json:"procedure"`
	Revision  string              `json:"revision"`
	Bench     string              `json:"bench"`
	Topology  map[string]Topology `json:"topology"` // by source
	Rule      decision.Rule       `json:"decision"`
	Points    []Point             `json:"points"`
	Tasks     []Task              `json:"tasks,omitempty"` // of other kinds than the band sweep
	Only      []string            `json:"only,omitempty"`  // ids that it was restricted to
	Inputs    []PlannedInput      `json:"inputs"`
	Moves     int                 `json:"moves"` // cables that a person has to move
	Minutes   float64             `json:"minutes"`
	// FixedMinutes is what the longest gates and all readings would take.
	FixedMinutes float64  `json:"fixed_minutes"`
	Warnings     []string `json:"warnings,omitempty"`
	Monitor      *Watch   `json:"monitor,omitempty"` // nil where the bench has none
	// WarmUp is read again and again until the unit no longer drifts; nil where
	// the procedure asks for a time only, or the bench can't show the drift.
	WarmUp  *Point          `json:"warm_up,omitempty"`
	closing map[string]once // by point, where it can end a path
	// PastDue are the standards that results would rest on though their due date
	// has passed: a run stops before the first point unless each is accepted.
	PastDue []Due `json:"past_due,omitempty"`

	// Timebase is the promised |relative error| of the unit's timebase.
	Timebase    quantity.Exact `json:"timebase"`
	TimebaseHow string         `json:"timebase_how"`
}

// Options of a plan.
type Options struct {
	Now          time.Time             // for drift since calibration
	Adjusted     Date                  // last adjustment of the unit's timebase, if known
	Capabilities map[string]Capability // by source name; the counter's under "", the monitor's under MonitorName
}

// planner carries what the steps of planning share.
type planner struct {
	p    *Procedure
	b    *Bench
	o    Options
	plan *Plan
}

// NewPlan lays out every point of the procedure on the bench. It fails only
// where nothing sensible can be planned (a reference unstated, a timebase that
// promises nothing, no point at all); what the bench can't show is in the plan.
func NewPlan(p *Procedure, b *Bench, o Options) (*Plan, error) {
	l := &planner{p: p, b: b, o: o, plan: &Plan{Schema: PlanSchema, Procedure: p.Name, Revision: p.Revision,
		Bench: b.Name, Topology: map[string]Topology{}, Rule: p.Decision}}
	for _, s := range b.Sources {
		t, err := topologyOf(b, s, o.Now)
		if err != nil {
			return nil, fmt.Errorf("bench %q: %w", b.Name, err)
		}
		l.plan.Topology[s.Name] = t
	}
	if err := l.timebase(); err != nil {
		return nil, err
	}
	var err error
	if l.plan.Monitor, err = l.watch(); err != nil {
		return nil, err
	}
	for _, i := range p.Inputs {
		if err := l.agrees(i); err != nil {
			return nil, fmt.Errorf("procedure %q, input %q: %w", p.Name, i.Name, err)
		}
		if err := l.input(i); err != nil {
			return nil, fmt.Errorf("procedure %q, input %q: %w", p.Name, i.Name, err)
		}
	}
	for _, m := range p.Measures {
		if m.Keys == nil {
			return nil, fmt.Errorf("procedure %q: kind of measurement %q is not known here", p.Name, m.Kind)
		}
		if err := m.Keys.Plan(&Draft{l}, m); err != nil {
			return nil, fmt.Errorf("procedure %q, measurement %q: %w", p.Name, m.Title(), err)
		}
	}
	if err := l.warmUp(); err != nil {
		return nil, fmt.Errorf("procedure %q: %w", p.Name, err)
	}
	l.order()
	l.warn()
	return l.plan, nil
}

// agrees makes sure that procedure and profile say the same of the gate of a
// prescaled input: it decides the size of one count.
func (l *planner) agrees(i Input) error {
	c, known := l.o.Capabilities[""]
	figures := []accuracy.Figures{i.Accuracy.Figures}
	for _, p := range i.Accuracy.Pieces {
		figures = append(figures, p.Figures)
	}
	for _, a := range figures {
		if known && a.Prescale > 1 && c.GateLengthened != a.GateLengthened {
			return fmt.Errorf("accuracy.gate_lengthened is %v, the counter's profile says %v; look it up in the unit's manual and mend the wrong one", a.GateLengthened, c.GateLengthened)
		}
	}
	return nil
}

func (l *planner) timebase() error {
	since := quantity.Duration{}
	if !l.o.Adjusted.IsZero() {
		days := int64(math.Floor(l.o.Now.Sub(l.o.Adjusted.Time).Hours() / 24))
		if days < 0 {
			return fmt.Errorf("job: adjusted is %s, a day that has not come yet", l.o.Adjusted)
		}
		since = quantity.Of[quantity.Second](max(days, 1)*86400, 0)
	}
	var err error
	l.plan.Timebase, l.plan.TimebaseHow, err = l.p.Unit.Timebase.Relative(since)
	if err != nil {
		return fmt.Errorf("procedure %q, unit.timebase: %w", l.p.Name, err)
	}
	return nil
}

// LimitAt computes the limit of a point at the actual reference value (Hz) and
// gate.
func (pl *Plan) LimitAt(i Input, p Point, reference quantity.Exact, gate quantity.Duration) (accuracy.Limit, error) {
	c := accuracy.Conditions{Nominal: p.Frequency, Reference: reference, Gate: gate, Level: p.Levels.Input, Impedance: i.Impedance}
	if pl.Topology[p.Source].TimebaseTested {
		c.Timebase, c.TimebaseHow = &pl.Timebase, pl.TimebaseHow
	}
	return i.Accuracy.Limit(c)
}

// BenchBudget lists what reference, source and path add at a frequency, in Hz.
func (pl *Plan) BenchBudget(s Source, f quantity.Frequency) uncertainty.Budget {
	var lines uncertainty.Budget
	for _, c := range pl.Topology[s.Name].Relative {
		lines = append(lines, uncertainty.Line(c.Name, c.Value*f.Float(), c.Distribution, c.DegreesOfFreedom, c.Source))
	}
	if s.Resolution.Sign() > 0 {
		lines = append(lines, uncertainty.Line("setting resolution of source "+s.Name, s.Resolution.Float()/2, uncertainty.Rectangular, 0, "bench file"))
	}
	return lines
}
