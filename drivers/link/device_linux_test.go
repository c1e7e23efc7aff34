package link_test

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/drivertest"
	"bandproof/drivers/link"
	"bandproof/drivers/link/kernel"
	"bandproof/drivers/link/usbtmc"
	"bandproof/drivers/virtual"

	"github.com/stretchr/testify/require"
)

const usbAddress = "USB0::0x1234::0x5678::SERIAL7::INSTR"

// usbWire plugs a scripted instrument into a machine whose driver is a model:
// what a test shows here was not tried on hardware.
func usbWire(change func(u *virtual.USBInstrument), lacks ...string) func(t *testing.T) drivertest.MessageWire {
	return func(t *testing.T) drivertest.MessageWire {
		m, i := virtual.NewMachine(), drivertest.NewInstrument()
		plug := func() *virtual.USBInstrument {
			u := virtual.NewUSBInstrument(i.Talk(), 0x1234, 0x5678, "SERIAL7")
			change(u)
			m.PlugUSB(u, true)
			t.Cleanup(u.Close)
			return u
		}
		now := plug()
		return drivertest.MessageWire{Config: link.Config{Address: usbAddress}, Opener: link.Opener{System: m}, Instrument: i, Lacks: lacks,
			Cut: func(*testing.T) {
				m.UnplugUSB(now)
				now = plug()
			}}
	}
}

func TestUSBTMCConforms(t *testing.T) {
	drivertest.MessageConformance(t, usbWire(func(*virtual.USBInstrument) {}))
}

// Small transfers, as those of a slow instrument.
func TestUSBTMCInSmallTransfersConforms(t *testing.T) {
	drivertest.MessageConformance(t, usbWire(func(u *virtual.USBInstrument) { u.Packet = 52 }))
}

// Without the USB488 part there is no status byte that would tell of a reply.
func TestPlainUSBTMCConforms(t *testing.T) {
	drivertest.MessageConformance(t, usbWire(func(u *virtual.USBInstrument) { u.Caps = usbtmc.Capabilities{} }, "trigger", "status", "remote"))
}

func TestGPIBBoardConforms(t *testing.T) {
	for name, common := range map[string]bool{"read in slices": false, "read when its status byte says so": true} {
		t.Run(name, func(t *testing.T) {
			drivertest.MessageConformance(t, func(t *testing.T) drivertest.MessageWire {
				m, i := virtual.NewMachine(), drivertest.NewInstrument()
				bus := virtual.NewBus(map[virtual.BusAddress]virtual.Conversation{{Primary: 7, Secondary: 3}: i.Talk(), at(9): newBox("NEIGHBOUR")})
				t.Cleanup(bus.Close)
				m.PlugBoard(1, bus)
				return drivertest.MessageWire{Config: link.Config{Address: "GPIB1::7::3::INSTR", Common: common}, Opener: link.Opener{System: m}, Instrument: i}
			})
		})
	}
}

// recorder writes down what is asked of a machine.
type recorder struct {
	*virtual.Machine
	calls []string
}

func (r *recorder) Ioctl(fd int, request uint32, argument, buffer []byte) error {
	sent := bytes.Clone(buffer)
	err := r.Machine.Ioctl(fd, request, argument, buffer)
	switch request {
	case kernel.GPIBCommand:
		r.calls = append(r.calls, fmt.Sprintf("ATN % x", sent))
	case kernel.GPIBWrite:
		t, _ := kernel.ParseTransfer(argument)
		r.calls = append(r.calls, fmt.Sprintf("write %q EOI %v", sent[:t.Completed], t.End))
	case kernel.GPIBRead:
		t, _ := kernel.ParseTransfer(argument)
		r.calls = append(r.calls, fmt.Sprintf("read %q END %v", buffer[:t.Completed], t.End))
	case kernel.GPIBLock, kernel.GPIBRemote, kernel.GPIBClear:
		r.calls = append(r.calls, fmt.Sprintf("%d(%d)", request&0xff, argument[0]))
	case kernel.GPIBSerialPoll:
		p, _ := kernel.ParseSerialPoll(argument)
		r.calls = append(r.calls, fmt.Sprintf("poll %d %d is %d", p.Primary, p.Secondary, p.Status))
	}
	return err
}

func (r *recorder) told() string {
	text := strings.Join(r.calls, "; ")
	r.calls = nil
	return text
}

// The bytes with ATN are those of IEEE 488.1 (gpib_user.h), in the order in
// which linux-gpib's library sends them (lib/ibCmd.c, ibRd.c): 26 is the lock,
// 9 the interface clear, 10 remote enable.
func TestGPIBBoardByteForByte(t *testing.T) {
	m := &recorder{Machine: virtual.NewMachine()}
	b := newBox("B")
	bus := virtual.NewBus(map[virtual.BusAddress]virtual.Conversation{{Primary: 7, Secondary: 3}: b})
	t.Cleanup(bus.Close)
	m.PlugBoard(0, bus)
	l := openVia(t, link.Opener{System: m}, link.Config{Address: "GPIB0::7::3::INSTR"})
	require.Equal(t, "26(1); 10(1); ATN 3f; 9(100); 26(0)", m.told())
	ctx := within(t, 20*time.Second)
	got, err := l.Query(ctx, []byte("Q?"))
	require.NoError(t, err)
	require.Equal(t, "B Q", string(got))
	require.Equal(t, `26(1); ATN 40 3f 27 63; write "Q?\n" EOI true; 26(0); 26(1); ATN 3f 20 47 63; read "B Q\n" END true; 26(0)`, m.told())
	require.NoError(t, l.Trigger(ctx))
	require.Equal(t, "26(1); ATN 40 3f 27 63 08; 26(0)", m.told())
	_, err = l.StatusByte(ctx)
	require.NoError(t, err)
	require.Equal(t, "26(1); poll 7 3 is 0; 26(0)", m.told())
	require.NoError(t, l.Remote(ctx))
	require.NoError(t, l.Local(ctx))
	require.Equal(t, "26(1); ATN 40 3f 27 63 11; 26(0); 26(1); ATN 40 3f 27 63 01; 26(0)", m.told())
	require.NoError(t, l.Clear(ctx))
	require.Equal(t, "26(1); ATN 40 3f 27 63 04; 26(0)", m.told())
	require.Equal(t, 1, b.trigger)
	require.Equal(t, 1, b.cleared)
	require.Equal(t, []bool{true, false}, b.remote)
}

func TestGPIBBoardTellsOfNobody(t *testing.T) {
	m := virtual.NewMachine()
	b := newBox("B")
	b.answer = func(string) { b.say("1.5\r", false) }
	bus := virtual.NewBus(map[virtual.BusAddress]virtual.Conversation{at(7): b})
	t.Cleanup(bus.Close)
	m.PlugBoard(0, bus)
	nobody := openVia(t, link.Opener{System: m}, link.Config{Address: "GPIB0::9::INSTR"})
	err := nobody.Write(within(t, 20*time.Second), []byte("*RST"))
	require.ErrorIs(t, err, link.ErrDisconnected)
	require.ErrorContains(t, err, "nobody listens at GPIB address 9")
	l := openVia(t, link.Opener{System: m}, link.Config{Address: "GPIB0::7::INSTR", NoEOI: true, ReadTerminator: "CR"})
	got, err := l.Query(within(t, 20*time.Second), []byte("Q?"))
	require.NoError(t, err)
	require.Equal(t, "1.5", string(got))
}

// What an instrument gets over USB, byte for byte: USBTMC 1.0 tables 1, 3, 4
// and 9, by hand.
func TestUSBInstrumentByteForByte(t *testing.T) {
	b := newBox("B")
	u := virtual.NewUSBInstrument(b, 1, 2, "S")
	t.Cleanup(u.Close)
	require.NoError(t, u.BulkOut([]byte("\x01\x01\xfe\x00\x02\x00\x00\x00\x00\x00\x00\x00Q?\x00\x00"))) // a part, without its end
	require.Empty(t, b.messages())
	require.NoError(t, u.BulkOut([]byte("\x01\x02\xfd\x00\x01\x00\x00\x00\x01\x00\x00\x00\n\x00\x00\x00")))
	require.Equal(t, []string{"Q?\n"}, b.messages())
	require.NoError(t, u.BulkOut([]byte("\x02\x03\xfc\x00\x03\x00\x00\x00\x00\x00\x00\x00")))
	in, err := u.BulkIn(within(t, 20*time.Second))
	require.NoError(t, err)
	require.Equal(t, "\x02\x03\xfc\x00\x03\x00\x00\x00\x00\x00\x00\x00B Q", string(in))
	require.NoError(t, u.BulkOut([]byte("\x02\x04\xfb\x00\x40\x00\x00\x00\x00\x00\x00\x00")))
	in, err = u.BulkIn(within(t, 20*time.Second))
	require.NoError(t, err)
	require.Equal(t, "\x02\x04\xfb\x00\x01\x00\x00\x00\x01\x00\x00\x00\n", string(in))
	require.NoError(t, u.BulkOut([]byte("\x80\x05\xfa\x00\x00\x00\x00\x00\x00\x00\x00\x00")))
	require.Equal(t, 1, b.trigger)
	require.Error(t, u.BulkOut([]byte("\x80\x05\xfa\x00\x00\x00\x00\x00\x00\x00\x00\x00")), "the same tag twice")
	require.Error(t, u.BulkOut([]byte("\x7e\x06\xf9\x00\x00\x00\x00\x00\x00\x00\x00\x00")), "a kind of vendors")
	require.Equal(t, []byte{1, 6, 0}, u.Control(usbtmc.ReadStatusByte, 6))
	require.NoError(t, u.BulkOut([]byte("\x02\x07\xf8\x00\x40\x00\x00\x00\x00\x00\x00\x00")))
	require.Equal(t, []byte{1, 7}, u.Control(usbtmc.InitiateAbortBulkIn, 7))
	require.Equal(t, byte(usbtmc.TransferNotInProgress), u.Control(usbtmc.InitiateAbortBulkIn, 7)[0])
	_, err = u.BulkIn(within(t, 10*time.Millisecond))
	require.ErrorIs(t, err, context.DeadlineExceeded)
}

// A gate may be longer than the driver waits in one go.
func TestUSBTMCWaitsForLongGates(t *testing.T) {
	for name, caps := range map[string]usbtmc.Capabilities{"with a status byte": {USB488: true}, "without": {}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m, b := virtual.NewMachine(), newBox("B")
			b.answer = func(string) { time.AfterFunc(3500*time.Millisecond, func() { b.say("+1.23E+06\n", true) }) }
			u := virtual.NewUSBInstrument(b, 0x1234, 0x5678, "SERIAL7")
			u.Caps = caps
			m.PlugUSB(u, true)
			t.Cleanup(u.Close)
			l := openVia(t, link.Opener{System: m}, link.Config{Address: usbAddress})
			got, err := l.Query(within(t, 20*time.Second), []byte("READ?"))
			require.NoError(t, err)
			require.Equal(t, "+1.23E+06", string(got))
		})
	}
}

func TestUSBTMCIsForOneAlone(t *testing.T) {
	m := virtual.NewMachine()
	u := virtual.NewUSBInstrument(newBox("B"), 0x1234, 0x5678, "SERIAL7")
	t.Cleanup(u.Close)
	m.PlugUSB(u, false)
	o := link.Opener{System: m}
	_, err := o.Open(within(t, 20*time.Second), link.Config{Address: usbAddress})
	require.ErrorIs(t, err, link.ErrDisconnected)
	require.ErrorContains(t, err, "modprobe usbtmc")
	m.UnplugUSB(u)
	m.PlugUSB(u, true)
	openVia(t, o, link.Config{Address: usbAddress})
	_, err = o.Open(within(t, 20*time.Second), link.Config{Address: usbAddress})
	require.ErrorIs(t, err, link.ErrBusy)
}

// An instrument that talks by itself and pauses within a message: the read that
// gave up there must not let the rest be taken for a message.
func TestReadOnTheBusThatEndsWithinAMessageLeavesTheLinkDirty(t *testing.T) {
	for name, open := range map[string]func(t *testing.T, a *box) link.Link{
		"adapter": func(t *testing.T, a *box) link.Link {
			via := serveAdapter(t, virtual.AdapterQuirks{}, map[virtual.BusAddress]virtual.Conversation{at(7): a})
			return openVia(t, link.Opener{}, link.Config{Address: "GPIB0::7::INSTR", Via: via})
		},
		"board": func(t *testing.T, a *box) link.Link {
			bus := virtual.NewBus(map[virtual.BusAddress]virtual.Conversation{at(7): a})
			t.Cleanup(bus.Close)
			m := virtual.NewMachine()
			m.PlugBoard(0, bus)
			return openVia(t, link.Opener{System: m}, link.Config{Address: "GPIB0::7::INSTR"})
		},
	} {
		t.Run(name, func(t *testing.T) {
			a := newBox("A")
			l := open(t, a)
			a.say("+1.23", false)
			_, err := l.Read(within(t, 800*time.Millisecond))
			require.ErrorIs(t, err, link.ErrTimeout)
			time.Sleep(time.Second) // until nothing of that read goes on: nothing shows that
			a.say("E+06\n", true)
			got, err := l.Read(within(t, 20*time.Second))
			require.Error(t, err, "%q", got)
			require.NoError(t, l.Clear(within(t, 20*time.Second)))
			got, err = l.Query(within(t, 20*time.Second), []byte("Q?"))
			require.NoError(t, err)
			require.Equal(t, "A Q", string(got))
		})
	}
}

// A board that another program keeps does not keep the opening beyond its time.
func TestOpeningABoardThatAnotherHasEndsInTime(t *testing.T) {
	bus := virtual.NewBus(map[virtual.BusAddress]virtual.Conversation{at(7): newBox("A")})
	t.Cleanup(bus.Close)
	m := virtual.NewMachine()
	m.PlugBoard(0, bus)
	other, err := m.Open("/dev/gpib0", false)
	require.NoError(t, err)
	require.NoError(t, m.Ioctl(other, kernel.GPIBLock, kernel.Uint32(1), nil))
	opened := make(chan error, 1)
	go func() {
		_, err := link.Opener{System: m}.Open(within(t, 200*time.Millisecond), link.Config{Address: "GPIB0::7::INSTR"})
		opened <- err
	}()
	select {
	case err := <-opened:
		require.ErrorIs(t, err, link.ErrTimeout)
		require.NoError(t, m.Ioctl(other, kernel.GPIBLock, kernel.Uint32(0), nil))
	case <-time.After(20 * time.Second):
		require.NoError(t, m.Ioctl(other, kernel.GPIBLock, kernel.Uint32(0), nil))
		t.Fatal("still opening")
	}
	openVia(t, link.Opener{System: m}, link.Config{Address: "GPIB0::7::INSTR"}) // the board is free again
	require.NoError(t, m.Close(other))
}
