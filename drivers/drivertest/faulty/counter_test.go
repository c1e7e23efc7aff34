//go:build unix

package faulty_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/drivertest/faulty"
	"bandproof/drivers/link"
	"bandproof/drivers/profile"
	"bandproof/procedures/quantity"
)

var gate = quantity.MustParse[quantity.Second]("10 ms")

const (
	input    = "B" // not the one that a reset selects
	underway = 5   // readings while the faults last
	// afterward is how long it may take after the faults until it works. It is
	// long because test machines are busy.
	afterward = 2 * time.Minute
)

// bout is one conversation under way.
type bout struct {
	*report
	rig     rig
	profile *profile.Profile
	truth   *truth
	line    *faulty.Line
	config  link.Config
	opener  link.Opener
	step    int
	mended  bool
	hung    bool
}

// newBout puts an instrument behind the line.
func newBout(g rig, p *profile.Profile, s faulty.Schedule, instrument string) (*bout, func(), error) {
	b := &bout{report: &report{errors: map[string]int{}, begin: time.Now()}, rig: g, profile: p, line: faulty.NewLine(s)}
	b.note("%s", s)
	u, err := newTruth()
	if err != nil {
		return b, func() {}, err
	}
	b.truth = u
	c, o, end, err := g.place(u, instrument, b.line)
	if err != nil {
		return b, func() { _ = u.close() }, err
	}
	b.config, b.opener = p.Prefer(c), o
	return b, func() {
		err := errors.Join(end(), u.close())
		b.lost = errors.Is(err, faulty.ErrElsewhere)
		if err != nil {
			b.violation("take down: %v", err)
		}
	}, nil
}

// openLink is what opening the link is called.
const openLink = "open the link"

// mend ends the faults.
func (b *bout) mend() {
	b.note("acted: %v", b.line.Acted())
	b.line.Mend()
	b.mended = true
	b.note("faults are over; %d bytes out, %d in", b.line.Passed(faulty.ToInstrument), b.line.Passed(faulty.ToDriver))
}

// does makes one call and tells whether it went well.
func (b *bout) does(doing string, f func(ctx context.Context) error) bool {
	if b.hung {
		return false
	}
	limit := callTime
	if doing == openLink && !b.mended {
		limit = openTime
	}
	err, ended := b.call(doing, limit, f)
	b.hung = !ended
	if err != nil {
		b.failed(doing, err)
	}
	return ended && err == nil
}

// spoiled tells whether the link is to blame for a reading that did not come:
// it has dropped or changed bytes meanwhile, or the unit has given a reading.
func spoiled(acted []faulty.Fault, measured []string) bool {
	lost := slices.ContainsFunc(acted, func(f faulty.Fault) bool {
		return f.Kind == faulty.Drop || f.Kind == faulty.Corrupt || f.Kind == faulty.Cut
	})
	return lost || len(acted) > 0 && slices.ContainsFunc(measured, func(reply string) bool { return reply != "" })
}

// eventually tries again until it works, something is wrong, or time is over.
func (b *bout) eventually(works func() bool) bool {
	pause := 20 * time.Millisecond
	for begin := time.Now(); time.Since(begin) < afterward && !b.hung && len(b.wrong) == 0; time.Sleep(pause) {
		if works() {
			return true
		}
		pause = min(2*pause, 5*time.Second) // a machine that is too busy gets rest
	}
	return b.hung || len(b.wrong) > 0 // told already
}

// converseCounter: open, set up, read a signal that changes while faults last;
// then they end, and it has to work.
func converseCounter(g rig, p *profile.Profile, s faulty.Schedule) *report {
	b, end, err := newBout(g, p, s, counterName)
	defer func() { end() }()
	if err != nil {
		b.violation("set up the test: %v", err)
		return b.report
	}
	for _, m := range []string{"POW -10 DBM", "OUTP ON"} {
		if _, err := b.truth.tell(sourceName, m); err != nil {
			b.violation("set up the test: %v", err)
		}
	}
	c := &counterBout{bout: b}
	for range underway {
		if c.prepare() {
			c.reading(false)
		}
	}
	b.mend()
	if !b.eventually(func() bool {
		return (c.counter == nil || b.does("recover", c.counter.Recover)) && c.prepare() && c.reading(true)
	}) {
		b.violation("after the faults no reading came")
	}
	if c.counter != nil && !b.hung {
		b.does("close", func(context.Context) error { return c.counter.Close() })
	}
	return b.report
}

// counterBout is a conversation with the counter.
type counterBout struct {
	*bout
	counter  drivers.Counter
	selected bool
	gated    bool
	gate     quantity.Duration
}

// prepare opens the counter and sets it up, as far as that is not done.
func (c *counterBout) prepare() bool {
	if c.counter == nil {
		var l link.Link
		if !c.does(openLink, func(ctx context.Context) (err error) { l, err = c.opener.Open(ctx, c.config); return err }) {
			return false
		}
		if !c.does("open", func(ctx context.Context) error {
			n, err := c.profile.OpenCounter(ctx, profile.Opening{Name: counterName, Link: l})
			if err == nil {
				c.counter = n
			}
			return err
		}) {
			return false
		}
	}
	if !c.selected {
		c.selected = c.does("select input", func(ctx context.Context) error { return c.counter.SelectInput(ctx, input) })
	}
	if c.selected && !c.gated {
		c.gated = c.does("set gate", func(ctx context.Context) (err error) { c.gate, err = c.counter.SetGate(ctx, gate); return err })
	}
	return c.selected && c.gated
}

// reading changes the signal and takes one reading, which must be right if it
// is one.
func (c *counterBout) reading(sound bool) bool {
	c.step++
	f := 100e6 + 7e6*float64(c.step)
	if _, err := c.truth.tell(sourceName, fmt.Sprintf("FREQ %.0f", f)); err != nil {
		c.violation("set the signal: %v", err)
	}
	if done, err := c.truth.tell(sourceName, "*OPC?"); err != nil || done != "1" {
		c.violation("set the signal: %q, %v", done, err)
	}
	since, acted := c.truth.now(), len(c.line.Acted())
	var r drivers.Reading
	if !c.does(fmt.Sprintf("reading %d", c.step), func(ctx context.Context) (err error) { r, err = c.counter.Read(ctx); return err }) {
		return false
	}
	c.note("reading %d is %q %s", c.step, r.Text, r.Mark)
	measured := c.truth.measured(since)
	switch {
	case r.Mark == drivers.NoReply && !spoiled(c.line.Acted()[acted:], measured):
		return false // the unit, or a busy machine, was too slow
	case r.Mark != drivers.None:
		c.violation("reading %d is booked as %q; the unit said %q", c.step, r.Mark, measured)
		return false
	case slices.Contains(measured, r.Text):
	case !sound && slices.ContainsFunc(measured, func(m string) bool { return digitsApart(m, r.Text) }):
		c.digits++
		return false
	default:
		c.violation("reading %d is %q; the unit said %q to this call", c.step, r.Text, measured)
		return false
	}
	c.readings++
	if off := math.Abs(r.Frequency.Float()/f - 1); off > 1e-3 {
		c.violation("reading %d is %q; the signal is %.0f", c.step, r.Text, f)
	}
	got, err := c.truth.tell(counterName, "SENS:FREQ:APER?")
	if inForce, bad := quantity.Parse[quantity.Second](strings.TrimPrefix(got, "+") + " s"); err != nil || bad != nil || inForce.Cmp(c.gate) != 0 {
		c.violation("reading %d was taken with gate %q; the driver says %s", c.step, got, c.gate)
	}
	return true
}
