package virtual

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"bandproof/drivers/link/usbtmc"
)

// USBInstrument is the instrument's end of USB: what comes and goes over its
// bulk and control endpoints, by USBTMC 1.0 and USB488 1.0.
type USBInstrument struct {
	Vendor, Product uint16
	Serial          string
	Caps            usbtmc.Capabilities
	Packet          int // most bytes of a message in one transfer to the host; 0: as many as are asked for

	to    Conversation
	mutex sync.Mutex // guards what follows
	held  []byte     // of a message whose end has not yet come
	last  byte       // tag of the last transfer out
	asked *request   // what the host waits for
	came  chan struct{}
}

// request is one for a message.
type request struct {
	tag    byte
	size   uint32
	cancel context.CancelFunc
	ctx    context.Context
}

// NewUSBInstrument gives an instrument a USB plug. Capabilities are all but
// talk only and listen only unless set otherwise.
func NewUSBInstrument(to Conversation, vendor, product uint16, serial string) *USBInstrument {
	return &USBInstrument{Vendor: vendor, Product: product, Serial: serial, to: to, came: make(chan struct{}),
		Caps: usbtmc.Capabilities{TermChar: true, USB488: true, Remote: true, Trigger: true, SCPI: true, SR1: true, RL1: true, DT1: true}}
}

// errStall is how an endpoint refuses what it does not understand.
var errStall = errors.New("endpoint stalled")

// BulkOut takes one transfer of the host.
func (u *USBInstrument) BulkOut(p []byte) error {
	h, part, err := usbtmc.SplitOut(p)
	if err != nil {
		return fmt.Errorf("%w: %w", errStall, err)
	}
	u.mutex.Lock()
	if h.Tag == u.last {
		u.mutex.Unlock()
		return fmt.Errorf("%w: tag %d twice", errStall, h.Tag)
	}
	u.last = h.Tag
	var whole []byte
	switch {
	case h.ID == usbtmc.DevDepMsgIn:
		ctx, cancel := context.WithCancel(context.Background())
		u.drop()
		u.asked = &request{tag: h.Tag, size: h.Size, cancel: cancel, ctx: ctx}
		close(u.came)
		u.came = make(chan struct{})
	case h.ID == usbtmc.DevDepMsgOut:
		u.held = append(u.held, part...)
		if h.End {
			whole, u.held = u.held, nil
		}
	}
	u.mutex.Unlock()
	switch {
	case h.ID == usbtmc.Trigger:
		u.to.Trigger()
	case whole != nil:
		u.to.Receive(whole)
	}
	return nil
}

// drop forgets what the host waits for.
func (u *USBInstrument) drop() {
	if u.asked != nil {
		u.asked.cancel()
		u.asked = nil
	}
}

// BulkIn waits for one transfer to the host.
func (u *USBInstrument) BulkIn(ctx context.Context) ([]byte, error) {
	for {
		u.mutex.Lock()
		asked, came := u.asked, u.came
		u.mutex.Unlock()
		if asked == nil {
			select {
			case <-came:
				continue
			case <-ctx.Done():
				return nil, ctx.Err()
			}
		}
		most := int(min(asked.size, 1<<20))
		if u.Packet > 0 {
			most = min(most, u.Packet)
		}
		waiting, cancel := context.WithCancel(ctx)
		stop := context.AfterFunc(asked.ctx, cancel)
		part, end, err := u.to.Send(waiting, most)
		stop()
		cancel()
		if err != nil {
			if asked.ctx.Err() != nil && ctx.Err() == nil {
				continue
			}
			return nil, err
		}
		u.mutex.Lock()
		if u.asked == asked {
			u.drop()
		}
		u.mutex.Unlock()
		return usbtmc.AppendIn(nil, asked.tag, part, end, false), nil
	}
}

// Control answers a class request; value is its wValue.
func (u *USBInstrument) Control(r usbtmc.Request, value uint16) []byte {
	u.mutex.Lock()
	defer u.mutex.Unlock()
	switch r {
	case usbtmc.InitiateClear:
		u.drop()
		u.held = nil
		u.to.Clear()
		return []byte{byte(usbtmc.Success)}
	case usbtmc.CheckClearStatus:
		return []byte{byte(usbtmc.Success), 0}
	case usbtmc.InitiateAbortBulkIn:
		if u.asked == nil || u.asked.tag != byte(value) {
			return []byte{byte(usbtmc.TransferNotInProgress), byte(value)}
		}
		u.drop()
		return []byte{byte(usbtmc.Success), byte(value)}
	case usbtmc.CheckAbortBulkInStatus, usbtmc.CheckAbortBulkOutStatus:
		return []byte{byte(usbtmc.Success), 0, 0, 0, 0, 0, 0, 0}
	case usbtmc.InitiateAbortBulkOut:
		u.held = nil
		return []byte{byte(usbtmc.Success), byte(value)}
	case usbtmc.GetCapabilities:
		return u.Caps.Append(nil)
	case usbtmc.ReadStatusByte:
		return []byte{byte(usbtmc.Success), byte(value), u.to.StatusByte()}
	case usbtmc.RENControl, usbtmc.LocalLockout:
		u.to.Remote(true)
		return []byte{byte(usbtmc.Success)}
	case usbtmc.GoToLocal:
		u.to.Remote(false)
		return []byte{byte(usbtmc.Success)}
	}
	return []byte{byte(usbtmc.Failed)}
}

// Close ends the conversation with the instrument.
func (u *USBInstrument) Close() {
	u.mutex.Lock()
	u.drop()
	u.mutex.Unlock()
	u.to.Close()
}
