//go:build linux

package main

import (
	"context"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/link"

	"github.com/stretchr/testify/require"
)

// throughAdapter has the conversation of script over our own links, and gives
// the replies as script prints them.
func throughAdapter(t *testing.T, places map[string]string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 60*time.Second)
	defer cancel()
	opener := link.Opener{Adapters: &link.Adapters{}}
	links := map[string]link.Link{}
	for _, name := range []string{"counter", "LF"} {
		address, via, ok := strings.Cut(places[name], " via ")
		require.True(t, ok, "%q", places[name])
		l, err := opener.Open(ctx, link.Config{Address: address, Via: via, Common: true})
		require.NoError(t, err)
		defer func() { require.NoError(t, l.Close()) }()
		links[name] = l
	}
	var said strings.Builder
	for _, step := range []struct{ name, message string }{
		{"counter", "*IDN?"}, {"LF", "*IDN?"}, {"LF", "FREQ 34 MHZ;:POW -10 DBM;:OUTP ON"}, {"LF", "*OPC?"}, {"LF", "FREQ?"}, {"LF", "POW?"},
		{"counter", `FUNC "FREQ 1"`}, {"counter", "FREQ:APER 0.1"}, {"counter", "READ?"}, {"counter", "READ?"}, {"counter", "READ?"},
		{"counter", "SYST:ERR?"}, {"LF", "SYST:ERR?"},
	} {
		if !strings.Contains(step.message, "?") {
			require.NoError(t, links[step.name].Write(ctx, []byte(step.message)))
			continue
		}
		answer, err := links[step.name].Query(ctx, []byte(step.message))
		require.NoError(t, err, step.message)
		said.WriteString(string(answer) + "\n")
	}
	return said.String()
}

func TestInstrumentsBehindAnAdapter(t *testing.T) {
	tcp := served(t, "--adapter", "127.0.0.1:0=counter@7,LF@12:3")
	require.Regexp(t, `^GPIB0::7::INSTR via TCPIP0::127\.0\.0\.1::\d+::SOCKET$`, tcp["counter"])
	require.Regexp(t, `^GPIB0::12::3::INSTR via TCPIP0::127\.0\.0\.1::\d+::SOCKET$`, tcp["LF"])
	require.Regexp(t, scriptReplies, throughAdapter(t, tcp))

	place := filepath.Join(t.TempDir(), "adapter")
	pty := served(t, "--adapter", "pty:"+place+"=counter@7,LF@12")
	require.Equal(t, "GPIB0::12::INSTR via ASRL"+place+"::INSTR", pty["LF"])
	require.Regexp(t, scriptReplies, throughAdapter(t, pty))
}

// adapterScript is script for a client that knows nothing of adapters.
const adapterScript = `
import sys, pyvisa
rm = pyvisa.ResourceManager('@py')
r = rm.open_resource(sys.argv[1])
r.read_termination = '\n'; r.write_termination = '\n'; r.timeout = 8000
for c in ['++savecfg 0', '++mode 1', '++auto 0', '++eoi 1', '++eos 2', '++eot_enable 0', '++read_tmo_ms 3000']: r.write(c)
def tell(address, message):
    r.write('++addr %d' % address); r.write(message)
def ask(address, message):
    tell(address, message); r.write('++read eoi'); print(r.read())
counter, source = 7, 12
ask(counter, '*IDN?'); ask(source, '*IDN?')
tell(source, 'FREQ 34 MHZ;:POW -10 DBM;:OUTP ON')
for m in ['*OPC?', 'FREQ?', 'POW?']: ask(source, m)
tell(counter, 'FUNC "FREQ 1"'); tell(counter, 'FREQ:APER 0.1')
for i in range(3): ask(counter, 'READ?')
ask(counter, 'SYST:ERR?'); ask(source, 'SYST:ERR?')
r.write('++spoll'); assert r.read().strip() == '0'
r.write('++ver'); assert 'adapter' in r.read()
r.close()
`

// An independent VISA implementation that speaks the ++ commands by itself.
func TestIndependentClientOfTheAdapter(t *testing.T) {
	needPyVISA(t)
	places := served(t, "--adapter", "127.0.0.1:0=counter@7,LF@12")
	_, via, _ := strings.Cut(places["counter"], " via ")
	ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second)
	defer cancel()
	out, err := exec.CommandContext(ctx, python, "-c", adapterScript, via).CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Regexp(t, scriptReplies, string(out))
}
