package runner

import (
	"fmt"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// evaluate computes error, limit, uncertainty and verdict of a point from its
// counted readings. symptom and bench come from taking it.
func (r *run) evaluate(at *place, res *PointResult, symptom, bench decision.Reason) error {
	if err := r.limitInForce(at, res); err != nil {
		return err
	}
	at.look(res)
	if symptom == "" && r.ReplyAgrees && coarser(res) {
		symptom = decision.CoarseReply
	}
	m := r.measurement(at, res)
	m.BenchFault, m.Symptom = bench, symptom
	if m.Reply != nil {
		res.Notes = append(res.Notes, "replies show fewer digits than the unit counts; their rounding is in the budget")
	}
	j, err := procedures.Judge(r.Plan.Rule, m)
	if err != nil {
		return fmt.Errorf("point %s: %w", res.Point.ID, err)
	}
	if j.Verdict.Bad() && !at.search && r.belowPromise(at, res) {
		m.BenchFault = decision.LevelNotAsPlanned
		if j, err = procedures.Judge(r.Plan.Rule, m); err != nil {
			return fmt.Errorf("point %s: %w", res.Point.ID, err)
		}
	}
	if impure := res.Point.Impure; !at.search && impure != nil && impure.TooHigh && j.Verdict.Bad() && j.Verdict.Reason != decision.NoCount {
		m.BenchFault = decision.SignalImpure // harmonics may trigger a counter, but take no count away
		if j, err = procedures.Judge(r.Plan.Rule, m); err != nil {
			return fmt.Errorf("point %s: %w", res.Point.ID, err)
		}
	}
	res.Judgement = j
	if res.Counted > 0 && res.Verdict.Bad() {
		res.Symptom = symptomOf(res.Mean, res.Reference, res.Limit.Total)
	}
	if x := res.Intermittent(); x != "" && res.Verdict.Bad() {
		res.Symptom = x
	}
	describe(res)
	return nil
}

// measurement is what a judgement of the readings so far rests on.
func (r *run) measurement(at *place, res *PointResult) procedures.Measurement {
	return procedures.Measurement{Reference: res.Reference, Readings: res.numbers(), Also: res.numbersOf(FirstLook), Limit: res.Limit,
		Counting: at.input.Accuracy.At(res.Point.Frequency).Counting, Bench: r.Plan.BenchBudget(at.spec, res.Point.Frequency), Reply: r.linkRounding(at, res)}
}

// describe adds notes on how the point was taken.
func describe(res *PointResult) {
	if n := res.missing(); n > 0 && res.Counted > 0 && res.Symptom == "" {
		res.Notes = append(res.Notes, fmt.Sprintf("%d readings gave no count, %d did", n, res.Counted))
	}
	if res.Setting.Refused > 0 {
		res.Notes = append(res.Notes, fmt.Sprintf("source was not good after %d of %d settings", res.Setting.Refused, res.Setting.Tries))
	}
	if res.Point.Impure != nil {
		res.Notes = append(res.Notes, res.Point.Impure.Says)
	}
	if res.Counted == 1 {
		res.Notes = append(res.Notes, "one reading: no repeatability in the budget")
	}
	if res.Point.Coherent {
		res.Notes = append(res.Notes, "coherent: all readings at one phase, they count as one; scatter not tested")
	}
}

// coarser tells whether all replies resolve coarser than one count. A reply
// with an exponent says nothing of its digits.
func coarser(res *PointResult) bool {
	any := false
	for _, x := range res.Readings {
		if x.Use != Counted || x.Mark != drivers.None {
			continue
		}
		step, ok := replyStep(x)
		if !ok || step.Cmp(res.Limit.Resolution) <= 0 {
			return false
		}
		any = true
	}
	return any
}

// replyStep is the size of the last digit of a reply, in Hz; ok is false for a
// reply with an exponent.
func replyStep(x Reading) (quantity.Exact, bool) {
	for _, c := range x.Text {
		if c == 'e' || c == 'E' {
			return quantity.Exact{}, false
		}
	}
	return quantity.New[quantity.Hertz](unitStep(x.Frequency)).Exact(), true
}

// window is what fixes the last digit that a unit shows: its gate, and, where it
// shows a fixed number of digits, how many stand before the point.
type window struct {
	gate  string
	whole int64
}

func windowOf(res *PointResult, x Reading) window {
	d := x.Frequency.Decimal()
	return window{res.Gate.String(), d.NumDigits() + int64(d.Exponent)}
}

// look notes which digits the replies of this place show.
func (at *place) look(res *PointResult) {
	for _, x := range res.Readings {
		if x.Mark != drivers.None || x.Use == Proof || x.Use == RFOffLook { // taken at another setting
			continue
		}
		step, ok := replyStep(x)
		if !ok {
			continue
		}
		if at.finest == nil {
			at.finest = map[window]quantity.Exact{}
		}
		if w := windowOf(res, x); at.finest[w].Sign() == 0 || step.Cmp(at.finest[w]) < 0 {
			at.finest[w] = step
		}
		digits := x.Frequency.Decimal().Coeff.String()
		at.zeros = at.zeros || digits[len(digits)-1] == '0'
	}
}

// linkRounding is what replies that show fewer digits than the unit counts add
// (half-width half the last digit), or nil. Digits of an instrument that never
// ends a reply in a zero say nothing: it may suppress them. A person is told to
// enter every zero, and the display has no more digits than the panel states.
func (r *run) linkRounding(at *place, res *PointResult) *uncertainty.Contribution {
	_, person := r.Counter.(drivers.ByHand)
	var step quantity.Exact
	from := "digits of the replies on this path"
	if at.zeros || person {
		for _, x := range res.Readings {
			if x.Use == Counted && x.Mark == drivers.None {
				if s := at.finest[windowOf(res, x)]; s.Cmp(step) > 0 {
					step = s
				}
			}
		}
	}
	if s := r.Bench.Counter.Front().Digit(res.Point.Gate).Exact(); person && s.Cmp(step) > 0 {
		step, from = s, "last digit of the display (bench file)"
	}
	if step.Cmp(res.Limit.Resolution) <= 0 {
		return nil
	}
	line := uncertainty.Line("rounding of the reply", step.Float()/2, uncertainty.Rectangular, 0, from)
	return &line
}
