package runner

import (
	"fmt"

	"bandproof/drivers"
	"bandproof/procedures/decision"

	"github.com/cockroachdb/apd/v3"

	"bandproof/procedures/quantity"
)

// unitStep is one unit of the last digit of a reading.
func unitStep(f quantity.Frequency) *apd.Decimal { return apd.New(1, f.Decimal().Exponent) }

// state makes the overall statement: the worst of what was in scope. A point
// that was not judged leaves the run incomplete, unless another one failed.
func state(res *Result) (s Statement, symptom string) {
	good, bad, open, numbers := 0, 0, 0, 0
	for _, p := range res.Points {
		switch {
		case p.Verdict.Good():
			good++
		case p.Verdict.Bad():
			bad++
		case !p.Judged():
			open++
		}
		for _, x := range p.Readings {
			if x.Use == Counted && x.Mark == drivers.None {
				numbers++
			}
		}
	}
	for _, o := range res.Outcomes {
		for _, x := range o.Rows {
			switch {
			case x.Verdict.Good():
				good++
			case x.Verdict.Bad():
				bad++
			case x.Open():
				open++
			}
		}
		numbers += o.numbers()
	}
	for _, c := range res.Changes {
		if c.Later.Bad() {
			bad++
		} else {
			open++
		}
	}
	switch {
	case bad > 0 && numbers == 0 && res.Complete && open == 0 && len(res.Only) == 0:
		return NotObtainable, fmt.Sprintf("no reading at any of %d points", len(res.Points))
	case bad > 0:
		return Outside, ""
	case open > 0 || !res.Complete || good == 0: // rows that only report show no tolerance
		return Incomplete, ""
	}
	return extent(res), ""
}

// extent says over how much of the range the unit was within tolerance.
func extent(res *Result) Statement {
	s := WithinAll
	if len(res.Only) > 0 {
		return WithinPoints // an added run says nothing of what lies between
	}
	for _, i := range res.Inputs {
		for _, open := range i.Coverage.Open {
			if !open.PlannedOut(i.NotShown) {
				return WithinPoints
			}
			s = WithinShown
		}
		if !i.Coverage.Complete && len(i.Coverage.Open) == 0 {
			return WithinPoints // a crossover without a point on both sides
		}
	}
	return s
}

// Tally counts what came out.
type Tally struct {
	Passed    int `json:"passed"` // conditional passes included
	Failed    int `json:"failed"` // conditional fails included
	NotJudged int `json:"not_judged"`
	NotTaken  int `json:"not_taken"`
	NotShown  int `json:"not_shown_stretches"`
	// Of other kinds of measurement, by what they judged.
	Others *Others `json:"other_measurements,omitempty"`
}

// Others counts what other kinds of measurement than the band sweep judged.
type Others struct {
	Passed    int `json:"passed"`
	Failed    int `json:"failed"`
	NotJudged int `json:"not_judged"`
	NotTaken  int `json:"not_taken"` // tasks
}

// Tally counts the points by verdict and the stretches that were planned out.
func (res Result) Tally() (n Tally) {
	for _, p := range res.Points {
		switch {
		case p.Verdict.Good():
			n.Passed++
		case p.Verdict.Bad():
			n.Failed++
		default:
			n.NotJudged++
		}
	}
	n.NotTaken = max(res.Planned-len(res.Points), 0)
	if res.PlannedTasks > 0 {
		n.Others = &Others{NotTaken: max(res.PlannedTasks-len(res.Outcomes), 0)}
	}
	for _, o := range res.Outcomes {
		for _, x := range o.Rows {
			switch {
			case x.Verdict.Good():
				n.Others.Passed++
			case x.Verdict.Bad():
				n.Others.Failed++
			case x.Open():
				n.Others.NotJudged++
			}
		}
	}
	for _, i := range res.Inputs {
		n.NotShown += len(i.NotShown)
	}
	return n
}

// Worst sums a result up for an exit code: failed if a point failed or the
// unit gives nothing, bench if a point or the run ended by link or interlock,
// open if something could not be judged.
func (res Result) Worst() (failed, bench, open bool) {
	for _, c := range res.Changes {
		failed = failed || c.Later.Bad()
		open = open || !c.Later.Bad()
	}
	for _, p := range res.Points {
		failed = failed || p.Verdict.Bad()
		open = open || !p.Judged()
		bench = bench || p.Verdict.Reason == decision.LinkFailed || p.Verdict.Reason == decision.InterlockRefused
	}
	for _, o := range res.Outcomes {
		for _, x := range o.Rows {
			failed = failed || x.Verdict.Bad()
			open = open || x.Open()
			bench = bench || x.Verdict.Reason == decision.LinkFailed || x.Verdict.Reason == decision.InterlockRefused
		}
	}
	return failed || res.Statement == NotObtainable, bench || len(res.RFMayBeOn) > 0, open || !res.Complete
}
