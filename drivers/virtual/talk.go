package virtual

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"bandproof/drivers/scpi"
)

// Talk is one client's conversation with an instrument over a link that carries
// whole messages and has a device clear, a trigger and a status byte of its
// own, as IEEE 488.1 and its successors have. It is safe for concurrent use.
type Talk struct {
	b   *Bench
	dev device
	end string // terminator of replies

	life   context.Context
	finish context.CancelFunc
	using  sync.Mutex // held by Receive, Clear and Close, so that they take turns

	messages chan string
	cancel   context.CancelFunc // of the session under way
	over     chan struct{}      // closed when that session has ended

	mutex   sync.Mutex // guards what follows
	out     []chunk
	arrived chan struct{} // closed and made anew when out has grown

	pushing *pushing // nil: the client asks for each response
}

// chunk is some bytes of a response message; end: its last one.
type chunk struct {
	data    []byte
	end     bool
	tag     uint64 // of the message that it answers, where the server pushes
	dropped bool   // no bytes: the response gave way
}

// Talk opens a conversation with an instrument. It ends with Close, or with
// [Bench.Close].
func (b *Bench) Talk(instrument string) (*Talk, error) {
	d, err := b.device(instrument)
	if err != nil {
		return nil, err
	}
	return b.talk(d, nil)
}

func (b *Bench) talk(d device, p *pushing) (*Talk, error) {
	if err := b.life.Err(); err != nil {
		return nil, fmt.Errorf("virtual %s: %w", d.name(), err)
	}
	if d.link().Dialect == dialectTalks {
		return nil, fmt.Errorf("virtual %s: it only talks, on lines and sockets; a link on which it is asked is not for it", d.name())
	}
	t := &Talk{b: b, dev: d, end: terminators[first(d.link().Terminator, "lf")], arrived: make(chan struct{}), pushing: p}
	t.life, t.finish = context.WithCancel(b.life)
	t.begin()
	return t, nil
}

// begin starts a session.
func (t *Talk) begin() {
	ctx, cancel := context.WithCancel(t.life)
	messages, over := make(chan string, mostQueued), make(chan struct{})
	t.messages, t.cancel, t.over = messages, cancel, over
	s := &session{b: t.b, dev: t.dev, ctx: ctx, in: messages}
	s.send = func(reply, message string) error { return t.respond(ctx, reply, message, t.put) }
	if t.pushing != nil {
		t.push(ctx, s)
	}
	go func() {
		defer close(over)
		if err := s.run(); err != nil && !errors.Is(err, context.Canceled) {
			t.b.log.Debug("conversation ended", "instrument", t.dev.name(), "reason", err.Error())
		}
	}()
}

// Receive takes a program message, whose last byte carried END. Line ends
// within it end messages as well. A response that nobody has read gives way,
// and the error queue says so (IEEE 488.2 clause 6.3.2.3, from memory).
func (t *Talk) Receive(message []byte) {
	t.using.Lock()
	defer t.using.Unlock()
	t.receive(message, 0)
}

func (t *Talk) receive(message []byte, tag uint64) {
	for _, m := range strings.FieldsFunc(string(message), func(r rune) bool { return r == '\n' || r == '\r' }) {
		if strings.TrimSpace(m) == "" {
			continue
		}
		t.pushing.sent(tag) // before what is forgotten, so that no response slips through between
		if !t.queues() && t.forget() {
			t.interrupted(tag)
		}
		if len(m) > mostMessage {
			m = overrun
		}
		select {
		case t.messages <- m:
		default:
			t.pushing.unsent()
			t.complain(errOverrun)
		}
	}
}

// queues tells whether messages wait in line, not interrupting what is pending.
func (t *Talk) queues() bool {
	return t.dev.link().WhileBusy == whileBusyQueue || t.pushing.queues()
}

func (t *Talk) complain(e *scpi.Error) {
	t.b.mu.Lock()
	defer t.b.mu.Unlock()
	t.dev.registers().push(e)
}

// interrupted tells that a response gave way to a message.
func (t *Talk) interrupted(tag uint64) {
	t.complain(errInterrupted)
	if t.pushing != nil {
		t.put(chunk{tag: tag, dropped: true})
	}
}

// forget drops what nobody has read, and tells whether there was something.
func (t *Talk) forget() bool {
	t.mutex.Lock()
	defer t.mutex.Unlock()
	had := false
	var left []chunk
	for _, c := range t.out {
		if c.dropped {
			left = append(left, c)
		} else {
			had = true
		}
	}
	t.out = left
	return had
}

// respond puts a response out, with what faults make of it.
func (t *Talk) respond(ctx context.Context, reply, message string, put func(chunk) bool) error {
	m := t.b.replyMods(t.dev, message)
	if m.silent {
		return nil
	}
	if err := t.b.clockSleep(ctx, m.late); err != nil {
		return err
	}
	data := m.shape(reply, t.end)
	if m.split > 0 && len(data) > 1 {
		half := len(data) / 2
		if !put(chunk{data: data[:half]}) {
			return nil
		}
		if err := t.b.clockSleep(ctx, m.split); err != nil {
			return err
		}
		data = data[half:]
	}
	put(chunk{data: data, end: true})
	return nil
}

func (t *Talk) put(c chunk) bool {
	t.mutex.Lock()
	defer t.mutex.Unlock()
	t.out = append(t.out, c)
	close(t.arrived)
	t.arrived = make(chan struct{})
	return true
}

// Send waits for bytes of the response and gives at most so many; end tells
// that the last of them ends the response. The error is that of the context.
func (t *Talk) Send(ctx context.Context, most int) (part []byte, end bool, err error) {
	for {
		c, ok, arrived := t.take(most)
		if ok {
			return c.data, c.end, nil
		}
		if err := t.wait(ctx, arrived); err != nil {
			return nil, false, err
		}
	}
}

// wait waits until something has been put out.
func (t *Talk) wait(ctx context.Context, arrived <-chan struct{}) error {
	select {
	case <-arrived:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	case <-t.life.Done():
		return t.life.Err()
	}
}

func (t *Talk) take(most int) (part chunk, ok bool, arrived <-chan struct{}) {
	t.mutex.Lock()
	defer t.mutex.Unlock()
	if len(t.out) == 0 || most <= 0 {
		return chunk{}, false, t.arrived
	}
	c := &t.out[0]
	part = *c
	n := min(most, len(c.data))
	part.data = bytes.Clone(c.data[:n])
	c.data = c.data[n:]
	if len(c.data) == 0 {
		t.out = t.out[1:]
	} else {
		part.end = false
	}
	return part, true, t.arrived
}

// Clear is the device clear: what came, what is to be sent and what is under
// way are dropped. Settings and status registers stay.
func (t *Talk) Clear() {
	t.using.Lock()
	defer t.using.Unlock()
	t.stop()
	t.b.mu.Lock()
	t.dev.clear()
	t.b.mu.Unlock()
	t.mutex.Lock()
	t.out = nil
	t.mutex.Unlock()
	if t.life.Err() == nil {
		t.begin()
	}
}

func (t *Talk) stop() {
	t.cancel()
	<-t.over
}

// Trigger is the group execute trigger, which means the same as *TRG.
func (t *Talk) Trigger() { t.Receive([]byte("*TRG")) }

// StatusByte is what a serial poll reads: the status byte, with bit 4 (16) set
// while a response waits to be read.
func (t *Talk) StatusByte() byte {
	t.mutex.Lock()
	available := len(t.out) > 0
	t.mutex.Unlock()
	return t.status(available)
}

func (t *Talk) status(available bool) byte {
	t.b.mu.Lock()
	defer t.b.mu.Unlock()
	t.b.catchUp()
	if t.dev.link().Dialect == dialectLetters {
		return lettersStatus(t.dev, available)
	}
	_, oper := t.dev.conditions()
	return byte(t.dev.registers().byte(oper, available))
}

// Remote notes that the instrument is under remote control, or back to local.
func (t *Talk) Remote(on bool) {
	t.b.mu.Lock()
	defer t.b.mu.Unlock()
	t.b.remote[t.dev.name()] = on
}

// Close ends the conversation and waits for that.
func (t *Talk) Close() {
	t.finish()
	t.using.Lock()
	defer t.using.Unlock()
	t.stop()
}

// Remote tells whether a client has put the instrument under remote control.
func (b *Bench) Remote(instrument string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.remote[instrument]
}

// replyMods draws the faults of one reply.
func (b *Bench) replyMods(d device, message string) talkMods {
	b.mu.Lock()
	defer b.mu.Unlock()
	name := d.name()
	n := b.replies[name]
	b.replies[name]++
	return b.talkMods(occasion{
		instrument: name, message: message, powered: d.poweredFor(), ambient: b.ambient,
		draw: newDraw(b.seed, name, "reply", n),
	})
}

// shape gives the bytes of a reply with its terminator, as the faults have it.
func (m talkMods) shape(reply, end string) []byte {
	if m.crlf {
		end = "\r\n"
	}
	if m.garbage {
		reply = garbage
	}
	if m.extra {
		reply += end + "0"
	}
	return []byte(reply + end)
}
