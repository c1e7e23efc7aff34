package drivertest_test

import (
	"testing"

	"bandproof/drivers/drivertest"
	"bandproof/drivers/wirelog"

	"github.com/stretchr/testify/require"
)

func TestAWireLogBecomesAScript(t *testing.T) {
	const at = " TCPIP0::192.0.2.7::5025::SOCKET "
	head := "# bandproof wire log 1\n# program: p\n# begun: 2026-11-25T11:20:33.000000Z\n# instrument: counter" + at[:len(at)-1] + "\n"
	now := "2026-11-25T11:20:33.000000Z" + at
	l, err := wirelog.Parse("x", []byte(head+now+"open -\n"+now+"sent \"*IDN?\\n\"\n"+now+"received \"A,B,1,2\\r\\n\"\n"+
		now+"sent \"READ?\\n\"\n"+now+"silence - \"timed out\"\n"+now+"discarded \"12\\n\" \"link is cleared\"\n"+now+"clear -\n"+now+"close -\n"))
	require.NoError(t, err)
	s, err := drivertest.FromWireLog(l, "counter")
	require.NoError(t, err)
	require.Equal(t, "> \"*IDN?\"\n< \"A,B,1,2\"\n> \"READ?\"\n< ! timeout\nclear\n", s.String())
	_, err = drivertest.FromWireLog(l, "nobody")
	require.ErrorContains(t, err, `nothing of "nobody"`)

	l, err = wirelog.Parse("x", []byte(head+now+"status \"P\"\n"))
	require.NoError(t, err)
	_, err = drivertest.FromWireLog(l, "counter")
	require.ErrorContains(t, err, `can't play "status"`)
}
