package link

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"bandproof/drivers/link/plusplus"
)

// messageAvailable is the bit of the status byte that tells of a reply
// (IEEE 488.2 clause 11.2.1.2, from memory).
const messageAvailable = 0x10

// openVia reaches a GPIB instrument through an adapter.
func (o Opener) openVia(ctx context.Context, r Resource, c Config) (Link, error) {
	via, err := ParseResource(c.Via)
	if err != nil {
		return nil, err
	}
	pool := o.Adapters
	if pool == nil {
		pool = &Adapters{} // the adapter belongs to this one link
	}
	return o.openMessages(ctx, r, c, func(ctx context.Context) (messenger, error) {
		a, err := pool.take(ctx, via, c, o.Log, o.lineTo(via, c))
		if err != nil {
			return nil, err
		}
		u := &viaAdapter{adapter: a, pool: pool, config: c, address: gpibAddress{r.Primary, r.Secondary}}
		if err := u.turn(ctx, renews, func() error { return nil }); err != nil {
			return nil, errors.Join(err, u.close())
		}
		return u, nil
	})
}

// viaAdapter is a messenger through an adapter. Others may use the adapter
// between any two of its operations: what an instrument has to say waits in
// the instrument until it is addressed.
type viaAdapter struct {
	adapter *adapter
	pool    *Adapters
	config  Config
	address gpibAddress

	generation int    // of the adapter's connection that this one began with
	failed     bool   // the last operation failed
	stray      []byte // came unasked
	closed     bool
}

// mostStray is how many bytes that came unasked are kept until they are told.
const mostStray = 64 << 10

// step is what a turn begins with.
type step int

const (
	anew   step = iota // the adapter answers to what is asked now; what came before is thrown away
	goesOn             // as anew, unless this instrument's message was the last thing sent
	renews             // as anew, and a connection that is gone, or was made anew since, is no error
)

// turn has the adapter to itself, in step and with this instrument addressed.
func (u *viaAdapter) turn(ctx context.Context, s step, do func() error) error {
	a := u.adapter
	if err := a.begin(ctx); err != nil {
		return err
	}
	defer a.done()
	err := u.prepare(ctx, s)
	a.last = nil
	if err == nil {
		err = do()
	}
	if u.failed = err != nil; u.failed {
		a.unsure, a.at, a.last = true, nobody, nil
	}
	return err
}

func (u *viaAdapter) prepare(ctx context.Context, s step) error {
	a := u.adapter
	gone := a.ended()
	switch {
	case s != renews && gone != nil:
		return &Error{Kind: ErrDisconnected, Err: gone}
	case s != renews && a.generation != u.generation:
		return &Error{Kind: ErrDisconnected, Err: errors.New("the connection to the adapter was lost and made anew in the meantime")}
	case gone != nil, s == renews && a.failures >= tooOften: // it may have lost what it was set to
		if err := a.join(ctx); err != nil {
			return err
		}
	case s == goesOn && a.last == u:
		return nil
	}
	came, err := a.settle(ctx)
	if err != nil && s == renews && ctx.Err() == nil {
		err = a.join(ctx)
	}
	if err != nil {
		return err
	}
	if u.generation == a.generation && a.at == u.address {
		u.stray = append(u.stray, came[:min(len(came), mostStray-len(u.stray))]...)
	} else if len(came) > 0 {
		a.log.Warn("threw away bytes of the adapter", "bytes", fmt.Sprintf("%.200q", came))
	}
	u.generation = a.generation
	return a.address(ctx, u.address)
}

// take gives what came unasked.
func (u *viaAdapter) take() []byte {
	stray := u.stray
	u.stray = nil
	return stray
}

func (u *viaAdapter) write(ctx context.Context, message []byte) error {
	return u.turn(ctx, anew, func() error {
		err := u.adapter.send(ctx, plusplus.AppendMessage(nil, message))
		u.adapter.last = u
		return err
	})
}

// read gives the adapter to others while the instrument has nothing to say.
func (u *viaAdapter) read(ctx context.Context, most int) (whole []byte, err error) {
	wait := 2 * time.Millisecond
	for {
		done, polled := false, false
		err := u.turn(ctx, goesOn, func() error {
			if polled = u.polls(ctx); polled {
				status, err := u.poll(ctx)
				if err != nil || status&messageAvailable == 0 {
					return err
				}
			}
			whole, done, err = u.adapter.message(ctx, u.ending(), most)
			if !done {
				u.adapter.last = u
			}
			return err
		})
		if err != nil || done {
			return whole, err
		}
		if !polled {
			continue
		}
		if err := pause(ctx, wait); err != nil {
			return nil, err
		}
		wait = min(2*wait, 100*time.Millisecond)
	}
}

// polls tells whether the instrument is to be asked for its status first: where
// it would keep others waiting, and is known to have such a status. Before time
// is over it is read in any case.
func (u *viaAdapter) polls(ctx context.Context) bool {
	deadline, _ := ctx.Deadline()
	return u.config.Common && u.adapter.users.Load() > 1 && time.Until(deadline) > 2*u.adapter.slice
}

// ending is what ends a reply: the adapter's mark, or the instrument's own
// terminator where it knows no EOI.
type ending struct {
	command string
	framer  framer
}

func (u *viaAdapter) ending() ending {
	e := ending{"read eoi", framer{terminator: string(rune(endOfReply)), plain: u.config.PlainText}}
	if t := u.config.ReadTerminator; u.config.NoEOI && t != "" {
		e.command, e.framer.terminator = "read "+strconv.Itoa(int(t[len(t)-1])), t
	}
	return e
}

func (u *viaAdapter) clear(ctx context.Context) error {
	failed := u.failed
	return u.turn(ctx, renews, func() error {
		if failed { // the bus may be stuck in the middle of a byte
			if err := u.tell(ctx, "ifc"); err != nil {
				return err
			}
			u.adapter.at = nobody
			if err := u.adapter.address(ctx, u.address); err != nil {
				return err
			}
		}
		u.stray = nil
		return u.tell(ctx, "clr")
	})
}

// tell sends a command that has no answer. What an adapter says to one that
// it does not know is its own.
func (u *viaAdapter) tell(ctx context.Context, command string) error {
	answer, err := u.adapter.ask(ctx, command)
	if err == nil && answer != "" {
		err = &Error{Kind: errors.ErrUnsupported, Err: fmt.Errorf("the adapter says %.80q to ++%s; is its firmware too old for that?", answer, command)}
	}
	return err
}

func (u *viaAdapter) trigger(ctx context.Context) error {
	return u.turn(ctx, anew, func() error { return u.tell(ctx, "trg") })
}

func (u *viaAdapter) status(ctx context.Context) (status byte, err error) {
	err = u.turn(ctx, anew, func() error {
		status, err = u.poll(ctx)
		return err
	})
	return status, err
}

// poll is the serial poll. The address is never stated with it: some adapters
// don't answer then.
func (u *viaAdapter) poll(ctx context.Context) (byte, error) {
	answer, err := u.adapter.ask(ctx, "spoll")
	if err != nil {
		return 0, err
	}
	if answer == "" {
		return 0, &Error{Kind: ErrTimeout, Err: errors.New("the instrument gives no status byte; is it on, and is its GPIB address right?")}
	}
	status, err := plusplus.ParseStatus(answer)
	if err != nil {
		return 0, &Error{Kind: ErrProtocol, Err: fmt.Errorf("asked for the status byte, the adapter says %w", err)}
	}
	return status, nil
}

// remote is local lockout: an instrument goes to remote by itself when it is
// addressed, and this keeps its front panel from ending that.
func (u *viaAdapter) remote(ctx context.Context, on bool) error {
	command := "loc"
	if on {
		command = "llo"
	}
	return u.turn(ctx, anew, func() error { return u.tell(ctx, command) })
}

// close gives the adapter back. It is called when no operation is under way.
func (u *viaAdapter) close() error {
	if u.closed {
		return nil
	}
	u.closed = true
	return u.pool.release(u.adapter)
}
