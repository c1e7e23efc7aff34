//go:build linux

package faulty_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/drivertest/faulty"
	"bandproof/drivers/link"
	"bandproof/drivers/profile"
	"bandproof/drivers/profiles"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write drivers/link/MATRIX.md anew")

const matrixFile = "../../link/MATRIX.md"

// cell is one column of the matrix: what is tried on each link.
type cell struct {
	name string
	try  func(x *trial) error
}

// trial is one link with the counter of the virtual bench behind it.
type trial struct {
	link    link.Link
	counter drivers.Counter // on that link
	truth   *truth
	line    *faulty.Line
}

var cells = []cell{
	{"identify", func(x *trial) error {
		id, err := x.counter.Identify(ample())
		return errors.Join(err, same(id.Model, "Demo Counter Three"))
	}},
	{"set", func(x *trial) error {
		if err := x.counter.SelectInput(ample(), input); err != nil {
			return err
		}
		got, err := x.counter.SetGate(ample(), gate)
		return errors.Join(err, same(got.Plain(), gate.Plain()), x.holds("SENS:FREQ:APER?", "0.010"), x.holds("SENS:FUNC?", `"FREQ 2"`))
	}},
	{"read", func(x *trial) error {
		since := x.truth.now()
		r, err := x.counter.Read(ample())
		return errors.Join(err, same(r.Text, strings.Join(x.truth.measured(since)[:1], "")), same(r.Text, "1000000000"))
	}},
	{"clear", func(x *trial) error { // an answer that nobody took does not come later
		return errors.Join(x.link.Write(ample(), []byte("*IDN?")), x.link.Clear(ample()), x.asks("SYST:VERS?", "1999.0"))
	}},
	{"status", func(x *trial) error { // 32: the event summary bit, of a header that there is not
		if err := errors.Join(x.link.Write(ample(), []byte("*CLS;*ESE 60;NONE:SUCH")), x.asks("*OPC?", "1")); err != nil {
			return err
		}
		b, err := x.link.StatusByte(ample())
		if err == nil && b&32 == 0 {
			err = fmt.Errorf("status byte %d does not tell of the event", b)
		}
		return errors.Join(err, x.link.Write(ample(), []byte("*CLS;*ESE 0")), x.asks("*OPC?", "1"))
	}},
	{"time-out", func(x *trial) error {
		x.line.Strike(faulty.Fault{Way: faulty.ToDriver, Kind: faulty.Drop, Count: 1 << 30})
		ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
		defer cancel()
		begin := time.Now()
		_, err := x.link.Query(ctx, []byte("*IDN?"))
		took := time.Since(begin)
		if !errors.Is(err, link.ErrTimeout) || took > 300*time.Millisecond+margin {
			return fmt.Errorf("a question without an answer: %v after %s", err, took)
		}
		if _, err := x.link.Query(ample(), []byte("*IDN?")); !errors.Is(err, link.ErrDirty) && !errors.Is(err, link.ErrDisconnected) {
			return fmt.Errorf("afterwards, before a clear: %v", err)
		}
		x.line.Mend()
		return x.recovers()
	}},
	{"cut and recover", func(x *trial) error {
		x.line.Strike(faulty.Fault{Way: faulty.ToDriver, Kind: faulty.Cut, Early: true, Hold: 30 * time.Millisecond})
		err := x.asks("*IDN?", "")
		var known *link.Error
		if !errors.As(err, &known) {
			return fmt.Errorf("a question on a cut link: %v", err)
		}
		return x.recovers()
	}},
}

// ample is a deadline that is over only where something hangs.
func ample() context.Context {
	ctx, cancel := context.WithTimeout(context.Background(), margin)
	context.AfterFunc(ctx, cancel)
	return ctx
}

func same(got, want string) error {
	if got != want {
		return fmt.Errorf("%q where %q is right", got, want)
	}
	return nil
}

// holds compares what the instrument says past the link.
func (x *trial) holds(question, want string) error {
	got, err := x.truth.tell(counterName, question)
	return errors.Join(err, same(got, want))
}

// asks compares an answer over the link.
func (x *trial) asks(question, want string) error {
	got, err := x.link.Query(ample(), []byte(question))
	if err != nil {
		return err
	}
	return same(string(got), want)
}

// recovers clears the link and then the counter, which has to read again.
func (x *trial) recovers() error {
	if err := x.link.Clear(ample()); err != nil {
		return err
	}
	if err := errors.Join(x.asks("SYST:VERS?", "1999.0"), x.counter.Recover(ample())); err != nil {
		return err
	}
	r, err := x.counter.Read(ample())
	return errors.Join(err, same(r.Text, "1000000000"))
}

// tried runs every cell on one link.
func tried(t *testing.T, g rig) (row []string) {
	u, err := newTruth()
	require.NoError(t, err)
	defer func() { require.NoError(t, u.close()) }()
	for _, m := range []string{"POW -10 DBM", "FREQ 1GHZ", "OUTP ON"} {
		_, err := u.tell(sourceName, m)
		require.NoError(t, err)
	}
	_, err = u.tell(sourceName, "*OPC?")
	require.NoError(t, err)
	p, err := profiles.Get("scpi-counter")
	require.NoError(t, err)
	line := faulty.NewLine(faulty.Schedule{})
	c, o, end, err := g.place(u, counterName, line)
	require.NoError(t, err)
	defer func() { require.NoError(t, end()) }()
	c.Common = true
	l, err := o.Open(ample(), p.Prefer(c))
	require.NoError(t, err)
	defer func() { _ = l.Close() }()
	n, err := p.OpenCounter(ample(), profile.Opening{Name: counterName, Link: l})
	require.NoError(t, err)
	x := &trial{link: l, counter: n, truth: u, line: line}
	for _, cell := range cells {
		err := cell.try(x)
		if err != nil {
			t.Errorf("%s, %s: %v", g.name, cell.name, err)
			row = append(row, "FAILS")
			continue
		}
		row = append(row, "works")
	}
	require.NoError(t, n.Close())
	return row
}

// TestMatrix tries what every link has to do on every link, and writes the
// result down.
func TestMatrix(t *testing.T) {
	var out strings.Builder
	head := []string{"link"}
	for _, c := range cells {
		head = append(head, c.name)
	}
	head = append(head, "tried")
	out.WriteString(matrixHead)
	fmt.Fprintf(&out, "| %s |\n|%s\n", strings.Join(head, " | "), strings.Repeat(" --- |", len(head)))
	for _, g := range rigs {
		how := "on this machine"
		if g.seam {
			how = "at the system calls; **not tried on hardware**"
		}
		fmt.Fprintf(&out, "| %s | %s | %s |\n", g.name, strings.Join(tried(t, g), " | "), how)
	}
	out.WriteString(matrixFoot)
	if *update {
		require.NoError(t, os.WriteFile(matrixFile, []byte(out.String()), 0o644))
	}
	want, err := os.ReadFile(matrixFile)
	require.NoError(t, err)
	require.Equal(t, string(want), out.String(), "run go test ./drivers/drivertest/faulty -run Matrix -update, and read the change")
}

const matrixHead = `# What was tried on each link

Written by a test run (` + "`go test ./drivers/drivertest/faulty -run Matrix -update`" + `): the counter of the virtual bench is
at the far end of each link, the profile scpi-counter at the near one.

- *identify*, *set*, *read*: by the profile; the instrument is asked past the link whether it is so.
- *clear*: device clear, or what stands for it, while an answer waits that nobody took; the next answer is the right one.
- *status*: the status byte tells of an error; by serial poll, on serial lines and raw sockets by ` + "`*STB?`" + `.
- *time-out*: no answer comes; the operation ends as timed out, the link takes nothing before a clear, and works after it.
- *cut and recover*: the connection is cut under a question; the error says so, and clear connects anew.

`

const matrixFoot = `
Links in *tried at the system calls* end at a model of the kernel's driver, which takes the requests and bytes of the
kernel's headers. Modem lines of serial ports (RTS/CTS, DTR) are **not tried on hardware**: pseudo-terminals have none.

Random faults on each of these links: ` + "`make soak`" + `.
`
