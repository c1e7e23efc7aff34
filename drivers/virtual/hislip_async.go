package virtual

import (
	"context"
	"sync"

	"bandproof/drivers/link/hislip"
	"bandproof/drivers/scpi"
)

// serveAsync answers the asynchronous channel until it ends.
func (x *hislipSession) serveAsync(ctx context.Context, ch *hislipChannel) error {
	for ctx.Err() == nil {
		m, err := ch.next(hislip.Async)
		if err != nil {
			return err
		}
		if err := x.takeAsync(ch, m); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// takeAsync treats one message of the asynchronous channel.
func (x *hislipSession) takeAsync(ch *hislipChannel, m hislip.Message) error {
	if f, ok := hislip.FaultOf(m); ok {
		x.server.log.Debug("the client tells of a fault", "session", x.String(), "fault", f)
		if f.Fatal {
			return f
		}
		return nil
	}
	switch m.Type {
	case hislip.AsyncMaximumMessageSize:
		return x.sizes(ch, m)
	case hislip.AsyncDeviceClear:
		return x.clear(ch)
	case hislip.AsyncStatusQuery:
		return ch.send(hislip.Message{Type: hislip.AsyncStatusResponse, Control: x.status(m)})
	case hislip.AsyncRemoteLocalControl:
		return x.panel(ch, m.Control)
	}
	return ch.complain(hislip.ErrorType, "%s is not served here", m.Type)
}

// sizes notes what the client takes and tells what the server takes; the two
// have nothing to do with each other.
func (x *hislipSession) sizes(ch *hislipChannel, m hislip.Message) error {
	most, err := hislip.SizeOf(m.Payload)
	if err != nil || most <= hislip.HeaderSize {
		return ch.complain(hislip.ErrorUnidentified, "a maximum message size must be 8 bytes and more than a header")
	}
	x.mu.Lock()
	x.most = int(min(most, hislipDefaultMost) - hislip.HeaderSize)
	x.mu.Unlock()
	return ch.send(hislip.Message{Type: hislip.AsyncMaximumMessageSizeResponse, Payload: hislip.Size(uint64(x.server.h.MaxMessage))})
}

// clear is the first half of the device clear (6.12). A response that is being
// sent goes on to its end; what would come after it is dropped.
func (x *hislipSession) clear(ch *hislipChannel) error {
	m := hislip.Message{Type: hislip.AsyncDeviceClearAcknowledge}
	if x.server.h.Overlap {
		m.Control = hislip.Overlap
	}
	x.mu.Lock()
	x.clearing = true
	x.mu.Unlock()
	x.talk.Clear()
	return ch.send(m)
}

// status is the status byte. A response is available from its first byte until
// the client tells that it was delivered; in synchronised mode only to a client
// that has sent nothing since (3.1.1); in overlap mode (from memory) while
// responses are under way that it has not been given.
func (x *hislipSession) status(m hislip.Message) byte {
	x.mu.Lock()
	if m.Control&hislip.RMTDelivered != 0 {
		x.expected = false
	}
	available := (x.expected || x.begun) && m.Parameter == x.received
	if x.overlap {
		available = x.begun || m.Parameter != x.sent
	}
	x.mu.Unlock()
	return x.talk.status(available)
}

// panel is remote and local control.
func (x *hislipSession) panel(ch *hislipChannel, code uint8) error {
	switch code {
	case hislip.RemoteEnableGo, hislip.RemoteEnableGoLock:
		x.talk.Remote(true)
	case hislip.RemoteDisable, hislip.RemoteDisableLocal, hislip.GoLocal:
		x.talk.Remote(false)
	case hislip.RemoteEnable, hislip.RemoteEnableLockout: // has an effect when the instrument goes to remote
	default:
		return ch.complain(hislip.ErrorControl, "%s %d", hislip.AsyncRemoteLocalControl, code)
	}
	return ch.send(hislip.Message{Type: hislip.AsyncRemoteLocalResponse})
}

// watch requests service when the summary bit of the status byte rises: after a
// message, a response, or the end of what is under way.
func (x *hislipSession) watch(ctx context.Context) {
	var waiting sync.WaitGroup
	defer waiting.Wait()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	requested, stop := false, func() {}
	for {
		select {
		case <-ctx.Done():
			stop()
			return
		case <-x.moved:
		}
		stop()
		x.mu.Lock()
		async, available := x.async, x.expected || x.begun
		x.mu.Unlock()
		status, ends := x.talk.outlook(available)
		if ends != nil {
			until, giveUp := context.WithCancel(ctx)
			stop = giveUp
			waiting.Go(func() {
				if ends(until) == nil {
					x.stir()
				}
			})
		}
		asks := status&scpi.MasterSummary != 0
		if asks && !requested && async != nil {
			if async.send(hislip.Message{Type: hislip.AsyncServiceRequest, Control: status}) != nil {
				stop()
				return
			}
		}
		requested = asks
	}
}
