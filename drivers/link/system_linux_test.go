package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"bandproof/drivers/link/kernel"

	"golang.org/x/sys/unix"
)

func TestSystemCallsOnARealDevice(t *testing.T) {
	s := thisSystem()
	one, err := s.Open("/dev/null", true)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Open("/dev/null", true); !errors.Is(err, unix.EWOULDBLOCK) {
		t.Errorf("opened twice alone: %v", err)
	}
	shared, err := s.Open("/dev/null", false)
	if err != nil {
		t.Errorf("opened beside: %v", err)
	}
	if n, err := s.Write(one, []byte("*RST\n")); n != 5 || err != nil {
		t.Errorf("write: %d, %v", n, err)
	}
	if n, err := s.Read(one, make([]byte, 10)); n != 0 || err != nil {
		t.Errorf("read: %d, %v", n, err)
	}
	if err := s.Ioctl(one, kernel.TMCClear, nil, nil); !unknownRequest(err) {
		t.Errorf("request that the device does not know: %v", err)
	}
	buffer := []byte("x")
	argument := kernel.Transfer{Requested: 1}.Append(nil)
	if err := s.Ioctl(one, kernel.GPIBRead, argument, buffer); !unknownRequest(err) || bytes.Equal(argument[:8], make([]byte, 8)) {
		t.Errorf("request with a buffer: %v, argument % x", err, argument)
	}
	if err := s.Ioctl(one, kernel.GPIBRead, nil, buffer); err == nil || unknownRequest(err) {
		t.Errorf("no room for the address: %v", err)
	}
	for _, fd := range []int{one, shared} {
		if err := s.Close(fd); err != nil {
			t.Error(err)
		}
	}
	if _, err := s.Open("/dev/no-such-device", false); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing device: %v", err)
	}
}

// A call must leave the thread's signals as they were.
func TestSignalsComeThroughAfterACall(t *testing.T) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	mask := func() (now unix.Sigset_t) {
		if err := unix.PthreadSigmask(unix.SIG_BLOCK, nil, &now); err != nil {
			t.Fatal(err)
		}
		return now
	}
	before := mask()
	var within unix.Sigset_t
	if err := held(func() error { within = mask(); return nil }); err != nil {
		t.Fatal(err)
	}
	if mask() != before {
		t.Error("the signals are not as they were")
	}
	if within == before || within.Val[0]&(1<<(unix.SIGURG-1)) == 0 || within.Val[0]&(1<<(unix.SIGSEGV-1)) != 0 {
		t.Errorf("within: %x; want SIGURG held back and SIGSEGV not", within.Val[0])
	}
}

// rooted looks into a tree of its own in place of /sys.
type rooted struct {
	kernelSystem
	root string
}

func (r rooted) ReadFile(path string) ([]byte, error) { return r.kernelSystem.ReadFile(r.root + path) }
func (r rooted) List(path string) ([]string, error)   { return r.kernelSystem.List(r.root + path) }

// usbTree lays out sysfs as Linux does: the class links to the interface, which
// lies within the device.
func usbTree(t *testing.T) rooted {
	t.Helper()
	r := rooted{root: t.TempDir()}
	file := func(path, text string) {
		t.Helper()
		path = r.root + path
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.WriteFile(path, []byte(text+"\n"), 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	link := func(path, target string) {
		t.Helper()
		path = r.root + path
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.Symlink(target, path)); err != nil {
			t.Fatal(err)
		}
	}
	for i, d := range []struct{ serial, number string }{{"S1", "00"}, {"S2", "02"}, {"S2", "01"}} {
		device := fmt.Sprintf("/sys/devices/pci0/usb1/1-%s", d.serial)
		file(device+"/idVendor", "abcd")
		file(device+"/idProduct", "00a1")
		file(device+"/serial", d.serial)
		file(device+"/manufacturer", "Example Works (invented)")
		file(device+"/product", "Counter")
		file(device+"/1-1:1."+d.number+"/bInterfaceNumber", d.number)
		link(fmt.Sprintf("/sys/class/usbmisc/usbtmc%d/device", i), r.root+device+"/1-1:1."+d.number)
	}
	file("/sys/class/usbmisc/other0/device/x", "")
	file("/sys/bus/usb/devices/1-9/idVendor", "beef")
	file("/sys/bus/usb/devices/1-9/idProduct", "0001")
	file("/sys/bus/usb/devices/1-9/serial", "NODRIVER")
	return r
}

func TestUSBInstrumentsAreFound(t *testing.T) {
	tree := usbTree(t)
	list := Opener{System: tree}.USBInstruments()
	if len(list) != 3 || list[0].String() != "USB0::0xABCD::0x00A1::S1::INSTR" || list[0].Name != "Example Works (invented) Counter" {
		t.Errorf("listed: %v", list)
	}
	for address, want := range map[string]string{
		"USB0::0xABCD::0x00A1::S1::INSTR":       "usbtmc0",
		"USB0::0xABCD::0x00A1::S2::INSTR":       "usbtmc2", // the first interface
		"USB0::0xABCD::0x00A1::S2::2::INSTR":    "usbtmc1",
		"USB0::0xABCD::0x00A1::S2::3::INSTR":    "! USB0::0xABCD::0x00A1::S2::1::INSTR",
		"USB0::0xABCD::0x00A1::OTHER::INSTR":    "! is it on and plugged in",
		"USB0::0xABCD::0x00A2::S1::INSTR":       "! USB0::0xABCD::0x00A1::S1::INSTR",
		"USB0::0xBEEF::0x0001::NODRIVER::INSTR": "! modprobe usbtmc",
	} {
		r, err := ParseResource(address)
		if err != nil {
			t.Fatal(err)
		}
		got, err := findUSB(tree, r)
		if hint, wrong := strings.CutPrefix(want, "! "); wrong {
			if !errors.Is(err, ErrDisconnected) || !strings.Contains(err.Error(), hint) {
				t.Errorf("%s: %q, %v; want an error that says %q", address, got, err, hint)
			}
		} else if got != want || err != nil {
			t.Errorf("%s: %q, %v; want %q", address, got, err, want)
		}
	}
	r, _ := ParseResource("USB0::0xABCD::0x00A1::S1::INSTR")
	if _, err := findUSB(rooted{root: t.TempDir()}, r); err == nil || !strings.Contains(err.Error(), "no other") {
		t.Errorf("no instruments at all: %v", err)
	}
}

func TestWhatIsSaidOfDevicesThatAreNotThere(t *testing.T) {
	for _, row := range []struct {
		path string
		err  error
		kind error
		want string
	}{
		{"/dev/gpib0", syscall.ENOENT, ErrDisconnected, "missing"},
		{"/dev/gpib0", syscall.ENODEV, ErrDisconnected, "missing"},
		{"/dev/usbtmc0", syscall.EACCES, ErrAddress, "udev rule"},
		{"/dev/usbtmc0", syscall.EAGAIN, ErrBusy, "another link or program"},
		{"/dev/usbtmc0", syscall.EIO, ErrDisconnected, "/dev/usbtmc0"},
	} {
		if err := refusedDevice(row.path, row.err, "missing"); !errors.Is(err, row.kind) || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%v: %v; want %v that says %q", row.err, err, row.kind, row.want)
		}
	}
	if _, err := os.Stat("/dev/gpib29"); err == nil {
		t.Skip("NOT RUN, this machine has a GPIB board 29")
	}
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	_, err := Opener{}.Open(ctx, Config{Address: "GPIB29::7::INSTR"})
	if !errors.Is(err, ErrDisconnected) || !strings.Contains(err.Error(), "linux-gpib") || !strings.Contains(err.Error(), "via") {
		t.Errorf("no board: %v", err)
	}
	_, err = Opener{}.Open(ctx, Config{Address: "USB0::0x1234::0x5678::NONE::INSTR"})
	if !errors.Is(err, ErrDisconnected) || !strings.Contains(err.Error(), "on USB") {
		t.Errorf("no USB instrument: %v", err)
	}
}

// A call that hangs in a driver does not hang the link.
func TestDeviceGivesUpWaitingForACall(t *testing.T) {
	d := &device{System: thisSystem(), path: "/dev/x", fd: -1, busy: make(chan struct{}, 1)}
	free := make(chan struct{})
	for range 2 {
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
		defer cancel()
		if err := d.do(ctx, func() error { <-free; return nil }); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("call that hangs: %v", err)
		}
	}
	close(free)
	if err := d.do(context.Background(), func() error { return unix.ENODEV }); !errors.Is(err, unix.ENODEV) {
		t.Errorf("after it: %v", err)
	}
	if err := d.close(); !errors.Is(err, unix.EBADF) {
		t.Errorf("close: %v", err)
	}
	if err := d.close(); err != nil {
		t.Errorf("close again: %v", err)
	}
}
