package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"bandproof/drivers/link/kernel"
	"bandproof/drivers/link/usbtmc"
)

// Where Linux tells of USB.
const (
	tmcClass   = "/sys/class/usbmisc"
	usbDevices = "/sys/bus/usb/devices"
)

// openUSB opens a USB instrument through the kernel's usbtmc driver.
func (o Opener) openUSB(ctx context.Context, r Resource, c Config) (Link, error) {
	s, err := o.system("a USB instrument")
	if err != nil {
		return nil, &Error{Address: r.String(), Op: "open", Kind: errors.ErrUnsupported, Err: errors.Unwrap(err)}
	}
	return o.openMessages(ctx, r, c, func(ctx context.Context) (messenger, error) {
		name, err := findUSB(s, r)
		if err != nil {
			return nil, err
		}
		d, err := openDevice(s, "/dev/"+name, true)
		if err != nil {
			return nil, refusedDevice("/dev/"+name, err, "was the instrument unplugged?")
		}
		u := &usbMessenger{device: d}
		if err := u.do(ctx, u.setUp); err != nil {
			return nil, errors.Join(driverError(err), u.giveUp())
		}
		return u, nil
	})
}

// USBInstrument is a USB test and measurement instrument that the kernel's
// driver serves.
type USBInstrument struct {
	Resource Resource
	Name     string // what the instrument calls itself: maker and product
	device   string // usbtmc0
}

func (u USBInstrument) String() string { return u.Resource.String() }

// USBInstruments lists what the usbtmc driver of this machine serves; nothing
// where the system has no such driver.
func (o Opener) USBInstruments() []USBInstrument {
	s, err := o.system("a USB instrument")
	if err != nil {
		return nil
	}
	return listUSB(s)
}

// listUSB lists what the driver serves. Links of sysfs lead to the interface,
// and the device is the directory above that
// (Documentation/ABI/testing/sysfs-bus-usb of the Linux kernel, from memory).
func listUSB(s System) []USBInstrument {
	names, _ := s.List(tmcClass) // no directory: no driver, so no instruments
	slices.Sort(names)
	var list []USBInstrument
	for _, name := range names {
		if !strings.HasPrefix(name, "usbtmc") {
			continue
		}
		text := func(file string) string {
			b, _ := s.ReadFile(tmcClass + "/" + name + "/device/" + file) // not path.Join, which would take the .. away
			return string(bytes.TrimSpace(b))
		}
		vendor, e1 := strconv.ParseUint(text("../idVendor"), 16, 16)
		product, e2 := strconv.ParseUint(text("../idProduct"), 16, 16)
		number, e3 := strconv.ParseUint(text("bInterfaceNumber"), 16, 8)
		if errors.Join(e1, e2, e3) != nil { // it was unplugged just now
			continue
		}
		list = append(list, USBInstrument{
			Resource: Resource{Kind: USB, Vendor: uint16(vendor), Product: uint16(product), SerialNumber: text("../serial"), Interface: int(number)},
			Name:     strings.TrimSpace(text("../manufacturer") + " " + text("../product")),
			device:   name,
		})
	}
	return list
}

// findUSB gives the name of an instrument's device. A resource that states no
// interface means the first one.
func findUSB(s System, r Resource) (string, error) {
	list := listUSB(s)
	var there []string
	best := -1
	for i, u := range list {
		there = append(there, u.String())
		is := u.Resource
		fits := is.Vendor == r.Vendor && is.Product == r.Product && is.SerialNumber == r.SerialNumber
		if fits && is.Interface == r.Interface {
			return u.device, nil
		}
		if fits && r.Interface == 0 && (best < 0 || is.Interface < list[best].Resource.Interface) {
			best = i
		}
	}
	switch {
	case best >= 0:
		return list[best].device, nil
	case plugged(s, r):
		return "", &Error{Kind: ErrDisconnected, Err: errors.New("the instrument is plugged in, but the kernel's usbtmc driver does not serve it; load it with \"modprobe usbtmc\", and see that no other program has taken the instrument from it")}
	case len(there) == 0:
		return "", &Error{Kind: ErrDisconnected, Err: errors.New("there is no such instrument on USB, and no other; is it on and plugged in?")}
	}
	return "", &Error{Kind: ErrDisconnected, Err: fmt.Errorf("there is no such instrument on USB, but %s; is it on and plugged in?", strings.Join(there, ", "))}
}

// plugged tells whether a device with these numbers is on USB at all.
func plugged(s System, r Resource) bool {
	names, _ := s.List(usbDevices)
	return slices.ContainsFunc(names, func(name string) bool {
		text := func(file string) string {
			b, _ := s.ReadFile(path.Join(usbDevices, name, file))
			return string(bytes.TrimSpace(b))
		}
		return text("idVendor") == fmt.Sprintf("%04x", r.Vendor) && text("idProduct") == fmt.Sprintf("%04x", r.Product) && text("serial") == r.SerialNumber
	})
}

// usbMessenger speaks through the driver, which makes the headers. Not tried
// on hardware: tests have a model of the driver.
type usbMessenger struct {
	*device
	caps usbtmc.Capabilities
	// available: the instrument has set the bit of its status byte that tells
	// of a reply, so that it can be relied on.
	available bool
}

func (u *usbMessenger) setUp() error {
	caps := []byte{0}
	if err := u.ask(kernel.TMCGetCaps, caps); err != nil && !unknownRequest(err) {
		return err
	}
	u.caps = usbtmc.FromDriver(caps[0])
	// What fails is to be aborted by the driver: an instrument that was asked
	// for a reply and gave none takes nothing else until then.
	if err := u.ask(kernel.TMCAutoAbort, []byte{1}); err != nil && !unknownRequest(err) {
		return err
	}
	return nil
}

// usbSlice is how long the driver waits for an instrument in one go. Nothing
// ends such a wait, so this is also how long closing may take. After it the
// driver aborts the transfer, and the reply is asked for again.
const usbSlice = 3 * time.Second

// limit sets the time that the driver gives the next transfer. Old drivers
// know no other than 5 s.
func (u *usbMessenger) limit(ctx context.Context) error {
	d := until(ctx, kernel.TMCLeastTimeout*time.Millisecond, usbSlice)
	err := u.ask(kernel.TMCSetTimeout, kernel.Uint32(uint32(d.Milliseconds())))
	if unknownRequest(err) {
		return nil
	}
	return err
}

func (u *usbMessenger) write(ctx context.Context, message []byte) error {
	if len(message) == 0 {
		return nil // no transfer may be empty (USBTMC 1.0 table 3)
	}
	return driverError(u.do(ctx, func() error {
		if err := u.limit(ctx); err != nil {
			return err
		}
		n, err := u.Write(u.fd, message)
		if err == nil && n < len(message) {
			err = fmt.Errorf("the driver took %d of %d bytes", n, len(message))
		}
		return err
	}))
}

// usbChunk is how much is asked for in one transfer, in bytes.
const usbChunk = 64 << 10

func (u *usbMessenger) read(ctx context.Context, most int) ([]byte, error) {
	if err := u.ready(ctx); err != nil {
		return nil, err
	}
	var whole []byte // not looked at where the calls were given up
	err := u.do(ctx, func() (err error) {
		if err := u.whole(); err != nil {
			return err
		}
		var got []byte
		defer func() { u.within = err != nil && len(got) > 0 }()
		part := make([]byte, usbChunk)
		for {
			if err := u.limit(ctx); err != nil {
				return err
			}
			n, err := u.Read(u.fd, part)
			if errors.Is(err, syscall.ETIMEDOUT) && len(got) == 0 && ctx.Err() == nil && until(ctx, 0, time.Hour) > 0 {
				continue // the driver waits no longer in one go
			}
			got = append(got, part[:n]...)
			if err != nil {
				if len(got) > 0 {
					err = inPart(err)
				}
				return err
			}
			if len(got) > most {
				return &Error{Kind: ErrProtocol, Err: fmt.Errorf("more than %d bytes without an end", most)}
			}
			ended, err := u.ended(n, len(part))
			if err != nil {
				return err
			}
			if ended {
				whole = got
				return nil
			}
			if n == 0 { // the driver does so where a header is wrong
				return &Error{Kind: ErrProtocol, Err: errors.New("the instrument answered with a header that does not fit the request, or with nothing")}
			}
		}
	})
	if err != nil {
		return nil, driverError(err)
	}
	return whole, nil
}

// ended tells whether the last transfer ended the message. An old driver does
// not tell, but reads on by itself until it has.
func (u *usbMessenger) ended(n, asked int) (bool, error) {
	attributes := []byte{0}
	err := u.ask(kernel.TMCMsgInAttr, attributes)
	if unknownRequest(err) {
		return n > 0 && n < asked, nil
	}
	return attributes[0]&1 != 0 && n > 0, err
}

// ready waits for the bit of the status byte that tells of a reply: unlike a
// read, that can be given up at any time. An instrument that has never set the
// bit is given a second, and is then read without.
func (u *usbMessenger) ready(ctx context.Context) error {
	if !u.caps.USB488 {
		return nil
	}
	patience := until(ctx, 0, 2*time.Second) / 2
	give := time.Now().Add(patience)
	for wait := time.Millisecond; u.available || time.Now().Before(give); wait = min(2*wait, 50*time.Millisecond) {
		status, err := u.status(ctx)
		if err != nil {
			return err
		}
		if status&messageAvailable != 0 {
			u.available = true
			return nil
		}
		if err := pause(ctx, wait); err != nil {
			return err
		}
	}
	return nil
}

func (u *usbMessenger) clear(ctx context.Context) error {
	return driverError(u.do(ctx, func() error {
		err := u.ask(kernel.TMCClear, nil)
		u.within = u.within && err != nil
		return err
	}))
}

func (u *usbMessenger) trigger(ctx context.Context) error {
	if !u.caps.Trigger {
		return lacks("a trigger")
	}
	return driverError(u.do(ctx, func() error { return u.ask(kernel.TMCTrigger, nil) }))
}

func (u *usbMessenger) status(ctx context.Context) (byte, error) {
	if !u.caps.USB488 {
		return 0, lacks("a status byte")
	}
	status := byte(0)
	err := u.do(ctx, func() error {
		b := []byte{0}
		if err := u.limit(ctx); err != nil {
			return err
		}
		if err := u.ask(kernel.TMCReadSTB, b); err != nil {
			return err
		}
		status = b[0]
		return nil
	})
	if err != nil {
		return 0, driverError(err)
	}
	return status, nil
}

func (u *usbMessenger) remote(ctx context.Context, on bool) error {
	if !u.caps.Remote {
		return lacks("remote and local")
	}
	return driverError(u.do(ctx, func() error {
		if !on {
			return u.ask(kernel.TMCGotoLocal, nil)
		}
		if err := u.ask(kernel.TMCRENControl, []byte{1}); err != nil {
			return err
		}
		return u.ask(kernel.TMCLocalLockout, nil)
	}))
}

func lacks(what string) error {
	return &Error{Kind: errors.ErrUnsupported, Err: fmt.Errorf("the instrument does not offer %s over USB", what)}
}

// driverError gives an error of a driver its kind.
func driverError(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, syscall.ETIMEDOUT):
		return &Error{Kind: ErrTimeout, Err: err}
	case errors.Is(err, syscall.ENODEV), errors.Is(err, syscall.ESHUTDOWN), errors.Is(err, syscall.ENOENT), errors.Is(err, syscall.EPIPE), errors.Is(err, syscall.EPROTO):
		return &Error{Kind: ErrDisconnected, Err: fmt.Errorf("%w; was the instrument unplugged or switched off?", err)}
	}
	return err
}
