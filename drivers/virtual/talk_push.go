package virtual

import (
	"context"
	"sync"
)

// pushing is what a conversation needs whose server sends each response as soon
// as it is there, without being asked for it: which message it answers.
type pushing struct {
	did func() // a message was carried out

	mu      sync.Mutex
	overlap bool     // messages and responses wait in line; none interrupts another
	tags    []uint64 // of the message under way, and of those that the session has not begun
	begun   int      // messages that tags no longer holds
}

// push connects a session that begins with the conversation.
func (t *Talk) push(ctx context.Context, s *session) {
	p := t.pushing
	p.mu.Lock()
	p.tags, p.begun = nil, 0
	s.queues, s.did = p.overlap, p.did
	p.mu.Unlock()
	s.send = func(reply, message string) error {
		nth := s.taken
		return t.respond(ctx, reply, message, func(c chunk) bool { return t.offer(nth, c) })
	}
	s.dropped = func() { t.put(chunk{tag: p.tag(s.taken), dropped: true}) }
}

// offer puts out part of the response to the session's nth message, unless the
// client has sent another since, which it then gives way to.
func (t *Talk) offer(nth int, c chunk) bool {
	p := t.pushing
	c.tag = p.tag(nth)
	p.mu.Lock()
	late := !p.overlap && t.dev.link().WhileBusy != whileBusyQueue && len(p.tags) > 0 && p.tags[len(p.tags)-1] != c.tag
	if !late {
		t.put(c)
	}
	p.mu.Unlock()
	if late {
		t.interrupted(c.tag)
	}
	return !late
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

func (p *pushing) queues() bool {
	if p == nil {
		return false
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.overlap
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
	t.pushing.mu.Lock()
	t.pushing.overlap = overlap
	t.pushing.mu.Unlock()
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
