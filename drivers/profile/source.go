package profile

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
)

// rfOffTimeout bounds the whole of RFOff, which must end even when its context
// has ended before.
const rfOffTimeout = 10 * time.Second

// defaultSettleMargin is what the answer to a settling question may take
// beyond ten times the settling time.
const defaultSettleMargin = 3 * time.Second

// source plays the role drivers.Source.
type source struct {
	*session
	interlock drivers.Interlock
	// blind: the lock is told by a status byte, which this link has not.
	blind bool
	// levelled tells that a level passed by the interlock is in force.
	levelled bool
}

// start is what opening does on the wire. The order matters: RF off comes
// before any question or reset.
func (g *source) start(ctx context.Context) error {
	if err := g.remote(ctx); err != nil {
		return err
	}
	if err := g.switchOff(ctx); err != nil {
		return err
	}
	if err := g.meet(ctx); err != nil {
		return err
	}
	if l := g.file.Lock; l != nil && l.Poll {
		_, err := g.poll(ctx)
		if g.blind = errors.Is(err, errors.ErrUnsupported); err != nil && !g.blind {
			return err
		}
	}
	return g.prepare(ctx)
}

// prepare makes sure that the source took RF off, and sends the start
// commands. RF off is sent again first, because what then stands in the error
// queue is its refusal and no old entry; and again after a reset, which may
// have switched the RF on.
func (g *source) prepare(ctx context.Context) error {
	if err := g.forgetComplaints(ctx, "before RF off"); err != nil {
		return err
	}
	if err := g.switchOffAndConfirm(ctx); err != nil {
		return err
	}
	if g.file.Start == nil {
		return nil
	}
	if err := g.begins(ctx); err != nil {
		return err
	}
	return g.switchOffAndConfirm(ctx)
}

// RFOff switches the signal off. It ends what else is under way, does not mind
// a context that has ended or a link that was lost, and has its own deadline.
func (g *source) RFOff(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), rfOffTimeout)
	defer cancel()
	g.interrupt()
	return g.doToTheEnd(ctx, "RF off", g.rfOff)
}

func (g *source) rfOff(ctx context.Context) error {
	if !g.lost {
		err := g.switchOffAndConfirm(ctx)
		if err == nil || !g.lost {
			return err
		}
		g.log.Warn("RF off went wrong; once more on a cleared link", "error", err)
	}
	return g.lostRFOff(ctx)
}

// lostRFOff clears the link, switches off before anything else is said, and
// makes sure that the source is the one that answers. The source stays lost:
// what else it is set to is not known.
func (g *source) lostRFOff(ctx context.Context) error {
	defer func() { g.lost = true }()
	if _, err := g.regain(ctx); err != nil {
		return err
	}
	if err := g.forgetComplaints(ctx, "after the link was cleared"); err != nil {
		return err
	}
	return g.switchOffAndConfirm(ctx)
}

func (g *source) switchOff(ctx context.Context) error {
	return g.commands(ctx, g.file.RFOff.Commands, nil, clockOr(g.file.RFOff.Wait, 0))
}

func (g *source) switchOffAndConfirm(ctx context.Context) error {
	if err := g.switchOff(ctx); err != nil {
		return err
	}
	if err := g.complaints(ctx); err != nil {
		return err
	}
	return g.confirm(ctx, g.file.RFOff.Query, g.timeout(), g.file.RFOff.Expect, drivers.ErrInstrument)
}

// RFOn switches the signal on, at the frequency and level set before.
func (g *source) RFOn(ctx context.Context) error {
	return g.act(ctx, "RF on", func(ctx context.Context) error {
		if !g.levelled {
			return fmt.Errorf("%w: no level was set since the source was opened or recovered; set one first", drivers.ErrInterlock)
		}
		on := g.file.RFOn
		if err := g.commands(ctx, on.Commands, nil, clockOr(on.Wait, 0)); err != nil {
			return err
		}
		if err := g.complaints(ctx); err != nil {
			return err
		}
		if err := g.confirm(ctx, on.Query, g.timeout(), on.Expect, drivers.ErrInstrument); err != nil {
			return err
		}
		return g.settle(ctx)
	})
}

// SetFrequency sets the frequency and returns what the source reports, once it
// has settled.
func (g *source) SetFrequency(ctx context.Context, f quantity.Frequency) (quantity.Frequency, error) {
	got := f
	err := g.act(ctx, fmt.Sprintf("set the frequency to %s", f), func(ctx context.Context) error {
		if f.Sign() <= 0 {
			return fmt.Errorf("%s is no frequency of a signal; expected above zero", f)
		}
		q := g.file.Frequency
		w := words{holdHertz: f.Plain(), holdKilohertz: f.In("kHz"), holdMegahertz: f.In("MHz")}
		if err := g.set(ctx, q.Commands, w, clockOr(q.Wait, 0)); err != nil || q.Query == "" {
			return err
		}
		answer, err := g.ask(ctx, q.Query, g.timeout())
		if err != nil {
			return err
		}
		got, err = positiveSetting[quantity.Hertz](q.Reply, answer)
		return g.understand(q.Query, err)
	})
	if err != nil {
		return quantity.Frequency{}, err
	}
	return got, nil
}

// SetLevel sets the level if the interlock passes it, and returns the level
// that the source reports.
func (g *source) SetLevel(ctx context.Context, level quantity.Level) (quantity.Level, error) {
	var got quantity.Level
	err := g.act(ctx, fmt.Sprintf("set the level to %s", level), func(ctx context.Context) (err error) {
		got, err = g.setLevel(ctx, level)
		return err
	})
	if err != nil {
		return quantity.Level{}, err
	}
	return got, nil
}

func (g *source) setLevel(ctx context.Context, level quantity.Level) (quantity.Level, error) {
	dbm, ok := level.DBmPlain()
	if !ok {
		return level, errors.New("a source is set in dBm into 50 Ω; expected such as \"-20 dBm\"")
	}
	if err := g.permit(level); err != nil {
		return level, err
	}
	g.levelled = false // until the source has taken it
	l := g.file.Level
	if err := g.set(ctx, l.Commands, words{holdDBm: dbm}, clockOr(l.Wait, 0)); err != nil {
		return level, err
	}
	got, err := g.levelInForce(ctx, level)
	if err != nil {
		return level, err
	}
	if got.DBm(quantity.Dbm50()) > level.DBm(quantity.Dbm50()) {
		if err := g.tooMuch(ctx, got); err != nil {
			return level, err
		}
	}
	g.levelled = true
	return got, nil
}

// permit asks the interlock; nothing has been sent when it refuses.
func (g *source) permit(level quantity.Level) error {
	if g.interlock == nil {
		return fmt.Errorf("%w: the source was opened without an interlock", drivers.ErrInterlock)
	}
	err := g.interlock.Permit(g.name, level)
	if err != nil && !errors.Is(err, drivers.ErrInterlock) {
		err = fmt.Errorf("%w: %w", drivers.ErrInterlock, err)
	}
	return err
}

// tooMuch asks the interlock about a level that the source put in force though
// less was asked for. Where it is refused the RF goes off; the error does not
// wrap ErrInterlock, because something was sent.
func (g *source) tooMuch(ctx context.Context, got quantity.Level) error {
	refusal := g.permit(got)
	if refusal == nil {
		return nil
	}
	err := fmt.Errorf("%w: it reports %s, more than was asked for and more than the interlock passes (%v); RF off", drivers.ErrInstrument, got, refusal)
	return errors.Join(err, g.switchOffAndConfirm(ctx))
}

func (g *source) levelInForce(ctx context.Context, asked quantity.Level) (quantity.Level, error) {
	l := g.file.Level
	if l.Query == "" {
		return asked, nil
	}
	answer, err := g.ask(ctx, l.Query, g.timeout())
	if err != nil {
		return asked, err
	}
	got, err := l.inForce(answer)
	return got, g.understand(l.Query, err)
}

// inForce reads an answer as a level in dBm.
func (l *Level) inForce(answer string) (quantity.Level, error) {
	number, err := setting[quantity.Decibel](l.Reply, answer)
	if err != nil {
		return quantity.Level{}, err
	}
	level, err := quantity.ParseLevel(number.Plain() + " dBm")
	if err != nil {
		return quantity.Level{}, fmt.Errorf("%w: %s: %w", drivers.ErrUnreadable, quote(answer), err)
	}
	return level, nil
}

// set sends the commands of a setting, makes sure that the source took them,
// and waits until the signal has settled.
func (g *source) set(ctx context.Context, commands []string, w words, wait time.Duration) error {
	if err := g.commands(ctx, commands, w, wait); err != nil {
		return err
	}
	if err := g.complaints(ctx); err != nil {
		return err
	}
	return g.settle(ctx)
}

// settle waits for the source's own word, where it gives one, and then for
// the settling time.
func (g *source) settle(ctx context.Context) error {
	s := g.file.Settle
	settling := clock(s.Time)
	if err := g.confirm(ctx, s.Query, 10*settling+clockOr(s.Margin, defaultSettleMargin), s.Expect, drivers.ErrUnreadable); err != nil {
		return fmt.Errorf("settle: %w", err)
	}
	return g.wait(ctx, settling)
}

// Settle is how long after a set the signal must not be trusted. The sets of
// this source have waited for it when they return.
func (g *source) Settle() quantity.Duration { return g.file.Settle.Time }

// act carries out an action of a source that is not lost.
func (g *source) act(ctx context.Context, doing string, action func(context.Context) error) error {
	return g.do(ctx, doing, func(ctx context.Context) error {
		if g.lost {
			return errLost
		}
		return action(ctx)
	})
}
