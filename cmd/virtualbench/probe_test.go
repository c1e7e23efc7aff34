//go:build unix

package main

import (
	"bufio"
	"bytes"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Somebody sets instruments over TCP and probes by lines.
func TestProbesAreAnswered(t *testing.T) {
	cmd := exec.Command(os.Args[0], "--tcp", "counter=127.0.0.1:0", "--tcp", "MW=127.0.0.1:0", "--follow", "--probe",
		"--fault", "stage:stage=B amplifier,mode=weak,amount=6 dB")
	cmd.Env = append(os.Environ(), asMain+"=1")
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait() // it was killed
	})
	lines := bufio.NewScanner(out)
	next := func() string {
		if !lines.Scan() {
			_ = cmd.Wait() // nobody writes complaints any more
			t.Fatal(complaints.String())
		}
		return lines.Text()
	}
	said := map[string]string{}
	for _, name := range []string{"counter", "MW"} {
		line := next()
		require.True(t, strings.HasPrefix(line, name+" "), line)
		part := strings.Split(line, "::")
		said[name] = net.JoinHostPort(part[1], part[2])
	}
	require.Equal(t, "ready", next())
	ask := func(name, message, want string) {
		conn, err := net.Dial("tcp", said[name])
		require.NoError(t, err)
		defer func() { _ = conn.Close() }()
		_, err = fmt.Fprintln(conn, message)
		require.NoError(t, err)
		reply, err := bufio.NewReader(conn).ReadString('\n')
		require.NoError(t, err)
		require.Equal(t, want+"\n", reply)
	}
	ask("counter", `FUNC "FREQ 2";*OPC?`, "1")
	ask("MW", "FREQ 400 MHZ;:POW -10 DBM;:OUTP ON;*OPC?", "1")
	_, err = fmt.Fprint(in, "TP8\n\n  TP9 \nTP99\n")
	require.NoError(t, err)
	require.Regexp(t, `^TP8 \(after B amplifier\): 400(\.\d+)? MHz, -6 dB$`, next())
	require.Regexp(t, `^TP9 \(after B prescaler\): 12\.5\d* MHz$`, next())
	require.Contains(t, next(), `no test point is called "TP99"; there are TP1, TP2, `)
}
