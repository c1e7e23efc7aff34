package link_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"bandproof/drivers/drivertest"
	"bandproof/drivers/link"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// terminal makes a pseudo-terminal. far is the instrument's end; the other end
// stays open under name until the test ends, as a bench does, so that nothing
// is lost before the link opens it.
func terminal(t testing.TB) (far *os.File, name string, held *os.File) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Skipf("NOT RUN, this system gives no pseudo-terminals: %v", err)
	}
	t.Cleanup(func() { slave.Close() })
	// The package leaves the descriptor blocking; a copy that is not can be
	// read with a deadline.
	fd, err := unix.FcntlInt(master.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err == nil {
		err = unix.SetNonblock(fd, true)
	}
	if err != nil {
		t.Fatal(err)
	}
	name = slave.Name()
	master.Close()
	far = os.NewFile(uintptr(fd), "instrument of "+name)
	t.Cleanup(func() { far.Close() })
	raw(t, slave)
	return far, name, slave
}

func termios(t testing.TB, f *os.File) *unix.Termios {
	t.Helper()
	got, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// raw stops the terminal from echoing and translating what comes before the
// link has set it up.
func raw(t testing.TB, f *os.File) {
	t.Helper()
	s := termios(t, f)
	s.Iflag, s.Oflag, s.Lflag = 0, 0, 0
	s.Cc[unix.VMIN], s.Cc[unix.VTIME] = 1, 0
	if err := unix.IoctlSetTermios(int(f.Fd()), unix.TCSETS, s); err != nil {
		t.Fatal(err)
	}
}

func open(t testing.TB, c link.Config) link.Link {
	t.Helper()
	k, err := link.Opener{}.Open(context.Background(), c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { k.Close() })
	return k
}

func TestSerialConforms(t *testing.T) {
	drivertest.Conformance(t, func(t *testing.T) drivertest.Wire {
		far, name, _ := terminal(t)
		return drivertest.Wire{
			Config: link.Config{Address: "ASRL" + name + "::INSTR"},
			Far:    func(*testing.T) drivertest.Far { return far },
		}
	})
}

func TestSerialOpensOnlyOnce(t *testing.T) {
	_, name, _ := terminal(t)
	other := filepath.Join(t.TempDir(), "counter")
	if err := os.Symlink(name, other); err != nil {
		t.Fatal(err)
	}
	k := open(t, link.Config{Address: "ASRL" + name + "::INSTR"})
	for _, path := range []string{name, other} {
		_, err := link.Opener{}.Open(context.Background(), link.Config{Address: "ASRL" + path + "::INSTR"})
		if !errors.Is(err, link.ErrBusy) || !strings.Contains(err.Error(), path) {
			t.Errorf("second opening by %s: %v; want busy, with the path", path, err)
		}
	}
	if err := k.Close(); err != nil {
		t.Fatal(err)
	}
	open(t, link.Config{Address: "ASRL" + other + "::INSTR"})
}

func TestSerialSettingsReachThePort(t *testing.T) {
	tests := []struct {
		name          string
		config        link.Config
		cset, cclear  uint32
		iset, iclear  uint32
		input, output uint32
	}{
		{"defaults", link.Config{}, unix.CS8, unix.PARENB | unix.CSTOPB | unix.CRTSCTS, 0, unix.IXON | unix.IXOFF | unix.IXANY | unix.ICRNL, 9600, 9600},
		// The kernel's pseudo-terminal keeps neither PARENB nor the number of data bits.
		{"7E2", link.Config{DataBits: 7, Parity: "even", StopBits: "2", Baud: 1200}, unix.CSTOPB, unix.PARODD, unix.INPCK, unix.IXON, 1200, 1200},
		{"odd", link.Config{Parity: "odd"}, unix.PARODD, unix.CMSPAR, unix.INPCK, 0, 9600, 9600},
		{"mark", link.Config{Parity: "mark"}, unix.PARODD | unix.CMSPAR, 0, unix.INPCK, 0, 9600, 9600},
		{"xonxoff", link.Config{FlowControl: "xonxoff"}, 0, unix.CRTSCTS, unix.IXON | unix.IXOFF, unix.IXANY, 9600, 9600},
		{"rtscts", link.Config{FlowControl: "rtscts"}, unix.CRTSCTS, 0, 0, unix.IXON | unix.IXOFF, 9600, 9600},
		{"odd baud with flow control", link.Config{Baud: 12345, FlowControl: "xonxoff"}, 0, 0, unix.IXON, 0, 12345, 12345},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			_, name, held := terminal(t)
			test.config.Address = "ASRL" + name + "::INSTR"
			open(t, test.config)
			got, err := unix.IoctlGetTermios(int(held.Fd()), unix.TCGETS2)
			if err != nil {
				t.Fatal(err)
			}
			if got.Cflag&test.cset != test.cset || got.Cflag&test.cclear != 0 || got.Iflag&test.iset != test.iset || got.Iflag&test.iclear != 0 {
				t.Errorf("cflag %#o, iflag %#o; want %#o and %#o set, %#o and %#o clear", got.Cflag, got.Iflag, test.cset, test.iset, test.cclear, test.iclear)
			}
			if got.Ispeed != test.input || got.Ospeed != test.output {
				t.Errorf("baud %d in, %d out; want %d", got.Ispeed, got.Ospeed, test.input)
			}
		})
	}
}

func TestSerialOpenTellsWhatToCheck(t *testing.T) {
	_, name, _ := terminal(t)
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		name   string
		config link.Config
		kind   error
		says   string
	}{
		{"no such port", link.Config{Address: "ASRL/dev/no-such-port::INSTR"}, link.ErrDisconnected, "plugged in"},
		{"a file", link.Config{Address: "ASRL" + file + "::INSTR"}, link.ErrAddress, "no serial port"},
		{"a device that is no port", link.Config{Address: "ASRL/dev/null::INSTR"}, link.ErrAddress, "no serial port"},
		{"a number", link.Config{Address: "ASRL3::INSTR"}, link.ErrAddress, "ASRL/dev/ttyUSB0"},
		{"a port of another system", link.Config{Address: "ASRLCOM3::INSTR"}, link.ErrAddress, "no port of this system"},
		{"half a stop bit", link.Config{Address: "ASRL" + name + "::INSTR", StopBits: "1.5"}, errors.ErrUnsupported, "1.5 stop bits"},
		{"settings", link.Config{Address: "ASRL" + name + "::INSTR", Baud: 1, DataBits: 9, Parity: "some"}, link.ErrConfig, "parity"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			_, err := link.Opener{}.Open(context.Background(), test.config)
			if !errors.Is(err, test.kind) || !strings.Contains(err.Error(), test.says) || !strings.Contains(err.Error(), test.config.Address) {
				t.Errorf("open %s: %v; want kind %q, the address and %q", test.config.Address, err, test.kind, test.says)
			}
		})
	}
	open(t, link.Config{Address: "ASRL" + name + "::INSTR"}) // failures leave no lock behind
}

// The instrument says XOFF and never XON: the write must end with its time, and
// Close must not hang.
func TestSerialWriteEndsWhenTheInstrumentStopsIt(t *testing.T) {
	far, name, _ := terminal(t)
	k := open(t, link.Config{Address: "ASRL" + name + "::INSTR", FlowControl: "xonxoff", Quiet: 50 * time.Millisecond})
	far.Write([]byte{0x13})
	time.Sleep(100 * time.Millisecond)
	ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel()
	if err := k.Write(ctx, []byte("*RST")); !errors.Is(err, link.ErrTimeout) {
		t.Fatalf("write while stopped: %v; want timed out", err)
	}
	if err := k.Write(context.Background(), []byte("*RST")); !errors.Is(err, link.ErrDirty) {
		t.Errorf("write after that: %v; want dirty", err)
	}
	far.Write([]byte{0x11})
	if err := k.Clear(context.Background()); err != nil {
		t.Fatalf("clear: %v", err)
	}
	if err := k.Write(context.Background(), []byte("A")); err != nil {
		t.Fatalf("write after XON and clear: %v", err)
	}
	if err := far.SetReadDeadline(time.Now().Add(20 * time.Second)); err != nil {
		t.Fatal(err)
	}
	got := make([]byte, 100)
	n, err := far.Read(got)
	if err != nil || string(got[:n]) != "A\n" {
		t.Errorf("the instrument got %q, %v; want the message after the clear only", got[:n], err)
	}
	far.Write([]byte{0x13})
	time.Sleep(100 * time.Millisecond)
	long := bytes.Repeat([]byte("x"), 1<<20)
	ctx2, cancel2 := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel2()
	if err := k.Write(ctx2, long); !errors.Is(err, link.ErrTimeout) {
		t.Fatalf("write while stopped: %v; want timed out", err)
	}
	begin := time.Now()
	if err := k.Close(); err != nil || time.Since(begin) > 4*time.Second {
		t.Errorf("close while stopped: %v after %s", err, time.Since(begin))
	}
}

// An adapter that was unplugged and plugged in again has the same name, and is
// another device.
func TestSerialClearOpensThePortAnew(t *testing.T) {
	far, name, _ := terminal(t)
	stable := filepath.Join(t.TempDir(), "counter")
	if err := os.Symlink(name, stable); err != nil {
		t.Fatal(err)
	}
	k := open(t, link.Config{Address: "ASRL" + stable + "::INSTR", Timeout: 20 * time.Second})
	far.Close()
	if _, err := k.Read(context.Background()); !errors.Is(err, link.ErrDisconnected) || !strings.Contains(err.Error(), "unplugged") {
		t.Fatalf("read after the hang-up: %v; want disconnected, and a hint", err)
	}
	far, name, _ = terminal(t)
	time.AfterFunc(200*time.Millisecond, func() {
		os.Remove(stable)
		os.Symlink(name, stable)
	})
	if err := k.Clear(context.Background()); err != nil {
		t.Fatalf("clear: %v", err)
	}
	answered := make(chan error, 1)
	go func() {
		_, err := k.Query(context.Background(), []byte("*IDN?"))
		answered <- err
	}()
	got := make([]byte, 6)
	far.Read(got)
	far.Write([]byte("1\n"))
	if err := <-answered; err != nil || string(got) != "*IDN?\n" {
		t.Errorf("the new port got %q, answer %v", got, err)
	}
}

// A program that this one starts must not inherit the port: it would keep it
// busy after Close.
func TestSerialPortIsNotInherited(t *testing.T) {
	_, name, held := terminal(t)
	open(t, link.Config{Address: "ASRL" + name + "::INSTR"})
	held.Close()
	out, err := exec.Command("ls", "-l", "/proc/self/fd").CombinedOutput()
	if err != nil {
		t.Skipf("NOT RUN, there is no ls with /proc: %v", err)
	}
	if strings.Contains(string(out), name+"\n") {
		t.Errorf("a child has %s open:\n%s", name, out)
	}
}

// Above descriptor 1023 the library's read panics; the link must say so and
// let go.
func TestSerialAboveDescriptor1023IsAnError(t *testing.T) {
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil || limit.Cur < 1200 {
		t.Skipf("NOT RUN, only %d descriptors: %v", limit.Cur, err)
	}
	_, name, _ := terminal(t)
	for {
		f, err := os.Open(os.DevNull)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if f.Fd() > 1030 {
			break
		}
	}
	k, err := link.Opener{}.Open(context.Background(), link.Config{Address: "ASRL" + name + "::INSTR"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := k.Read(context.Background()); !errors.Is(err, link.ErrDisconnected) || !strings.Contains(err.Error(), "1000 files") {
		t.Errorf("read: %v; want an error that says why", err)
	}
	if err := k.Close(); err != nil {
		t.Errorf("close: %v", err)
	}
}

// Closing and opening goes on while others use descriptors: a call on a closed
// port would hit one of theirs.
func TestSerialUseAfterCloseTouchesNoOtherFile(t *testing.T) {
	far, name, _ := terminal(t)
	k := open(t, link.Config{Address: "ASRL" + name + "::INSTR"})
	if err := k.Close(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "innocent")
	for range 5 { // takes the descriptors that became free
		f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR|os.O_APPEND, 0o600)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
	}
	if err := k.Write(context.Background(), []byte("*RST")); !errors.Is(err, link.ErrClosed) {
		t.Errorf("write after close: %v; want closed", err)
	}
	if got, err := os.ReadFile(path); err != nil || len(got) > 0 {
		t.Errorf("another file has %q, %v; want nothing", got, err)
	}
	_ = far
}

// A late answer comes slowly: Clear has to wait until the last of it is there,
// and must not take a line for silent that is not.
func TestSerialClearWaitsForSilence(t *testing.T) {
	far, name, _ := terminal(t)
	k := open(t, link.Config{Address: "ASRL" + name + "::INSTR", Quiet: time.Second})
	const pieces, pause = 40, 50 * time.Millisecond
	last := make(chan time.Time, 1)
	go func() {
		for range pieces {
			far.Write([]byte("9"))
			time.Sleep(pause)
		}
		last <- time.Now()
		far.Write([]byte("\n"))
	}()
	ctx, cancel := context.WithTimeout(context.Background(), pieces*pause/2)
	defer cancel()
	if err := k.Clear(ctx); !errors.Is(err, link.ErrTimeout) {
		t.Fatalf("clear while bytes come: %v; want timed out", err)
	}
	if err := k.Write(context.Background(), []byte("A")); !errors.Is(err, link.ErrDirty) {
		t.Fatalf("write after a clear that failed: %v; want dirty", err)
	}
	ctx, cancel = context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	if err := k.Clear(ctx); err != nil {
		t.Fatal(err)
	}
	if end := <-last; time.Since(end) < 500*time.Millisecond {
		t.Errorf("clear ended %s after the last byte; want a second", time.Since(end))
	}
	go func() {
		far.Read(make([]byte, 100))
		far.Write([]byte("1\n"))
	}()
	if answer, err := k.Query(context.Background(), []byte("B?")); err != nil || string(answer) != "1" {
		t.Errorf("answer %q, %v; want the new one", answer, err)
	}
}

func BenchmarkSerialQuery(b *testing.B) {
	far, name, _ := terminal(b)
	go func() {
		for p := make([]byte, 100); ; {
			if _, err := far.Read(p); err != nil {
				return
			}
			far.Write([]byte("+1.0000000000E+7\n"))
		}
	}()
	k := open(b, link.Config{Address: "ASRL" + name + "::INSTR"})
	for b.Loop() {
		if _, err := k.Query(context.Background(), []byte("FETC?")); err != nil {
			b.Fatal(err)
		}
	}
}
