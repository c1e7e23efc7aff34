package virtual

import (
	"context"
	"fmt"
	"sync"

	"bandproof/drivers/link/hislip"
)

// hislipSession is one client's.
type hislipSession struct {
	server *hislipServer
	name   string
	id     uint16
	talk   *Talk
	sync   *hislipChannel
	moved  chan struct{} // something happened that may ask for service

	input   []byte // Data without its DataEnd; of whoever reads sync, as is tooLong
	tooLong bool

	out sync.Mutex // held while a response is looked up and sent, or a message taken; before mu

	mu      sync.Mutex // guards what follows
	async   *hislipChannel
	over    bool
	most    int    // bytes of payload that the client takes
	overlap bool   // the mode
	clears  uint32 // device clears so far, so that responses of before are known
	// clearing: between AsyncDeviceClear and DeviceClearComplete nothing counts.
	clearing bool
	received uint32 // identifier of the last message
	sent     uint32 // overlap mode: identifier of the last response
	expected bool   // a response was sent and its delivery was not yet told (RMT-expected)
	begun    bool   // part of a response was sent
}

func newHiSLIPSession(s *hislipServer, d device, id uint16, ch *hislipChannel) (*hislipSession, error) {
	x := &hislipSession{server: s, name: d.name(), id: id, sync: ch, moved: make(chan struct{}, 1), most: hislipDefaultMost, overlap: s.h.Overlap}
	ch.in.Most(uint64(s.h.MaxMessage - hislip.HeaderSize))
	x.restart()
	var err error
	x.talk, err = s.b.talk(d, &pushing{overlap: x.overlap, did: x.stir})
	return x, err
}

// restart is the state after Initialize and after a device clear.
func (x *hislipSession) restart() {
	x.received, x.sent = hislip.NoneSentID, hislip.NoneSentID
	x.expected, x.begun, x.input, x.tooLong = false, false, nil, false
}

// stir has the request for service looked at.
func (x *hislipSession) stir() {
	select {
	case x.moved <- struct{}{}:
	default:
	}
}

// join gives the session its asynchronous channel, if it has none.
func (x *hislipSession) join(ch *hislipChannel) bool {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.async != nil || x.over {
		return false
	}
	x.async = ch
	return true
}

// hangUp closes both connections.
func (x *hislipSession) hangUp() {
	x.mu.Lock()
	defer x.mu.Unlock()
	x.over = true
	_ = x.sync.conn.Close()
	if x.async != nil {
		_ = x.async.conn.Close()
	}
}

// serve reads the synchronous channel and sends responses until one side ends.
func (x *hislipSession) serve(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	var others sync.WaitGroup
	defer others.Wait()
	defer cancel()
	others.Go(func() { x.respond(ctx) })
	others.Go(func() { x.watch(ctx) })
	for {
		m, err := x.sync.next(hislip.Sync)
		if err != nil {
			return err
		}
		if err := x.take(m); err != nil {
			return err
		}
	}
}

// take treats one message of the synchronous channel.
func (x *hislipSession) take(m hislip.Message) error {
	if f, ok := hislip.FaultOf(m); ok {
		x.server.log.Debug("the client tells of a fault", "session", x.String(), "fault", f)
		if f.Fatal {
			return f
		}
		return nil
	}
	x.mu.Lock()
	joined, clearing := x.async != nil, x.clearing
	x.mu.Unlock()
	switch {
	case !joined:
		return x.sync.fatal(hislip.FatalChannels, "%s came before %s", m.Type, hislip.AsyncInitialize)
	case clearing && m.Type == hislip.DeviceClearComplete:
		return x.cleared(m.Control)
	case clearing:
		return nil
	}
	x.out.Lock()
	defer x.out.Unlock()
	switch m.Type {
	case hislip.Data:
		x.counted(m)
		x.collect(m.Payload)
	case hislip.DataEnd:
		tag := x.counted(m)
		x.collect(m.Payload)
		message := x.input
		if x.tooLong {
			message = []byte(overrun)
		}
		x.input, x.tooLong = nil, false
		x.talk.receiveAs(message, tag)
	case hislip.Trigger:
		x.talk.receiveAs([]byte("*TRG"), x.counted(m))
	default:
		return x.sync.complain(hislip.ErrorType, "%s is not expected here", m.Type)
	}
	return nil
}

// collect keeps what belongs to a message that is not yet whole.
func (x *hislipSession) collect(part []byte) {
	if x.tooLong = x.tooLong || len(x.input)+len(part) > mostMessage; !x.tooLong {
		x.input = append(x.input, part...)
	}
}

// counted keeps the books of synchronised mode (3.1.1): a message that comes
// before the client was given the response to the last one interrupts. The tag
// marks what the instrument is asked, so that its response can be told from that
// to an earlier message, or to one of before a device clear.
func (x *hislipSession) counted(m hislip.Message) (tag uint64) {
	x.mu.Lock()
	delivered := m.Control&hislip.RMTDelivered != 0
	interrupts := !x.overlap && x.expected && !delivered // clients are about that tell of one delivery again and again
	x.expected = false
	x.received = m.Parameter
	tag = uint64(x.clears)<<32 | uint64(x.received)
	x.mu.Unlock()
	if interrupts {
		x.talk.complain(errInterrupted)
	}
	return tag
}

// respond sends what the instrument has to say.
func (x *hislipSession) respond(ctx context.Context) {
	for {
		arrived, err := x.answer()
		if err == nil {
			err = x.talk.wait(ctx, arrived)
		}
		if err != nil {
			x.hangUp()
			return
		}
	}
}

// room is how much of a response goes into one message.
func (x *hislipSession) room() int {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.most
}

// answer sends all that is there, and gives what tells of more.
func (x *hislipSession) answer() (arrived <-chan struct{}, err error) {
	for {
		more, arrived, err := x.part()
		if !more || err != nil {
			return arrived, err
		}
		x.stir()
	}
}

// part sends one part of a response. It is looked up and sent with nothing
// coming between: what comes after it finds it sent.
func (x *hislipSession) part() (more bool, arrived <-chan struct{}, err error) {
	x.out.Lock()
	defer x.out.Unlock()
	c, ok, arrived := x.talk.take(x.room())
	if !ok {
		return false, arrived, nil
	}
	for _, m := range x.numbered(c) {
		ch := x.sync
		if m.Type.Channel() == hislip.Async {
			ch = x.async // there is one where anything was asked
		}
		if err := ch.send(m); err != nil {
			return false, arrived, err
		}
	}
	return true, arrived, nil
}

// numbered makes messages of a part of a response; none where that is of before
// a device clear. A response that gave way to a message of the client is told of
// on both channels (3.1.1), but in overlap mode, where there is no such thing.
func (x *hislipSession) numbered(c chunk) []hislip.Message {
	x.mu.Lock()
	defer x.mu.Unlock()
	switch {
	case x.clearing || uint32(c.tag>>32) != x.clears:
		return nil
	case c.dropped:
		x.begun = false
		if x.overlap {
			return nil
		}
		return []hislip.Message{{Type: hislip.Interrupted, Parameter: x.received}, {Type: hislip.AsyncInterrupted, Parameter: x.received}}
	}
	m := hislip.Message{Type: hislip.Data, Parameter: uint32(c.tag), Payload: c.data}
	if x.overlap {
		m.Parameter = x.sent + hislip.NextID
	}
	if c.end {
		m.Type = hislip.DataEnd
		x.sent += hislip.NextID
		x.expected = true
	}
	x.begun = !c.end
	return []hislip.Message{m}
}

// cleared ends a device clear with the mode that the client asks for, where the
// server does it.
func (x *hislipSession) cleared(features uint8) error {
	x.out.Lock()
	defer x.out.Unlock()
	x.mu.Lock()
	x.overlap = features&hislip.Overlap != 0
	if x.server.h.OneMode {
		x.overlap = x.server.h.Overlap
	}
	overlap := x.overlap
	x.clearing = false
	x.clears++
	x.restart()
	x.mu.Unlock()
	x.talk.restart(overlap)
	m := hislip.Message{Type: hislip.DeviceClearAcknowledge}
	if overlap {
		m.Control = hislip.Overlap
	}
	return x.sync.send(m)
}

// String names the session in logs.
func (x *hislipSession) String() string { return fmt.Sprintf("%s, session %d", x.name, x.id) }
