//go:build unix

package main

import (
	"bufio"
	"bytes"
	"net"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// asMain makes the test binary stand for the program.
const asMain = "VIRTUALBENCH_TEST_AS_MAIN"

func TestMain(m *testing.M) {
	if os.Getenv(asMain) == "1" {
		main()
		return
	}
	os.Exit(m.Run())
}

// A signal ends the process cleanly, also while a client's answer is pending.
func TestSignalsEndTheProcess(t *testing.T) {
	for _, signal := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM} {
		t.Run(signal.String(), func(t *testing.T) {
			cmd := exec.Command(os.Args[0], "--tcp", "counter=127.0.0.1:0")
			cmd.Env = append(os.Environ(), asMain+"=1")
			var complaints bytes.Buffer
			cmd.Stderr = &complaints
			out, err := cmd.StdoutPipe()
			require.NoError(t, err)
			require.NoError(t, cmd.Start())
			t.Cleanup(func() { _ = cmd.Process.Kill() }) // where the test failed
			lines := bufio.NewScanner(out)
			require.True(t, lines.Scan())
			part := strings.Split(lines.Text(), "::")
			require.True(t, lines.Scan())
			require.Equal(t, "ready", lines.Text())

			conn, err := net.Dial("tcp", net.JoinHostPort(part[1], part[2]))
			require.NoError(t, err)
			defer func() { _ = conn.Close() }()
			_, err = conn.Write([]byte("FREQ:APER 100;:READ?\n"))
			require.NoError(t, err)
			time.Sleep(50 * time.Millisecond) // the gate of 100 s is open by now
			require.NoError(t, cmd.Process.Signal(signal))
			ended := make(chan error, 1)
			go func() { ended <- cmd.Wait() }()
			select {
			case err := <-ended:
				require.NoError(t, err, complaints.String())
			case <-time.After(10 * time.Second):
				t.Fatal("the process did not end")
			}
		})
	}
}
