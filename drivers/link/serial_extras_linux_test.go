package link_test

import (
	"context"
	"errors"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/link"

	"golang.org/x/sys/unix"
)

// expect reads what comes to the far end.
func expect(t *testing.T, far *os.File, want string) {
	t.Helper()
	got := make([]byte, len(want))
	if err := far.SetReadDeadline(time.Now().Add(20 * time.Second)); err != nil {
		t.Fatal(err)
	}
	if n, err := io.ReadFull(far, got); err != nil || string(got) != want {
		t.Errorf("the instrument got %q, %v; want %q", got[:n], err, want)
	}
}

func TestSerialEcho(t *testing.T) {
	tests := []struct {
		name, terminator, echo, reply string
		want                          string
		kind                          error
	}{
		{"with line ends", "LF", "FREQ?\r\n", "+1E6\r\n", "+1E6", nil},
		{"byte by byte", "none", "FREQ?\n", "+1E6", "+1E6", nil},
		{"garbled", "LF", "FREE?\n", "+1E6\n", "", link.ErrProtocol},
		{"none", "LF", "", "+1E6\n", "", link.ErrProtocol},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			far, name, _ := terminal(t)
			k := open(t, link.Config{Address: "ASRL" + name + "::INSTR", Echo: true, ReadTerminator: test.terminator})
			go func() {
				far.Read(make([]byte, 100))
				io.WriteString(far, test.echo+test.reply)
			}()
			ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
			defer cancel()
			got, err := k.Query(ctx, []byte("FREQ?"))
			if string(got) != test.want || !errors.Is(err, test.kind) {
				t.Fatalf("answer %q, %v; want %q, %v", got, err, test.want, test.kind)
			}
			if test.kind != nil && !errors.Is(k.Write(ctx, []byte("X")), link.ErrDirty) {
				t.Error("a link whose echo differed is not dirty")
			}
		})
	}
}

func TestSerialPacesCharactersAndLines(t *testing.T) {
	far, name, _ := terminal(t)
	const each, line = 5 * time.Millisecond, 60 * time.Millisecond
	k := open(t, link.Config{Address: "ASRL" + name + "::INSTR", CharPace: each, LinePace: line})
	begin := time.Now()
	for range 2 {
		if err := k.Write(context.Background(), []byte("ABC")); err != nil {
			t.Fatal(err)
		}
	}
	// Least times can be told on a busy machine too, longest can't.
	if took, least := time.Since(begin), 8*each+line; took < least {
		t.Errorf("two messages of 4 characters took %s; want at least %s", took, least)
	}
	expect(t, far, "ABC\nABC\n")
	slow := open(t, link.Config{Address: "ASRL" + secondTerminal(t) + "::INSTR", CharPace: time.Hour})
	ctx, cancel := context.WithTimeout(context.Background(), 500*time.Millisecond) // ample for one character, far too short for two
	defer cancel()
	err := slow.Write(ctx, []byte("ABC"))
	if !errors.Is(err, link.ErrTimeout) || !strings.Contains(err.Error(), "1 of 4 bytes") {
		t.Errorf("write with an hour between characters: %v; want a time-out that tells how far it came", err)
	}
}

func secondTerminal(t *testing.T) string {
	_, name, _ := terminal(t)
	return name
}

// A pseudo-terminal swallows a break, so what is seen here is that the system
// was asked for one and that Clear went on. How an instrument takes it was not
// tried on hardware.
func TestSerialClearSendsABreak(t *testing.T) {
	far, name, _ := terminal(t)
	k := open(t, link.Config{Address: "ASRL" + name + "::INSTR", BreakClear: true, Quiet: 10 * time.Millisecond})
	begin := time.Now()
	if err := k.Clear(context.Background()); err != nil {
		t.Fatal(err)
	}
	if took := time.Since(begin); took < 250*time.Millisecond {
		t.Errorf("clear took %s; want the 250 ms of the break at least", took)
	}
	if err := k.Write(context.Background(), []byte("A")); err != nil {
		t.Fatal(err)
	}
	expect(t, far, "A\n")
}

// A pseudo-terminal has no modem lines, as many adapters.
func TestSerialWithoutModemLinesSaysSo(t *testing.T) {
	for _, c := range []link.Config{{DTR: "off"}, {RTS: "off"}} {
		_, name, _ := terminal(t)
		c.Address = "ASRL" + name + "::INSTR"
		_, err := link.Opener{}.Open(context.Background(), c)
		if !errors.Is(err, errors.ErrUnsupported) || !errors.Is(err, unix.ENOTTY) || !strings.Contains(err.Error(), "has no such line") {
			t.Errorf("open with %+v: %v; want that there is no such line", c, err)
		}
	}
}

func TestCommonCommandsStandInForLines(t *testing.T) {
	far, name, _ := terminal(t)
	k := open(t, link.Config{Address: "ASRL" + name + "::INSTR", Common: true})
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	if err := k.Trigger(ctx); err != nil {
		t.Fatal(err)
	}
	expect(t, far, "*TRG\n")
	go func() {
		far.Read(make([]byte, 100))
		io.WriteString(far, "+64\n")
		far.Read(make([]byte, 100))
		io.WriteString(far, "256\n")
	}()
	if got, err := k.StatusByte(ctx); got != 64 || err != nil {
		t.Errorf("status byte %d, %v; want 64", got, err)
	}
	if got, err := k.StatusByte(ctx); !errors.Is(err, link.ErrProtocol) {
		t.Errorf("status byte of \"256\": %d, %v; want that it is none", got, err)
	}
	if err := k.Clear(ctx); err != nil {
		t.Fatal(err)
	}
	for what, err := range map[string]error{"remote": k.Remote(ctx), "local": k.Local(ctx)} {
		if !errors.Is(err, errors.ErrUnsupported) {
			t.Errorf("%s: %v; want unsupported", what, err)
		}
	}
	bare := open(t, link.Config{Address: "ASRL" + secondTerminal(t) + "::INSTR"})
	if _, err := bare.StatusByte(ctx); !errors.Is(err, errors.ErrUnsupported) {
		t.Errorf("status byte without common commands: %v; want unsupported", err)
	}
	if err := bare.Trigger(ctx); !errors.Is(err, errors.ErrUnsupported) {
		t.Errorf("trigger without common commands: %v; want unsupported", err)
	}
}
