//go:build linux

package virtual

import (
	"context"
	"encoding/binary"
	"errors"
	"sync"
	"syscall"
	"time"

	"bandproof/drivers/link/kernel"
	"bandproof/drivers/link/usbtmc"
)

// usbDriver models the kernel's driver of one USB instrument
// (drivers/usb/class/usbtmc.c of Linux 6): it makes the headers, gives each
// transfer a tag and a time, and lets only one call in at a time.
type usbDriver struct {
	usb    *USBInstrument
	life   context.Context
	unplug context.CancelFunc
	opened bool // guarded by the machine

	io        sync.Mutex // one call at a time
	tag       byte
	lastWrite byte
	lastRead  byte
}

func newUSBDriver(u *USBInstrument) *usbDriver {
	d := &usbDriver{usb: u, tag: 1}
	d.life, d.unplug = context.WithCancel(context.Background())
	return d
}

// usbFile is one who has the device open.
type usbFile struct {
	*usbDriver
	timeout    time.Duration
	autoAbort  bool
	end        bool // a write ends a message
	termChar   [2]byte
	attributes byte // of the last transfer in
}

func (d *usbDriver) open() *usbFile {
	d.opened = true
	return &usbFile{usbDriver: d, timeout: 5 * time.Second, end: true}
}

func (f *usbFile) close() { f.opened = false }

// transfer is the time of one.
func (f *usbFile) transfer() (context.Context, context.CancelFunc) {
	return context.WithTimeout(f.life, f.timeout)
}

func (f *usbFile) nextTag() byte {
	f.lastWrite = f.tag
	f.tag = usbtmc.NextTag(f.tag)
	return f.lastWrite
}

func (f *usbFile) out(p []byte) error {
	if f.life.Err() != nil {
		return syscall.ENODEV
	}
	if err := f.usb.BulkOut(p); err != nil {
		return syscall.EPIPE
	}
	return nil
}

func (f *usbFile) write(p []byte) (int, error) {
	f.io.Lock()
	defer f.io.Unlock()
	if len(p) == 0 {
		return 0, nil
	}
	if err := f.out(usbtmc.AppendOut(nil, f.nextTag(), p, f.end)); err != nil {
		return 0, err
	}
	return len(p), nil
}

func (f *usbFile) read(p []byte) (int, error) {
	f.io.Lock()
	defer f.io.Unlock()
	h := usbtmc.Header{ID: usbtmc.DevDepMsgIn, Tag: f.nextTag(), Size: uint32(len(p))}
	if f.termChar[1] == 1 {
		h.TermChar, h.Char = true, f.termChar[0]
	}
	if err := f.out(h.Append(nil)); err != nil {
		return 0, err
	}
	f.lastRead = h.Tag
	ctx, cancel := f.transfer()
	defer cancel()
	in, err := f.usb.BulkIn(ctx)
	switch {
	case f.life.Err() != nil:
		return 0, syscall.ENODEV
	case err != nil:
		if f.autoAbort {
			f.usb.Control(usbtmc.InitiateAbortBulkIn, uint16(f.lastRead))
			f.usb.Control(usbtmc.CheckAbortBulkInStatus, 0)
		}
		return 0, syscall.ETIMEDOUT
	}
	_, part, err := usbtmc.SplitIn(in, h.Tag, h.Size)
	if err != nil {
		return 0, nil // so does the driver
	}
	f.attributes = in[8]
	return copy(p, part), nil
}

func (f *usbFile) ioctl(request uint32, argument, _ []byte) error {
	f.io.Lock()
	defer f.io.Unlock()
	if f.life.Err() != nil {
		return syscall.ENODEV
	}
	if len(argument) < argumentSize(request) {
		return syscall.EFAULT
	}
	give := func(b byte) error {
		argument[0] = b
		return nil
	}
	simple := func(r usbtmc.Request) error {
		if !f.usb.Caps.Remote {
			return syscall.EINVAL
		}
		return succeeded(f.usb.Control(r, 0))
	}
	switch request {
	case kernel.TMCClear:
		return errors.Join(succeeded(f.usb.Control(usbtmc.InitiateClear, 0)), succeeded(f.usb.Control(usbtmc.CheckClearStatus, 0)))
	case kernel.TMCAbortBulkIn:
		return succeeded(f.usb.Control(usbtmc.InitiateAbortBulkIn, uint16(f.lastRead)))
	case kernel.TMCAbortBulkOut:
		return succeeded(f.usb.Control(usbtmc.InitiateAbortBulkOut, uint16(f.lastWrite)))
	case kernel.TMCSetTimeout:
		ms := binary.NativeEndian.Uint32(argument)
		if ms < kernel.TMCLeastTimeout {
			return syscall.EINVAL
		}
		f.timeout = time.Duration(ms) * time.Millisecond
	case kernel.TMCAutoAbort:
		f.autoAbort = argument[0] != 0
	case kernel.TMCEOMEnable:
		f.end = argument[0] != 0
	case kernel.TMCConfigTermChar:
		if argument[1] > 1 || argument[1] == 1 && !f.usb.Caps.TermChar {
			return syscall.EINVAL
		}
		f.termChar = [2]byte(argument)
	case kernel.TMCGetCaps:
		c, err := usbtmc.ParseCapabilities(f.usb.Control(usbtmc.GetCapabilities, 0))
		if err != nil {
			return syscall.EPERM
		}
		return give(c.Driver())
	case kernel.TMCReadSTB:
		answer := f.usb.Control(usbtmc.ReadStatusByte, 2)
		if err := succeeded(answer); err != nil {
			return err
		}
		return give(answer[2])
	case kernel.TMCMsgInAttr:
		return give(f.attributes)
	case kernel.TMCRENControl:
		return simple(usbtmc.RENControl)
	case kernel.TMCLocalLockout:
		return simple(usbtmc.LocalLockout)
	case kernel.TMCGotoLocal:
		return simple(usbtmc.GoToLocal)
	case kernel.TMCTrigger:
		if !f.usb.Caps.Trigger {
			return syscall.EINVAL
		}
		return f.out(usbtmc.Header{ID: usbtmc.Trigger, Tag: f.nextTag()}.Append(nil))
	default:
		return syscall.ENOTTY
	}
	return nil
}

// argumentSize is how many bytes a request says that its argument has.
func argumentSize(request uint32) int { return int(request >> 16 & 0x1fff) }

// succeeded is the error of a control request.
func succeeded(answer []byte) error {
	if len(answer) == 0 || usbtmc.Status(answer[0]) != usbtmc.Success {
		return syscall.EPERM
	}
	return nil
}
