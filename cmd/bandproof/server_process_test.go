//go:build linux

package main

import (
	"testing"
	"time"

	"bandproof/reports/store/storetest"

	"github.com/stretchr/testify/require"
)

// A run whose store lies on a server ends, with RF off, when the server is killed;
// once it is back the run goes on from the last point that it had acknowledged, to
// the same record.
func TestStoreServerKilledDuringARun(t *testing.T) {
	t.Parallel() // it mostly waits
	bandproof, _ := programs(t)
	whole := newKillable(t)
	c, said := whole.run(bandproof)
	_ = c.Run() // the unit fails
	require.Equal(t, exitFailed, c.ProcessState.ExitCode(), said.String())
	want := apartFromTimes(t, whole.record(t))

	server := storetest.NewServer(t)
	k := newKillable(t)
	k.place = server.Place(t)
	c, said = k.run(bandproof)
	require.NoError(t, c.Start())
	require.Eventually(t, func() bool { i := k.interrupted(t); return i != nil && i.Points > 5 }, time.Minute, 20*time.Millisecond)
	server.Kill(t)
	_ = c.Wait()
	require.Equal(t, exitBench, c.ProcessState.ExitCode(), said.String())
	require.Regexp(t, `journal of run [0-9a-f-]+: .*(what it had acknowledged is kept|is the server running)`, said.String())
	require.Contains(t, said.String(), "bandproof resume")

	again, complaint := k.command(bandproof, "resume")
	require.Error(t, again.Run(), "it is still away")
	require.Contains(t, complaint.String(), "is the server running")

	server.Start(t)
	k.rewind(t)
	again, complaint = k.command(bandproof, "resume")
	_ = again.Run() // the unit fails
	require.Equal(t, exitFailed, again.ProcessState.ExitCode(), complaint.String())
	require.Regexp(t, `run resumed with [0-9]+ of [0-9]+ points taken`, complaint.String())
	got := apartFromTimes(t, k.record(t))
	require.Equal(t, verdictLines.FindAllString(want, -1), verdictLines.FindAllString(got, -1))
	require.Empty(t, k.Events())
}
