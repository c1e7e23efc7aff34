//go:build linux

package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/link"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// loneNet is a network namespace of its own, so that port 111 is free, with a
// process in it that lives until the test ends.
type loneNet struct{ pid int }

// inLoneNet starts a program in a network namespace of its own and returns the
// lines that it prints before "ready".
func inLoneNet(t testing.TB, env string, program ...string) (loneNet, []string) {
	t.Helper()
	needPeer(t, "util-linux iproute2", "unshare", "-n", "ip", "link", "set", "lo", "up")
	cmd := exec.Command("unshare", append([]string{"-n", "sh", "-ec", `ip link set lo up; exec "$0" "$@"`}, program...)...)
	cmd.Env = append(os.Environ(), env)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Signal(os.Interrupt) // it may have ended by itself
		_ = cmd.Wait()
	})
	var lines []string
	for s := bufio.NewScanner(out); s.Scan() && s.Text() != "ready"; {
		lines = append(lines, s.Text())
	}
	return loneNet{cmd.Process.Pid}, lines
}

// run runs a program in the namespace and returns what it prints.
func (n loneNet) run(t testing.TB, program ...string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second)
	defer cancel()
	args := append([]string{"-t", strconv.Itoa(n.pid), "-n"}, program...)
	out, err := exec.CommandContext(ctx, "nsenter", args...).CombinedOutput()
	require.NoError(t, err, "%s\n%s", strings.Join(program, " "), out)
	return string(out)
}

// dial connects from within the namespace. A thread is in one namespace at a
// time, and a connection stays in the one that it was made in.
func (n loneNet) dial(_ context.Context, network, address string) (net.Conn, error) {
	runtime.LockOSThread()
	home, err := os.Open("/proc/thread-self/ns/net")
	if err != nil {
		return nil, err
	}
	defer home.Close()
	there, err := os.Open(fmt.Sprintf("/proc/%d/ns/net", n.pid))
	if err != nil {
		return nil, err
	}
	defer there.Close()
	if err := unix.Setns(int(there.Fd()), unix.CLONE_NEWNET); err != nil {
		return nil, err
	}
	conn, err := net.DialTimeout(network, address, 10*time.Second)
	if back := unix.Setns(int(home.Fd()), unix.CLONE_NEWNET); back != nil {
		return nil, errors.Join(err, back) // the thread stays locked and ends with its goroutine
	}
	runtime.UnlockOSThread()
	return conn, err
}

// BenchmarkVXI11AgainstPyVISA compares round trips over VXI-11 with those of
// PyVISA with its '@py' backend on the same virtual instrument in one run.
func BenchmarkVXI11AgainstPyVISA(b *testing.B) {
	needPyVISA(b)
	n := benchInLoneNet(b)
	const each = 500
	const at = "TCPIP0::127.0.0.1::inst0::INSTR"
	var ours, theirs time.Duration
	rounds := 0
	for b.Loop() {
		k, err := link.Opener{Dial: n.dial}.Open(context.Background(), link.Config{Address: at})
		require.NoError(b, err)
		begin := time.Now()
		for range each {
			_, err := k.Query(context.Background(), []byte("*IDN?"))
			require.NoError(b, err)
		}
		ours += time.Since(begin)
		require.NoError(b, k.Close())
		seconds, err := strconv.ParseFloat(strings.TrimSpace(n.run(b, python, "-c", trips, at, strconv.Itoa(each))), 64)
		require.NoError(b, err)
		theirs += time.Duration(seconds * float64(time.Second))
		rounds += each
	}
	b.ReportMetric(float64(rounds)/ours.Seconds(), "trips/s")
	b.ReportMetric(float64(rounds)/theirs.Seconds(), "pyvisa-trips/s")
	b.ReportMetric(theirs.Seconds()/ours.Seconds(), "of-pyvisa")
	b.ReportMetric(0, "ns/op") // of both together, which means nothing
}

// benchInLoneNet serves three instruments on one VXI-11 host, one of them as
// behind a gateway, with a portmapper on port 111.
func benchInLoneNet(t testing.TB) loneNet {
	n, lines := inLoneNet(t, asMain+"=1", os.Args[0], "--vxi11", "counter=127.0.0.1:4711", "--vxi11", "LF=127.0.0.1:4711",
		"--vxi11", "MW=127.0.0.1:4711,gpib0,5", "--tcp", "MW=127.0.0.1:5025", "--portmapper", "127.0.0.1:111")
	require.ElementsMatch(t, []string{"counter TCPIP0::127.0.0.1,4711::inst0::INSTR", "LF TCPIP0::127.0.0.1,4711::inst1::INSTR",
		"MW TCPIP0::127.0.0.1,4711::gpib0,5::INSTR", "MW TCPIP0::127.0.0.1::5025::SOCKET", "portmapper 127.0.0.1:111"}, lines)
	return n
}

// An independent VISA implementation asks the portmapper, opens several links
// to one host, and gets the same replies as over a socket.
func TestIndependentVISAClientOverVXI11(t *testing.T) {
	needPyVISA(t)
	n := benchInLoneNet(t)
	out := n.run(t, python, "-c", script, "TCPIP0::127.0.0.1::inst0::INSTR", "TCPIP0::127.0.0.1::inst1::INSTR")
	require.Regexp(t, scriptReplies, out)
	tcp := served(t, "--tcp", "counter=127.0.0.1:0", "--tcp", "LF=127.0.0.1:0")
	require.Equal(t, drive(t, tcp["counter"], tcp["LF"]), out)
}

// visaVXI11 uses what a socket has not got: a gateway's device, the status
// byte, device clear, locks, trigger, a time-out and what comes after it.
const visaVXI11 = `
import sys, pyvisa
from pyvisa import constants
rm = pyvisa.ResourceManager('@py')
def open(name):
    r = rm.open_resource(name); r.timeout = 3000; r.read_termination = '\n'; return r
a = open('TCPIP0::127.0.0.1::gpib0,5::INSTR')
print(a.query('*IDN?'))
a.write('*IDN?')
while not a.read_stb() & 16: pass
print('available')
a.clear()
print(a.read_stb() & 16)
a.timeout = 200
try: a.read(); print('read something')
except pyvisa.VisaIOError as e: print(e.error_code == constants.StatusCode.error_timeout)
a.timeout = 3000
print(a.query('FREQ 12 GHZ;:FREQ?'))
b = open('TCPIP0::127.0.0.1::gpib0,5::INSTR')
a.lock_excl()
try: b.write('*CLS'); print('no lock')
except Exception as e: print('locked')
a.unlock()
print(b.query('*OPC?'))
b.assert_trigger()
print(b.query('SYST:ERR?'))
a.close(); b.close()
try: open('TCPIP0::127.0.0.1::inst7::INSTR'); print('opened')
except Exception: print('no device')
`

func TestVISAClientAtTheGateway(t *testing.T) {
	needPyVISA(t)
	n := benchInLoneNet(t)
	out := n.run(t, python, "-c", visaVXI11)
	require.Regexp(t, `^Invented Instruments,Demo Source High,DSH-0011,3\.1
available
0
True
12000000000(\.0+)?
locked
1
(0,"No error"|-211,"Trigger ignored"|-113,"Undefined header")
no device
$`, out)
}

// liblxi speaks VXI-11 to inst0, and raw to a socket.
func TestIndependentLXITools(t *testing.T) {
	needPeer(t, "lxi-tools", "lxi", "--version")
	n := benchInLoneNet(t)
	require.Equal(t, "Invented Instruments,Demo Counter Three,DC3-0042,1.4\n", n.run(t, "lxi", "scpi", "-a", "127.0.0.1", "*IDN?"))
	require.Equal(t, "Invented Instruments,Demo Source High,DSH-0011,3.1\n", n.run(t, "lxi", "scpi", "-a", "127.0.0.1", "-r", "-p", "5025", "*IDN?"))
	require.Contains(t, n.run(t, "lxi", "benchmark", "-a", "127.0.0.1", "-c", "50"), "Result:")
}

// rpcinfo asks our portmapper for its list, and calls the null procedure of
// the core channel over what that says.
func TestIndependentRPCInfo(t *testing.T) {
	needPeer(t, "rpcbind", "sh", "-c", "command -v rpcinfo")
	n := benchInLoneNet(t)
	require.Regexp(t, `395183 +1 +tcp +4711`, n.run(t, "rpcinfo", "-p", "127.0.0.1"))
	require.Contains(t, n.run(t, "rpcinfo", "-n", "4711", "-t", "127.0.0.1", "395183", "1"), "ready and waiting")
	require.Contains(t, n.run(t, "rpcinfo", "-t", "127.0.0.1", "395183", "1"), "ready and waiting")
	require.Contains(t, n.run(t, "rpcinfo", "-u", "127.0.0.1", "100000", "2"), "ready and waiting")
}
