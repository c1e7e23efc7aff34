//go:build unix

package faulty_test

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"bandproof/drivers"
	"bandproof/drivers/drivertest/faulty"
	"bandproof/drivers/link"
	"bandproof/drivers/profile"
	"bandproof/procedures/quantity"
)

// most is the highest level that the interlock of the test passes, in dBm.
const most = -5.0

type upTo float64

func (most upTo) Permit(_ string, l quantity.Level) error {
	if l.DBm(quantity.Dbm50()) > float64(most) {
		return fmt.Errorf("%s is too much", l)
	}
	return nil
}

// converseSource: open, set frequency and level, RF on and off while faults
// last; then they end, RF has to go off, and all of it has to work.
func converseSource(g rig, p *profile.Profile, s faulty.Schedule) *report {
	b, end, err := newBout(g, p, s, sourceName)
	defer func() { end() }()
	if err != nil {
		b.violation("set up the test: %v", err)
		return b.report
	}
	c := &sourceBout{bout: b}
	for range underway {
		if c.open() && !c.point(false) {
			// As the runner does: off after anything that went wrong, and if
			// that is told to have worked it has.
			if c.does("RF off", c.source.RFOff) {
				c.mustBeOff()
			}
			c.does("recover", c.source.Recover)
		}
	}
	b.mend()
	if !b.eventually(func() bool {
		if !c.open() || !c.does("RF off", c.source.RFOff) {
			return false
		}
		c.mustBeOff()
		if !c.does("recover", c.source.Recover) {
			return false
		}
		c.mustBeOff()
		return c.point(true)
	}) {
		b.violation("after the faults the source could not be set")
	}
	if c.source != nil && !b.hung && c.does("close", func(context.Context) error { return c.source.Close() }) {
		c.mustBeOff()
	}
	return b.report
}

// sourceBout is a conversation with a source.
type sourceBout struct {
	*bout
	source drivers.Source
}

func (c *sourceBout) open() bool {
	if c.source != nil {
		return true
	}
	var l link.Link
	return c.does(openLink, func(ctx context.Context) (err error) { l, err = c.opener.Open(ctx, c.config); return err }) &&
		c.does("open", func(ctx context.Context) error {
			n, err := c.profile.OpenSource(ctx, profile.Opening{Name: sourceName, Link: l, Interlock: upTo(most)})
			if err == nil {
				c.source = n
			}
			return err
		})
}

// point sets one frequency and level, and switches RF on and off. What the
// source reports as asked for is so.
func (c *sourceBout) point(sound bool) bool {
	c.step++
	f := quantity.Of[quantity.Hertz](int64(1000+7*c.step), 6)
	level := quantity.DBmLevel(-20-float64(c.step), 1)
	var gotF quantity.Frequency
	var gotLevel quantity.Level
	if !c.does("set frequency", func(ctx context.Context) (err error) { gotF, err = c.source.SetFrequency(ctx, f); return err }) ||
		!c.does("set level", func(ctx context.Context) (err error) { gotLevel, err = c.source.SetLevel(ctx, level); return err }) {
		return false
	}
	if sound && gotF.Cmp(f) != 0 {
		c.violation("set to %s, reports %s", f, gotF)
	}
	if gotF.Cmp(f) == 0 { // else the caller sees that it is another
		c.is("FREQ?", f.Plain())
	}
	asked, _ := level.DBmPlain()
	if told, _ := gotLevel.DBmPlain(); sameNumber(told, asked) {
		c.is("POW?", asked)
	}
	if !c.does("RF on", c.source.RFOn) {
		return false
	}
	c.is("OUTP?", "1")
	if !c.does("RF off", c.source.RFOff) {
		return false
	}
	c.mustBeOff()
	c.readings++
	return true
}

func (c *sourceBout) mustBeOff() { c.is("OUTP?", "0") }

// is asks the source past the faulty link.
func (c *sourceBout) is(question, want string) {
	got, err := c.truth.tell(sourceName, question)
	if err != nil || !sameNumber(got, want) {
		c.violation("the driver says that %s is %s; the source says %q, %v", strings.TrimSuffix(question, "?"), want, got, err)
	}
}

func sameNumber(a, b string) bool {
	x, bad := quantity.Parse[quantity.Hertz](a + " Hz")
	y, worse := quantity.Parse[quantity.Hertz](b + " Hz")
	return errors.Join(bad, worse) == nil && x.Cmp(y) == 0
}
