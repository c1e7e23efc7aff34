package runner

import (
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// Outcome is what came of one task: the same shape for every kind of
// measurement, so that journal, record and data sheet need to know none.
type Outcome struct {
	Task procedures.Task `json:"task"`
	Rows []Row           `json:"rows"`
	// Shots are all settings with their readings, in the order taken.
	Shots []PointResult `json:"shots,omitempty"`
	// Courses are long rows of readings of one steady thing.
	Courses   []Course  `json:"courses,omitempty"`
	Curves    []Curve   `json:"curves,omitempty"`
	Notes     []string  `json:"notes,omitempty"`
	Standards []string  `json:"standards,omitempty"` // names in the bench file
	Started   time.Time `json:"started"`
	Finished  time.Time `json:"finished"`
}

// Row is one thing that was found, with what it was compared with.
type Row struct {
	What string              `json:"what"`                // "least level that counts"
	At   *quantity.Frequency `json:"frequency,omitempty"` // nil where it belongs to none
	// Unit of the numbers below: "dBm", "dB", "Hz", "V", "1", "1/d"; "" where
	// there are none.
	Unit  string          `json:"unit,omitempty"`
	Found *quantity.Exact `json:"found,omitempty"`
	// Limit and on which side of it Found is good; nil where nothing is promised.
	Limit *quantity.Exact `json:"limit,omitempty"`
	Side  Side            `json:"side,omitempty"`
	// Margin is how far Found lies on the good side of Limit; negative beyond.
	Margin *quantity.Exact `json:"margin,omitempty"`
	// Uncertainty of Found, in Unit; nil for a yes or no.
	Uncertainty *uncertainty.Result `json:"uncertainty,omitempty"`
	Budget      uncertainty.Budget  `json:"budget,omitempty"`
	GuardBand   *quantity.Exact     `json:"guard_band,omitempty"`
	// Verdict is empty where nothing is promised and the row only reports.
	Verdict decision.Verdict `json:"verdict,omitzero"`
	// Says is the finding in words, such as "counts up to 1.274 GHz".
	Says string `json:"says,omitempty"`
}

// Side tells on which side of a limit a value is good.
type Side string

const (
	AtMost  Side = "at most"
	AtLeast Side = "at least"
	Within  Side = "within ±"
)

// Judged tells whether the row has a verdict on the unit.
func (x Row) Judged() bool { return x.Verdict.Good() || x.Verdict.Bad() }

// Open tells whether the row was to be judged and could not be.
func (x Row) Open() bool { return x.Verdict.Word == decision.NotJudged }

// Judge fills in margin, guard band and verdict from Found, Limit, Side and
// Uncertainty by a rule; a row without a limit stays without a verdict.
func (x *Row) Judge(rule decision.Rule) {
	if x.Limit == nil || x.Found == nil {
		return
	}
	margin := x.Limit.Sub(*x.Found)
	switch x.Side {
	case AtLeast:
		margin = margin.Neg()
	case Within:
		margin = x.Limit.Sub(x.Found.Abs())
	}
	var u uncertainty.Result
	if x.Uncertainty != nil {
		u = *x.Uncertainty
	}
	v, w := rule.JudgeMargin(margin, u)
	x.Margin, x.GuardBand, x.Verdict = &margin, &w, v
}

// numbers counts the readings of the unit that were numbers.
func (o Outcome) numbers() int {
	n := 0
	for _, shot := range o.Shots {
		n += len(shot.numbers())
	}
	for _, c := range o.Courses {
		for _, x := range c.Readings {
			if c.By == "unit" && x.Use == Counted && x.Mark == drivers.None {
				n++
			}
		}
	}
	return n
}

// NotJudgedRow is the row of a task that could not be taken.
func NotJudgedRow(what string, why decision.Reason, says string) Row {
	return Row{What: what, Verdict: decision.Verdict{Word: decision.NotJudged, Reason: why}, Says: says}
}

// Curve is a course of something, for the data sheet: what was read over time,
// a stability plot. Floats are statistics.
type Curve struct {
	Title string       `json:"title"`
	X     Axis         `json:"x"`
	Y     Axis         `json:"y"`
	Lines []CurveLine  `json:"lines"`
	Marks []CurveLevel `json:"levels,omitempty"` // horizontal lines: limits and the like
}

// Axis is named with its unit: "time since power-on" in "h".
type Axis struct {
	Name string `json:"name"`
	Unit string `json:"unit,omitempty"`
	Log  bool   `json:"log,omitempty"`
}

// CurveLine is one line or set of dots; U, where given, is the expanded
// uncertainty of each Y.
type CurveLine struct {
	Name string    `json:"name"`
	Fit  bool      `json:"fit,omitempty"` // a computed line rather than what was found
	X    []float64 `json:"x"`
	Y    []float64 `json:"y"`
	U    []float64 `json:"u,omitempty"`
}

// CurveLevel is one horizontal line.
type CurveLevel struct {
	Name string  `json:"name"`
	Y    float64 `json:"y"`
}
