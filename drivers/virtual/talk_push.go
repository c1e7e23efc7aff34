package virtual

import (
	"context"
	"sync"
)

// pushing is what a conversation needs whose server sends each response as soon
// as it is there, without being asked for it: which message it answers.
type pushing struct {
	overlap bool   // messages and responses wait in line; none interrupts another
	did     func() // a message was carried out

	mu    sync.Mutex
	tags  []uint64 // of the messages that the session has not begun
	begun int      // messages that tags no longer holds
}

// push connects a session that begins with the conversation.
func (t *Talk) push(ctx context.Context, s *session) {
	p := t.pushing
	p.mu.Lock()
	p.tags, p.begun = nil, 0
	p.mu.Unlock()
	s.queues, s.did = p.overlap, p.did
	s.send = func(reply, message string) error { return t.respond(ctx, reply, message, p.tag(s.taken)) }
	s.dropped = func() { t.put(chunk{tag: p.tag(s.taken), dropped: true}) }
}

// sent notes the tag of a message before the session can take it; unsent takes
// that back where the session is full.
func (p *pushing) sent(tag uint64) {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.tags = append(p.tags, tag)
}

func (p *pushing) unsent() {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.tags = p.tags[:len(p.tags)-1]
}

// tag is that of the message which the session took as its nth.
func (p *pushing) tag(nth int) uint64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	i := nth - p.begun - 1
	tag := p.tags[i]
	p.tags, p.begun = p.tags[i:], p.begun+i
	return tag
}

// receiveAs is Receive where the server pushes; the chunks of the response carry
// the tag.
func (t *Talk) receiveAs(message []byte, tag uint64) {
	t.using.Lock()
	defer t.using.Unlock()
	t.receive(message, tag)
}

// restart is Clear, with messages and responses queued from now on or not.
func (t *Talk) restart(overlap bool) {
	t.using.Lock()
	t.pushing.overlap = overlap
	t.using.Unlock()
	t.Clear()
}

// outlook is the status byte, and what waits for the end of the operation under
// way; nil where there is none, or time does not pass by itself.
func (t *Talk) outlook(available bool) (status byte, ends func(ctx context.Context) error) {
	status = t.status(available)
	t.b.mu.Lock()
	defer t.b.mu.Unlock()
	until, changed, busy := t.dev.pending()
	switch {
	case !busy && t.dev.registers().opc:
		t.dev.settleUp()
		t.dev.registers().complete()
		_, oper := t.dev.conditions()
		return byte(t.dev.registers().byte(oper, available)), nil
	case !busy || isInstant(t.b.clock):
		return status, nil
	case until.IsZero():
		return status, func(ctx context.Context) error {
			select {
			case <-changed:
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		}
	}
	return status, func(ctx context.Context) error { return t.b.clockSleep(ctx, until.Sub(t.b.clock.Now())) }
}
