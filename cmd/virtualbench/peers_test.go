//go:build linux

package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"bandproof/drivers/link"
	"bandproof/drivers/profile"
	"bandproof/drivers/profiles"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// noPeers switches off the tests that need programs of others.
const noPeers = "BANDPROOF_NO_PEERS"

// python is the system's, which sees the packages that apt installs.
const python = "/usr/bin/python3"

// needPeer fails where a program of others is missing, unless told to skip.
func needPeer(t testing.TB, install string, check ...string) {
	t.Helper()
	if os.Getenv(noPeers) == "1" {
		t.Skipf("NOT TESTED against independent programs: %s=1 is set", noPeers)
	}
	if out, err := exec.Command(check[0], check[1:]...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s\ninstall with: apt-get install %s (or set %s=1 to go without)", strings.Join(check, " "), err, out, install, noPeers)
	}
}

func needPyVISA(t testing.TB) {
	needPeer(t, "python3-pyvisa python3-pyvisa-py python3-serial", python, "-c", "import pyvisa, pyvisa_py, serial")
}

func needSocat(t *testing.T) { needPeer(t, "socat", "socat", "-V") }

// served runs virtualbench until the test ends and returns the resource names.
func served(t testing.TB, args ...string) map[string]string {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	out := &lines{ready: make(chan struct{})}
	var complaints bytes.Buffer
	code := make(chan int, 1)
	go func() { code <- run(ctx, args, out, &complaints) }()
	t.Cleanup(func() {
		cancel()
		select {
		case c := <-code:
			require.Equal(t, exitDone, c, "exit code; standard error:\n%s", complaints.String())
		case <-time.After(10 * time.Second):
			t.Error("virtualbench did not end")
		}
	})
	select {
	case <-out.ready:
	case c := <-code:
		code <- c
		t.Fatalf("virtualbench ended with %d:\n%s", c, complaints.String())
	case <-time.After(10 * time.Second):
		t.Fatal("virtualbench did not get ready")
	}
	places := map[string]string{}
	for line := range strings.SplitSeq(out.text(), "\n") {
		if name, resource, ok := strings.Cut(line, " "); ok {
			places[name] = resource
		}
	}
	return places
}

// lines is a standard output that tells when "ready" has been printed.
type lines struct {
	mu    sync.Mutex
	b     bytes.Buffer
	once  sync.Once
	ready chan struct{}
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	n, err := l.b.Write(p)
	if strings.HasSuffix(l.b.String(), "ready\n") {
		l.once.Do(func() { close(l.ready) })
	}
	return n, err
}

func (l *lines) text() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// script drives counter and source by VISA resource names and prints replies.
const script = `
import sys, pyvisa
rm = pyvisa.ResourceManager('@py')
def open(name):
    r = rm.open_resource(name)
    r.read_termination = '\n'; r.write_termination = '\n'; r.timeout = 8000
    return r
counter, source = open(sys.argv[1]), open(sys.argv[2])
print(counter.query('*IDN?')); print(source.query('*IDN?'))
source.write('FREQ 34 MHZ;:POW -10 DBM;:OUTP ON')
print(source.query('*OPC?')); print(source.query('FREQ?')); print(source.query('POW?'))
counter.write('FUNC "FREQ 1"'); counter.write('FREQ:APER 0.1')
for i in range(3): print(counter.query('READ?'))
print(counter.query('SYST:ERR?')); print(source.query('SYST:ERR?'))
counter.close(); source.close()
`

var scriptReplies = regexp.MustCompile(`^Invented Instruments,Demo Counter Three,DC3-0042,1\.4
Invented Instruments,Demo Source Low,DSL-0007,2\.0
1
34000000\.000
-10\.00
(?:33999990|34000000|33999980)
(?:33999990|34000000|33999980)
(?:33999990|34000000|33999980)
0,"No error"
0,"No error"
$`)

func drive(t *testing.T, counter, source string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second)
	defer cancel()
	out, err := exec.CommandContext(ctx, python, "-c", script, counter, source).CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Regexp(t, scriptReplies, string(out))
	return string(out)
}

// The same conversation by an independent VISA implementation over sockets and
// over pseudo-terminals gives the same replies.
func TestIndependentVISAClient(t *testing.T) {
	needPyVISA(t)
	tcp := served(t, "--tcp", "counter=127.0.0.1:0", "--tcp", "LF=127.0.0.1:0")
	require.Regexp(t, `^TCPIP0::127\.0\.0\.1::\d+::SOCKET$`, tcp["counter"])
	overTCP := drive(t, tcp["counter"], tcp["LF"])

	dir := t.TempDir()
	pty := served(t, "--pty", "counter="+filepath.Join(dir, "c"), "--pty", "LF="+filepath.Join(dir, "lf"))
	require.Equal(t, "ASRL"+filepath.Join(dir, "c")+"::INSTR", pty["counter"])
	require.Equal(t, overTCP, drive(t, pty["counter"], pty["LF"]))
}

// Our own drivers, in another conversation with a bench of the same seed, read
// the same values as the independent client.
func TestOurDriversReadWhatPyVISAReads(t *testing.T) {
	needPyVISA(t)
	args := []string{"--tcp", "counter=127.0.0.1:0", "--tcp", "LF=127.0.0.1:0"}
	theirs := served(t, args...)
	lines := strings.Split(drive(t, theirs["counter"], theirs["LF"]), "\n")

	ours := served(t, args...)
	open := func(name string) profile.Opening {
		l, err := link.Opener{}.Open(t.Context(), link.Config{Address: ours[name]})
		require.NoError(t, err)
		return profile.Opening{Name: name, Link: l, Interlock: anything{}}
	}
	sources, err := profiles.Get("scpi-source")
	require.NoError(t, err)
	source, err := sources.OpenSource(t.Context(), open("LF"))
	require.NoError(t, err)
	t.Cleanup(func() { _ = source.Close() })
	counters, err := profiles.Get("scpi-counter")
	require.NoError(t, err)
	counter, err := counters.OpenCounter(t.Context(), open("counter"))
	require.NoError(t, err)
	t.Cleanup(func() { _ = counter.Close() })

	reported, err := source.SetFrequency(t.Context(), quantity.MustParse[quantity.Hertz]("34 MHz"))
	require.NoError(t, err)
	require.Equal(t, lines[3], reported.Plain())
	_, err = source.SetLevel(t.Context(), quantity.MustLevel("-10 dBm"))
	require.NoError(t, err)
	require.NoError(t, source.RFOn(t.Context()))
	require.NoError(t, counter.SelectInput(t.Context(), "A"))
	_, err = counter.SetGate(t.Context(), quantity.MustParse[quantity.Second]("0.1 s"))
	require.NoError(t, err)
	for k := range 3 {
		r, err := counter.Read(t.Context())
		require.NoError(t, err)
		require.Equal(t, lines[5+k], r.Text, "reading %d", k+1)
	}
}

// anything is an interlock for a bench that nothing can be damaged on.
type anything struct{}

func (anything) Permit(string, quantity.Level) error { return nil }

func TestSocatByHand(t *testing.T) {
	needSocat(t)
	places := served(t, "--tcp", "MW=127.0.0.1:0")
	part := strings.Split(places["MW"], "::")
	out, err := exec.Command("testdata/query.sh", part[1], part[2], "*IDN?").CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Equal(t, "Invented Instruments,Demo Source High,DSH-0011,3.1\n", string(out))
}

// nullModem links two pseudo-terminals like a crossed cable.
func nullModem(t *testing.T) (near, far string) {
	t.Helper()
	dir := t.TempDir()
	near, far = filepath.Join(dir, "near"), filepath.Join(dir, "far")
	cmd := exec.Command("socat", "-d", "-d", "pty,raw,echo=0,link="+near, "pty,raw,echo=0,link="+far)
	stderr, err := cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it may have ended by itself
		_ = cmd.Wait()
	})
	ready := make(chan struct{})
	go func() {
		defer func() { _ = stderr.Close() }()
		s := bufio.NewScanner(stderr)
		for s.Scan() {
			if strings.Contains(s.Text(), "starting data transfer loop") {
				close(ready)
				break
			}
		}
		for s.Scan() {
			continue // until socat ends
		}
	}()
	select {
	case <-ready:
	case <-time.After(10 * time.Second):
		t.Fatal("socat did not link the terminals")
	}
	return near, far
}

// The serial library of --serial is another than the program's own.
func TestSerialPortThroughACrossedCable(t *testing.T) {
	needSocat(t)
	needPyVISA(t)
	near1, far1 := nullModem(t)
	near2, far2 := nullModem(t)
	places := served(t, "--serial", "counter="+far1+",19200", "--serial", "LF="+far2)
	require.Equal(t, fmt.Sprintf("ASRL%s::INSTR", far1), places["counter"])
	drive(t, "ASRL"+near1+"::INSTR", "ASRL"+near2+"::INSTR")
}
