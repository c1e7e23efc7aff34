//go:build linux

package virtual

import (
	"context"
	"encoding/binary"
	"errors"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"bandproof/drivers/link/kernel"
)

// boardDriver models linux-gpib's driver of one board that is the controller
// of its bus: who wants to do something must hold the board; command bytes
// say who talks and who listens; reads and writes then go between them.
type boardDriver struct {
	bus   *Bus
	lock  chan struct{} // holds a token while someone has the board
	owner atomic.Pointer[boardFile]

	mutex    sync.Mutex // guards what follows
	inCharge bool       // after an interface clear
	remote   bool       // REN
	timeout  time.Duration
	eos      kernel.EOS
	listener *BusAddress // nil: nobody
	talker   *BusAddress
	self     bool // the board listens
}

// boardAddress is the board's own.
const boardAddress = 0

func newBoardDriver(bus *Bus) *boardDriver {
	return &boardDriver{bus: bus, lock: make(chan struct{}, 1), timeout: time.Second}
}

// boardFile is one who has the board's device open.
type boardFile struct{ *boardDriver }

func (d *boardDriver) open() *boardFile { return &boardFile{d} }

func (f *boardFile) close() {
	if f.owner.CompareAndSwap(f, nil) {
		<-f.lock
	}
}

func (f *boardFile) read([]byte) (int, error)  { return 0, syscall.EINVAL }
func (f *boardFile) write([]byte) (int, error) { return 0, syscall.EINVAL }

func (f *boardFile) ioctl(request uint32, argument, buffer []byte) error {
	if len(argument) < argumentSize(request) {
		return syscall.EFAULT
	}
	number := func() uint32 { return binary.NativeEndian.Uint32(argument) }
	switch request {
	case kernel.GPIBBoardInfo:
		copy(argument, kernel.BoardInfo{Primary: boardAddress, Secondary: -1, SystemController: true}.Append(nil))
		return nil
	case kernel.GPIBLock:
		return f.hold(number() != 0)
	}
	if f.owner.Load() != f {
		return syscall.EPERM
	}
	switch request {
	case kernel.GPIBClear:
		f.clear()
	case kernel.GPIBRemote:
		f.mutex.Lock()
		f.remote = number() != 0
		f.mutex.Unlock()
	case kernel.GPIBTimeout:
		f.mutex.Lock()
		f.timeout = time.Duration(number()) * time.Microsecond
		f.mutex.Unlock()
	case kernel.GPIBEOS:
		e, ok := kernel.ParseEOS(argument)
		if !ok {
			return syscall.EFAULT
		}
		f.mutex.Lock()
		f.eos = e
		f.mutex.Unlock()
	case kernel.GPIBSerialPoll:
		return f.poll(argument)
	case kernel.GPIBCommand, kernel.GPIBRead, kernel.GPIBWrite:
		return f.transfer(request, argument, buffer)
	default:
		return syscall.ENOTTY
	}
	return nil
}

func (f *boardFile) hold(want bool) error {
	if want {
		f.lock <- struct{}{}
		f.owner.Store(f)
		return nil
	}
	if !f.owner.CompareAndSwap(f, nil) {
		return syscall.EPERM
	}
	<-f.lock
	return nil
}

// clear is IFC: the board is in charge, and nobody is addressed.
func (d *boardDriver) clear() {
	d.mutex.Lock()
	defer d.mutex.Unlock()
	d.inCharge, d.listener, d.talker, d.self = true, nil, nil, false
}

func (d *boardDriver) poll(argument []byte) error {
	p, ok := kernel.ParseSerialPoll(argument)
	if !ok {
		return syscall.EFAULT
	}
	c, there := d.bus.at[BusAddress{int(p.Primary), int(p.Secondary)}]
	if !there {
		return syscall.ETIMEDOUT
	}
	p.Status = c.StatusByte()
	copy(argument, p.Append(nil))
	return nil
}

func (d *boardDriver) transfer(request uint32, argument, buffer []byte) error {
	t, ok := kernel.ParseTransfer(argument)
	if !ok || int(t.Requested) > len(buffer) || t.Completed > t.Requested {
		return syscall.EINVAL
	}
	d.mutex.Lock()
	inCharge := d.inCharge
	d.mutex.Unlock()
	if !inCharge {
		return syscall.EIO
	}
	data := buffer[t.Completed:t.Requested]
	var n int
	var err error
	switch request {
	case kernel.GPIBCommand:
		for _, c := range data {
			d.command(c)
		}
		n = len(data)
	case kernel.GPIBWrite:
		n, err = d.send(data, t.End)
	default:
		n, t.End, err = d.receive(data)
	}
	t.Completed += uint32(n)
	copy(argument[8:], t.Append(nil)[8:])
	return err
}

// command takes a byte that was sent with ATN.
func (d *boardDriver) command(c byte) {
	d.mutex.Lock()
	defer d.mutex.Unlock()
	to := d.listener
	switch {
	case c == kernel.UNL:
		d.listener, d.self = nil, false
	case c == kernel.UNT:
		d.talker = nil
	case c >= kernel.LAD && c < kernel.UNL:
		if c == kernel.LAD|boardAddress {
			d.self = true
			return
		}
		d.listener = &BusAddress{int(c &^ kernel.LAD), -1}
	case c >= kernel.TAD && c < kernel.UNT:
		if d.talker = nil; c != kernel.TAD|boardAddress {
			d.talker = &BusAddress{int(c &^ kernel.TAD), -1}
		}
	case c >= kernel.MSA && c < kernel.MSA+31: // of whoever was addressed last
		for _, a := range []*BusAddress{d.listener, d.talker} {
			if a != nil && a.Secondary < 0 {
				a.Secondary = int(c - kernel.MSA)
			}
		}
	case c == kernel.LLO:
		for a := range d.bus.at {
			d.bus.command(a, func(c Conversation) { c.Remote(true) })
		}
	case to == nil:
	case c == kernel.SDC:
		d.bus.command(*to, Conversation.Clear)
	case c == kernel.GET:
		d.bus.command(*to, Conversation.Trigger)
	case c == kernel.GTL:
		d.bus.command(*to, func(c Conversation) { c.Remote(false) })
	}
}

func (d *boardDriver) send(data []byte, eoi bool) (int, error) {
	d.mutex.Lock()
	to := d.listener
	d.mutex.Unlock()
	if to == nil || d.bus.listen(*to, data, eoi) != nil {
		return 0, syscall.ECOMM
	}
	return len(data), nil
}

func (d *boardDriver) receive(into []byte) (n int, end bool, err error) {
	d.mutex.Lock()
	from, timeout, eos, self := d.talker, d.timeout, d.eos, d.self
	d.mutex.Unlock()
	if from == nil || !self {
		return 0, false, syscall.EIO
	}
	ctx, cancel := context.WithTimeout(context.Background(), timeout)
	defer cancel()
	for n < len(into) && !end {
		most := len(into) - n
		if eos.Flags&kernel.REOS != 0 {
			most = 1
		}
		part, eoi, err := d.bus.talk(ctx, *from, most)
		if err != nil {
			if errors.Is(err, context.DeadlineExceeded) {
				err = syscall.ETIMEDOUT
			}
			return n, false, err
		}
		n += copy(into[n:], part)
		end = eoi || eos.Flags&kernel.REOS != 0 && into[n-1] == byte(eos.Char)
	}
	return n, end, nil
}
