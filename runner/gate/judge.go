package gate

import (
	"fmt"
	"math"
	"math/big"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"
)

// rows judge what was read at one gate.
func (f *found) rows() ([]runner.Row, error) {
	time, err := f.time()
	if err != nil {
		return nil, err
	}
	scatter, err := f.scatter()
	if err != nil {
		return nil, err
	}
	return []runner.Row{time, f.resolution(), scatter, f.digits()}, nil
}

func (f *found) row(what string) runner.Row {
	at := f.w.timing.Frequency
	return runner.Row{What: fmt.Sprintf("gate %s: %s", f.w.timing.Gate, what), At: &at}
}

// stampU is how far the time of a reply may lie off the end of its gate, s:
// polling and the link (common practice, no source).
const stampU = 0.02

// time compares the time from reading to reading with the gate. A unit that
// sends readings sooner has not measured anew, or not for so long.
func (f *found) time() (runner.Row, error) {
	row := f.row("time of a reading over gate time")
	if p, ok := f.Counter().(drivers.ByHand); ok {
		row.Says = "not told: readings are read off the display by " + p.By()
		return row, nil
	}
	var at []runner.Reading
	for _, x := range f.shots[0].Readings {
		if x.Use == runner.Counted {
			at = append(at, x)
		}
	}
	n := len(at) - 1
	total := at[n].At.Sub(at[0].At).Seconds()
	gate := f.shots[0].Gate.Float()
	c := f.Input().Accuracy.At(f.w.timing.Frequency).Counting
	if c.Kind == accuracy.Prescaled && c.GateLengthened && c.Prescale > 1 {
		gate *= float64(c.Prescale)
	}
	each := total / float64(n)
	ratio, least := quantity.ExactDecimal(each/gate), quantity.ExactInt(1).Sub(or(f.w.Short, usualShort).Exact())
	row.Unit, row.Found, row.Limit, row.Side = "1", &ratio, &least, runner.AtLeast
	row.Budget = uncertainty.Budget{uncertainty.Line("times of the replies", 2*stampU/float64(n)/gate, uncertainty.Rectangular, 0, "polling and link, common practice")}
	u, err := row.Budget.Combine()
	if err != nil {
		return row, fmt.Errorf("gate: %w", err)
	}
	row.Uncertainty = &u
	row.Says = fmt.Sprintf("a reading takes %.4g s", each)
	row.Judge(f.Procedure().Decision)
	switch {
	case !row.Verdict.Bad():
	case u.Expanded > 1-least.Float() && row.Margin.Float() > -u.Expanded: // polling and link may have made it
		row.Verdict = decision.Verdict{Word: decision.NotJudged, Reason: decision.UncertaintyTooLarge}
	default:
		row.Verdict.Reason = decision.GateShort
	}
	return row, nil
}

// resolution is the greatest common step of all readings of the last digit's
// walk: what the unit resolves at best.
func (f *found) resolution() runner.Row {
	row := f.row("step of the readings")
	q := f.w.timing.Limit.Resolution
	if len(f.last) == 0 {
		row.Says = "not shown: the source is set in steps too coarse for one count"
		return row
	}
	step := commonStep(f.last)
	row.Unit, row.Found = "Hz", &step
	row.Says = fmt.Sprintf("readings step by %s Hz, one count is %s Hz", short(step), short(q))
	switch {
	case step.Sign() == 0:
		row.Says = "all readings are the same"
	case step.Cmp(q) <= 0:
		row.Limit, row.Side = &q, runner.AtMost
	case !f.ReplyAgrees():
		row.Says += "; the unit's profile does not say that replies show all digits of its display, so this is not held against the unit"
		return row
	default:
		row.Limit, row.Side = &q, runner.AtMost
	}
	row.Judge(f.Procedure().Decision)
	if row.Verdict.Bad() {
		row.Verdict.Reason = decision.CoarseReply
	}
	return row
}

// commonStep is the greatest common divisor of all differences.
func commonStep(list []seen) quantity.Exact {
	step := new(big.Rat)
	for _, x := range list[1:] {
		step = divisor(step, x.value.Sub(list[0].value).Rat())
	}
	return quantity.ExactOf(step)
}

// divisor is the greatest common divisor of two rationals (zero divides nothing).
func divisor(a, b *big.Rat) *big.Rat {
	scale := new(big.Int).Mul(a.Denom(), b.Denom())
	whole := func(x *big.Rat) *big.Int {
		y := new(big.Rat).Mul(x, new(big.Rat).SetInt(scale))
		return new(big.Int).Abs(y.Num())
	}
	return new(big.Rat).SetFrac(new(big.Int).GCD(nil, nil, whole(a), whole(b)), scale)
}

func short(x quantity.Exact) string { return fmt.Sprintf("%.6g", x.Float()) }

// residual is reading less reference value.
func (f *found) residual(x seen) quantity.Exact { return x.value.Sub(f.shots[x.shot].Reference) }

// scatter compares how far the residuals of the last digit's walk spread with
// what the counts allow: each reading may be off by counts and trigger error
// either way, and the timebase by what its ageing makes of the time taken.
func (f *found) scatter() (runner.Row, error) {
	row := f.row("spread of the errors")
	if len(f.last) == 0 {
		row.Says = "not shown: the source is set in steps too coarse for one count"
		return row, nil
	}
	spread, limit := f.spread()
	row.Unit, row.Found, row.Limit, row.Side = "Hz", &spread, &limit, runner.AtMost
	if s, _ := f.Bench().Source(f.w.timing.Source); s.Resolution.Sign() > 0 {
		line := uncertainty.Line("setting resolution of source "+s.Name+", both ends", s.Resolution.Float()/2*math.Sqrt2, uncertainty.Rectangular, 0, "bench file")
		row.Budget = uncertainty.Budget{line}
	}
	u, err := row.Budget.Combine()
	if err != nil {
		return row, fmt.Errorf("gate: %w", err)
	}
	row.Uncertainty = &u
	row.Says = fmt.Sprintf("%d readings spread by %s Hz, %.2f counts", len(f.last), short(spread), spread.Quo(f.w.timing.Limit.Resolution).Float())
	row.Judge(f.Procedure().Decision)
	if row.Verdict.Bad() {
		row.Verdict.Reason = decision.Unstable
	}
	return row, nil
}

// spread of the errors of the last digit's walk, and what is allowed of it, Hz.
func (f *found) spread() (spread, limit quantity.Exact) {
	list := make([]quantity.Exact, len(f.last))
	for k, x := range f.last {
		list[k] = f.residual(x)
	}
	return procedures.Spread(list), f.w.timing.Limit.Scatter().Mul(quantity.ExactInt(2)).Add(f.drift())
}

// drift of the unit's own timebase while the last digit was walked through, Hz.
func (f *found) drift() quantity.Exact {
	if !f.Plan().Topology[f.w.timing.Source].TimebaseTested {
		return quantity.Exact{}
	}
	took := f.shots[len(f.w.last)].Finished.Sub(f.shots[0].Started).Seconds()
	x, _ := f.Procedure().Unit.Timebase.Drift(quantity.Of[quantity.Second](int64(math.Ceil(took)), 0))
	return x.Mul(f.shots[0].Reference)
}
