package wirelog

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
)

// Play stands in for one instrument of a log. It takes what was sent then, to
// the byte, and answers what was answered, in the recorded times after one
// another; where there was silence it is silent, and late bytes come late.
//
// What a stream of bytes has no form for (triggers, serial polls, remote and
// local) is passed over; [Play.PassedOver] counts it. Messages of links that
// carry them whole get the line end that a stream needs.
type Play struct {
	address string
	clock   drivers.Clock
	steps   []playStep
	passed  int

	mu sync.Mutex // guards what follows
	at int        // the step under way
	// fresh: nothing was taken since the last open or clear, so that a client
	// may leave and come again.
	fresh bool
}

type playStep struct {
	direction link.Direction
	bytes     []byte
	wait      time.Duration // before it, from the step before
	cut       bool          // Sent: perhaps not all of it went out
	line      int           // in the file
}

// Difference tells where a conversation leaves its log.
type Difference struct {
	Address string
	Line    int // of the log, 0 after its end
	Text    string
}

func (d *Difference) Error() string {
	where := "after the end of the log"
	if d.Line > 0 {
		where = fmt.Sprintf("line %d of the log", d.Line)
	}
	return fmt.Sprintf("%s: %s: %s", d.Address, where, d.Text)
}

// Play makes what stands in for the instrument at an address, or of a name. A
// log in which exchanges are missing can't be played.
func (l Log) Play(instrument string, clock drivers.Clock) (*Play, error) {
	p := &Play{clock: clock, fresh: true}
	for _, a := range l.Addresses() {
		if a == instrument || l.Name(a) == instrument {
			p.address = a
		}
	}
	if p.address == "" {
		var known []string
		for _, a := range l.Addresses() {
			known = append(known, l.Name(a))
		}
		return nil, fmt.Errorf("the log has nothing of %q; it has %s", instrument, strings.Join(known, ", "))
	}
	r, _, err := link.ParseLogged(p.address)
	whole := err == nil && r.Kind != link.Serial && r.Kind != link.Socket
	first := 4 + len(l.Instruments) // line of the first exchange
	before := l.Begun
	silent := false
	for k, e := range l.Exchanges {
		if e.Direction == Lost {
			return nil, fmt.Errorf("line %d: exchanges are missing here, so the log can't be played", first+k)
		}
		if e.Address != p.address {
			continue
		}
		s := playStep{direction: e.Direction, bytes: slices.Clone(e.Bytes), wait: max(0, e.At.Sub(before)), line: first + k}
		before = e.At
		switch e.Direction {
		case link.Sent:
			s.wait, s.cut, silent = 0, e.Note != "", false
		case link.NoAnswer:
			silent = true
		case link.Received:
		case link.Discarded: // when it was thrown away is known, not when it came
			if s.wait /= 2; !silent {
				s.wait = 0
			}
		case link.Opened, link.Cleared, link.Closed:
			s.wait, silent = 0, false
		default:
			p.passed++
			continue
		}
		if whole && (s.direction == link.Sent || s.direction == link.Received) && !bytes.HasSuffix(s.bytes, []byte("\n")) {
			s.bytes = append(s.bytes, '\n')
		}
		p.steps = append(p.steps, s)
	}
	return p, nil
}

// Address is that of the instrument in the log.
func (p *Play) Address() string { return p.address }

// PassedOver is how many exchanges can't be played.
func (p *Play) PassedOver() int { return p.passed }

// Progress is how many steps have been played, of how many.
func (p *Play) Progress() (played, of int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.at, len(p.steps)
}

// marker tells where a new connection may begin.
func (s playStep) marker() bool {
	return s.direction == link.Opened || s.direction == link.Cleared || s.direction == link.Closed
}

// leave moves on to where the log goes on after a client has left.
func (p *Play) leave() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	for k := p.at; k < len(p.steps); k++ {
		switch s := p.steps[k]; {
		case s.marker():
			for k++; k < len(p.steps) && p.steps[k].marker(); k++ {
			}
			p.at, p.fresh = k, true
			return nil
		case s.direction == link.Sent && p.fresh && k == p.at:
			return nil // it had come for nothing
		case s.direction == link.Sent && !s.cut:
			return &Difference{p.address, s.line, fmt.Sprintf("the client has left; the log goes on with %s", Quote(s.bytes))}
		}
	}
	p.at = len(p.steps)
	return nil
}

// step is the one under way; ok is false at the end of the log.
func (p *Play) step() (s playStep, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.at == len(p.steps) {
		return playStep{}, false
	}
	return p.steps[p.at], true
}

// done moves on from the step under way.
func (p *Play) done(s playStep) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.at++
	p.fresh = s.marker() || p.fresh && s.direction != link.Sent
}

// errLeft: the client is gone.
var errLeft = errors.New("the client has left")

// play plays the steps with one client until it leaves. It is errLeft, the
// context's error, or a *Difference.
func (p *Play) play(ctx context.Context, in *incoming, send func([]byte) error) error {
	for {
		s, ok := p.step()
		switch {
		case !ok:
			more, err := in.next(ctx)
			if err != nil {
				return err
			}
			return &Difference{p.address, 0, fmt.Sprintf("the client has sent %s", Quote(more[:min(len(more), 80)]))}
		case s.direction == link.Sent:
			if err := p.match(ctx, in, s); err != nil {
				return err
			}
		case s.direction == link.Received, s.direction == link.Discarded, s.direction == link.NoAnswer:
			if err := p.pause(ctx, in, s.wait); err != nil {
				return err
			}
			if len(s.bytes) == 0 {
				break
			}
			if err := send(s.bytes); err != nil {
				return errLeft
			}
		}
		p.done(s)
	}
}

// match takes what the log says was sent.
func (p *Play) match(ctx context.Context, in *incoming, s playStep) error {
	for got := 0; got < len(s.bytes); {
		more, err := in.next(ctx)
		if err != nil {
			if got > 0 && !s.cut && errors.Is(err, errLeft) {
				return &Difference{p.address, s.line, fmt.Sprintf("the client has left after %d bytes of %s", got, Quote(s.bytes))}
			}
			return err
		}
		want := s.bytes[got:]
		for k := range min(len(more), len(want)) {
			if more[k] != want[k] {
				sent := slices.Concat(s.bytes[:got], more)
				return &Difference{p.address, s.line, fmt.Sprintf("byte %d differs: the client has sent %s, the log has %s",
					got+k+1, Quote(sent[:min(len(sent), 200)]), Quote(s.bytes[:min(len(s.bytes), 200)]))}
			}
		}
		n := min(len(more), len(want))
		in.putBack(more[n:])
		got += n
	}
	return nil
}

// pause waits, but not for a client that leaves meanwhile.
func (p *Play) pause(ctx context.Context, in *incoming, d time.Duration) error {
	if d <= 0 {
		return nil
	}
	waiting, cancel := context.WithCancel(ctx)
	defer cancel()
	stop := context.AfterFunc(in.left, cancel)
	defer stop()
	if err := p.clock.Sleep(waiting, d); err != nil {
		if ctx.Err() == nil {
			return errLeft
		}
		return err
	}
	return nil
}
