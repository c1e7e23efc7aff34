package runner

import (
	"context"
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strings"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/accuracy"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// readings throws away what may have begun before settling ended and takes n
// readings that count. After a link error the device is cleared and the
// reading taken anew; a reading that came is never repeated. A reading that
// never came among others that did is the link's fault, not the unit's: it is
// taken anew once. enough, where it is not nil, is asked after each reading
// whether the rest may be left out.
func (r *run) readings(ctx context.Context, res *PointResult, n int, enough func() (bool, error)) (bench decision.Reason, err error) {
	res.StoppedEarly = ""
	for range r.Counter.Discard() {
		if err := r.reading(ctx, res, Discarded); err != nil {
			return "", err
		}
	}
	for round := 1; n > 0; round++ {
		for range n {
			if err := r.reading(ctx, res, Counted); err != nil {
				return "", err
			}
			if bench, err = r.lockHeld(ctx, res); bench != "" || err != nil {
				return bench, err
			}
			if round > 1 || enough == nil {
				continue
			}
			if stop, err := enough(); err != nil {
				return "", err
			} else if stop {
				break
			}
		}
		if n = res.unanswered(); n == 0 || len(res.numbers()) == 0 {
			break
		}
		if round == 2 {
			res.Notes = append(res.Notes, fmt.Sprintf("%d readings were never answered, while others were", n))
			return decision.LinkFailed, nil
		}
		res.Notes = append(res.Notes, fmt.Sprintf("%d readings were never answered and were taken anew", n))
		for k := range res.Readings {
			if x := &res.Readings[k]; x.Use == Counted && x.Mark == drivers.NoReply {
				x.Use = Lost
			}
		}
	}
	return "", nil
}

// inStep proves that the readings just taken are the answers to the questions
// that they were taken for: the unit's error queue is asked, and must answer as
// such, without complaints of questions that were broken off (-4xx, SCPI-1999
// query errors). Other complaints are noted.
func (r *run) inStep(ctx context.Context, res *PointResult) (trusted bool, err error) {
	queue, ok := r.Counter.(drivers.ErrorQueue)
	if ok {
		var entries []string
		if entries, err = queue.Errors(ctx); err != nil {
			if ctx.Err() != nil {
				return false, ctx.Err()
			}
			r.event(ctx, fmt.Sprintf("%v; the readings before it are not trusted", err))
			r.distrust = true
			r.dead = r.Counter.Recover(ctx)
		}
		for _, e := range entries {
			r.distrust = r.distrust || strings.HasPrefix(e, "-4")
			res.Notes = append(res.Notes, "unit reports "+e)
		}
	}
	if !r.distrust {
		return true, nil
	}
	r.distrust = false
	res.Notes = append(res.Notes, "the conversation with the unit was out of step: readings discarded and taken anew")
	return false, nil
}

// unanswered counts the counted readings that never came.
func (p *PointResult) unanswered() int {
	n := 0
	for _, x := range p.Readings {
		if x.Use == Counted && x.Mark == drivers.NoReply {
			n++
		}
	}
	return n
}

func (r *run) reading(ctx context.Context, res *PointResult, use Use) error {
	if err := r.synced(); err != nil {
		return err
	}
	r.watchClock(ctx, res)
	defer r.watchClock(ctx, res)
	return r.retryLink(ctx, r.Counter, func() error {
		got, err := r.Counter.Read(ctx)
		if errors.Is(err, drivers.ErrUnreadable) && got.Text != "" {
			res.Notes = append(res.Notes, fmt.Sprintf("unreadable reply %q", got.Text))
		}
		if err == nil {
			if got.Mark == drivers.None && got.Frequency.Sign() == 0 {
				got.Mark = drivers.NoSignal // zero is never a frequency
			}
			res.Readings = append(res.Readings, Reading{got, use})
		}
		return err
	})
}

// slipFactor is how many limits an entry may lie off before it is asked for
// again, so that no reading is questioned for being out of tolerance.
const slipFactor = 10

// expect tells a counter that a person reads what the signal is from now on
// (RF off where it is zero), so that a slip is noticed.
func (r *run) expect(i procedures.Input, f quantity.Frequency, limit accuracy.Limit) {
	e, ok := r.Counter.(drivers.Expecter)
	if !ok {
		return
	}
	tolerance := limit.Total.Mul(quantity.ExactInt(slipFactor))
	if most := f.Exact().Mul(quantity.ExactOf(big.NewRat(1, 4))); most.Cmp(tolerance) < 0 {
		tolerance = most // half and twice the frequency lie outside
	}
	e.Expect(drivers.Expectation{Frequency: f, Tolerance: tolerance, Scatter: limit.Scatter().Mul(quantity.ExactInt(2)), Resolution: limit.Resolution,
		Input: i.Name, Range: i.Range})
}

// use moves readings from one use to another.
func (p *PointResult) use(from, to Use) {
	for k := range p.Readings {
		if p.Readings[k].Use == from {
			p.Readings[k].Use = to
		}
	}
}

// numbers returns the counted readings that are numbers, in Hz.
func (p *PointResult) numbers() []quantity.Exact { return p.numbersOf(Counted) }

func (p *PointResult) numbersOf(use Use) []quantity.Exact {
	var list []quantity.Exact
	for _, x := range p.Readings {
		if x.Use == use && x.Mark == drivers.None {
			list = append(list, x.Frequency.Exact())
		}
	}
	return list
}

// missing counts the readings that are no number, of a first look too.
func (p *PointResult) missing() int {
	n := 0
	for _, x := range p.Readings {
		if (x.Use == Counted || x.Use == FirstLook) && x.Mark != drivers.None {
			n++
		}
	}
	return n
}

// scatters tells whether readings of a steady signal lie further apart than
// counts and trigger error allow: each may be off by both, either way.
func scatters(res *PointResult) bool {
	return procedures.Spread(res.numbers()).Cmp(res.ScatterAllowed()) > 0
}

// ScatterAllowed is how far readings of a steady signal may lie apart, in Hz.
func (p *PointResult) ScatterAllowed() quantity.Exact {
	return p.Limit.Scatter().Mul(quantity.ExactInt(2))
}

// heldCheck looks, once on each input, whether the unit stops showing the
// frequency when RF is off. The reading is kept with the point.
func (r *run) heldCheck(ctx context.Context, at *place, res *PointResult) (bool, error) {
	numbers := res.numbers()
	if at.looked || len(numbers) == 0 {
		return at.held, nil
	}
	if err := r.quiet(ctx, at); err != nil {
		return false, err
	}
	if err := r.Clock.Sleep(ctx, seconds(at.source.Settle())); err != nil {
		return false, err
	}
	r.expect(at.input, quantity.Frequency{}, res.Limit)
	for range r.Counter.Discard() + 1 {
		if err := r.reading(ctx, res, RFOffLook); err != nil {
			return false, err
		}
	}
	at.looked = true
	shown := res.Readings[len(res.Readings)-1]
	in := r.inputResult(at.input.Name)
	at.held = shown.Mark == drivers.None && near(shown.Frequency.Exact(), numbers[len(numbers)-1])
	switch {
	case at.held:
		in.HeldCheck = fmt.Sprintf("still shows %s with RF off", shown.Frequency)
		r.warn(ctx, fmt.Sprintf("input %s: the unit %s; none of its readings count", at.input.Name, in.HeldCheck))
	case shown.Mark != drivers.None:
		in.HeldCheck = "shows no frequency with RF off"
	default:
		in.HeldCheck = fmt.Sprintf("shows %s with RF off", shown.Frequency)
	}
	return at.held, nil
}

// near tells whether two frequencies agree to one part in a hundred.
func near(a, b quantity.Exact) bool {
	return a.Sub(b).Abs().Cmp(b.Abs().Mul(quantity.ExactOf(big.NewRat(1, 100)))) <= 0
}

// provePath makes sure that a signal arrives before "no count" is booked on
// the unit: a point that passed on this path is repeated; else power meter or
// switch and monitor show it; else a person looks. Points that passed and no
// longer do are kept as changes within the run.
// Where nothing can prove it yet the point is put off (last is false).
func (r *run) provePath(ctx context.Context, at *place, res *PointResult, last bool) (proven bool, err error) {
	var gone []PointResult
	proofs := at.candidates(res.Point)
	for _, p := range proofs {
		again, err := r.repeat(ctx, at, res, p)
		if err != nil {
			return false, err
		}
		if again != nil && again.Verdict.Good() {
			return true, r.changed(ctx, at, gone, "to prove the path at point "+res.Point.ID, true, res)
		}
		if again != nil && !at.borrowed {
			gone = append(gone, *again)
		}
	}
	if len(proofs) > 0 {
		delete(r.alive, at.spec.Name) // nor does it show any longer that the source gives a signal
	}
	if proven, err = r.proveOtherwise(ctx, at, res, last, len(proofs) > 0); err != nil {
		return false, err
	}
	return proven, r.changed(ctx, at, gone, "to prove the path at point "+res.Point.ID, proven, res)
}

// candidates are points to prove the path of one with: the one that passed last,
// then the first one.
func (at *place) candidates(of procedures.Point) (list []procedures.Point) {
	same := func(a, b procedures.Point) bool { // other levels of a search have one id
		return a.ID == b.ID && a.Frequency.Cmp(b.Frequency) == 0 && a.Levels.Source.String() == b.Levels.Source.String()
	}
	others := slices.DeleteFunc(slices.Clone(at.proofs), func(p procedures.Point) bool { return same(p, of) })
	if k := len(others) - 1; k >= 0 {
		list = append(list, others[k])
		if !same(others[0], others[k]) {
			list = append(list, others[0])
		}
	}
	return list
}

// proveOtherwise proves a path without a point that passed.
func (r *run) proveOtherwise(ctx context.Context, at *place, res *PointResult, last, known bool) (bool, error) {
	if ok, sure, err := r.proveByAids(ctx, at, res); sure || err != nil {
		return ok, err
	}
	if !known && !last {
		return false, nil
	}
	if !at.asked {
		at.asked = true
		var err error
		if at.byHand, err = r.proveByHand(ctx, at, res); err != nil {
			return false, err
		}
	}
	if at.byHand {
		res.Notes = append(res.Notes, at.seen)
	}
	return at.byHand, nil
}

// proveByHand has a person look at the end of the path with an instrument
// known to be good. RF is off whenever a cable is in somebody's hand.
func (r *run) proveByHand(ctx context.Context, at *place, res *PointResult) (bool, error) {
	if err := r.rfOffAll(ctx); err != nil {
		return false, err
	}
	ask := func(question string) (bool, error) {
		yes, err := r.Operator.Confirm(ctx, question)
		r.otherwise()
		if errors.Is(err, ErrNoOperator) {
			r.entry(ctx, question, "no operator")
			return false, nil
		}
		if err == nil {
			r.entry(ctx, question, yesNo(yes))
		}
		return yes, err
	}
	p := res.Point
	yes, err := ask(fmt.Sprintf("input %s reads nothing at %s. RF is off. Can you take the cable off the unit and connect it to a counter or power meter known to be good?", p.Input, p.Frequency))
	if !yes || err != nil {
		return false, err
	}
	r.current = "" // until somebody says that the cable is back
	var set Setting
	bench, err := r.setSource(ctx, at, p, &set)
	if bench != "" || err != nil {
		return false, err
	}
	shows, err := ask(fmt.Sprintf("RF is on. Does it show %s?", p.Frequency))
	if err != nil {
		return false, err
	}
	if err := r.rfOffAll(ctx); err != nil {
		return false, err
	}
	at.seen = fmt.Sprintf("path proven by %s: an instrument known to be good showed %s at %s", r.Operator.Name(), p.Frequency, r.Clock.Now().UTC().Format(time.RFC3339))
	back, err := ask(fmt.Sprintf("RF is off. Is the cable back on input %s?", p.Input))
	if back {
		r.current = at.path.Name
	}
	return shows && back, err
}

// symptomOf names what a wrong mean looks like.
func symptomOf(mean, reference quantity.Exact, limit quantity.Exact) string {
	if reference.Sign() <= 0 {
		return ""
	}
	for _, x := range []struct {
		p, q int64
		name string
	}{{1, 2, "half the frequency"}, {2, 1, "twice the frequency"}, {1, 3, "a third of the frequency"}, {3, 1, "three times the frequency"},
		{1, 4, "a quarter of the frequency"}, {4, 1, "four times the frequency"}, {2, 3, "two thirds of the frequency"}, {3, 2, "one and a half times the frequency"}} {
		ratio := quantity.ExactOf(big.NewRat(x.p, x.q))
		if mean.Sub(reference.Mul(ratio)).Abs().Cmp(limit.Mul(ratio).Add(limit)) <= 0 {
			return "reads " + x.name
		}
	}
	return ""
}
