package claim_test

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"bandproof/drivers/claim"

	"github.com/stretchr/testify/require"
)

func at(name, address string) claim.Instrument {
	return claim.Instrument{Name: name, Address: address}
}

var me = claim.Holder{PID: 4711, Since: time.Date(2026, 11, 25, 9, 0, 0, 0, time.Local), What: "run 1"}

// TestMain lets a process of its own hold a claim until it is killed.
func TestMain(m *testing.M) {
	if folder := os.Getenv("HOLD_CLAIM_IN"); folder != "" {
		h := me
		h.PID = os.Getpid()
		if _, err := claim.Take(folder, h, at("G1", "TCPIP0::192.0.2.7::5025::SOCKET")); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		fmt.Println("held")
		select {}
	}
	os.Exit(m.Run())
}

// Two benches that have one instrument in common exclude each other, however
// its address is spelt, and nothing of the second stays taken.
func TestOneInCommonIsEnough(t *testing.T) {
	dir := t.TempDir()
	first, err := claim.Take(dir, me, at("counter", "TCPIP0::192.0.2.7::5025::SOCKET"), at("G1", "GPIB0::7::INSTR"))
	require.NoError(t, err)
	_, err = claim.Take(dir, me, at("unit", "GPIB0::9::INSTR"), at("unit 2", "tcpip::192.0.2.7::5025::socket"))
	require.ErrorIs(t, err, claim.ErrTaken)
	require.ErrorContains(t, err, "unit 2 at tcpip::192.0.2.7::5025::socket is in use by another run: run 1, process 4711, since 2026-11-25 09:00")
	other, err := claim.Take(dir, me, at("unit", "GPIB0::9::INSTR"))
	require.NoError(t, err, "given back when the second could not have all")
	require.NoError(t, other.Release())
	require.NoError(t, first.Release())
	again, err := claim.Take(dir, me, at("G1", "GPIB0::7::INSTR"))
	require.NoError(t, err)
	require.NoError(t, again.Release())
}

// Behind two adapters two instruments may have one address; an adapter serves
// one run.
func TestAdapters(t *testing.T) {
	dir := t.TempDir()
	behind := func(address, via string) claim.Instrument {
		return claim.Instrument{Name: "G", Address: address, Via: via}
	}
	one, err := claim.Take(dir, me, behind("GPIB0::7::INSTR", "TCPIP0::192.0.2.1::1234::SOCKET"), behind("GPIB0::8::INSTR", "TCPIP0::192.0.2.1::1234::SOCKET"))
	require.NoError(t, err)
	two, err := claim.Take(dir, me, behind("GPIB0::7::INSTR", "TCPIP0::192.0.2.2::1234::SOCKET"), at("board", "GPIB0::7::INSTR"))
	require.NoError(t, err)
	_, err = claim.Take(dir, me, behind("GPIB0::9::INSTR", "TCPIP0::192.0.2.1::1234::SOCKET"))
	require.ErrorIs(t, err, claim.ErrTaken)
	require.ErrorContains(t, err, "the adapter of G")
	require.NoError(t, two.Release())
	require.NoError(t, one.Release())
}

// A serial port is one by whatever link it is named.
func TestLinkToASerialPort(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("COM ports have no links")
	}
	dir := t.TempDir()
	port, alias := filepath.Join(dir, "port"), filepath.Join(dir, "alias")
	require.NoError(t, os.WriteFile(port, nil, 0o644))
	require.NoError(t, os.Symlink(port, alias))
	c, err := claim.Take(dir, me, at("G", "ASRL"+port+"::INSTR"))
	require.NoError(t, err)
	_, err = claim.Take(dir, me, at("G", "ASRL"+alias+"::INSTR"))
	require.ErrorIs(t, err, claim.ErrTaken)
	require.NoError(t, c.Release())
}

// A process that was killed keeps nothing.
func TestADeadProcessKeepsNothing(t *testing.T) {
	dir := t.TempDir()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), "HOLD_CLAIM_IN="+dir)
	out, err := child.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, child.Start())
	s := bufio.NewScanner(out)
	require.True(t, s.Scan())
	require.Equal(t, "held", s.Text())
	_, err = claim.Take(dir, me, at("G1", "TCPIP0::192.0.2.7::5025::SOCKET"))
	require.ErrorIs(t, err, claim.ErrTaken)
	require.ErrorContains(t, err, fmt.Sprintf("process %d", child.Process.Pid))
	require.NoError(t, child.Process.Kill())
	_ = child.Wait() // killed
	c, err := claim.Take(dir, me, at("G1", "TCPIP0::192.0.2.7::5025::SOCKET"))
	require.NoError(t, err)
	require.NoError(t, c.Release())
}

func TestFolderThatCannotBe(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o644))
	_, err := claim.Take(file, me, at("G", "GPIB0::7::INSTR"))
	require.ErrorContains(t, err, file)
	require.NotErrorIs(t, err, claim.ErrTaken)
}

// A link in the place of the note who holds a lock is replaced, not followed.
func TestNoteFollowsNoLink(t *testing.T) {
	dir, precious := t.TempDir(), filepath.Join(t.TempDir(), "precious")
	c, err := claim.Take(dir, me, at("G1", "GPIB0::7::INSTR"))
	require.NoError(t, err)
	require.NoError(t, c.Release())
	notes, err := filepath.Glob(filepath.Join(dir, "*.json"))
	require.NoError(t, err)
	require.Len(t, notes, 1)
	require.NoError(t, os.WriteFile(precious, []byte("keep me"), 0o600))
	require.NoError(t, os.Remove(notes[0]))
	require.NoError(t, os.Symlink(precious, notes[0]))
	c, err = claim.Take(dir, me, at("G1", "GPIB0::7::INSTR"))
	require.NoError(t, err)
	defer func() { require.NoError(t, c.Release()) }()
	text, err := os.ReadFile(precious)
	require.NoError(t, err)
	require.Equal(t, "keep me", string(text))
	_, err = claim.Take(dir, me, at("G1", "GPIB0::7::INSTR"))
	require.ErrorContains(t, err, "process 4711")
}
