//go:build linux

package main

import (
	"bytes"
	"context"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReplayTellsTheFirstDifferenceAndEndsWithOne(t *testing.T) {
	for _, row := range []struct {
		name, send string
		code       int
		want       string
	}{
		{"as it was", "ID?\n", exitDone, "1 status bytes, triggers and the like can't be played"},
		{"another question", "*IDN?\n", exitOther, `GPIB0::7::INSTR: line 5 of the log: byte 1 differs: the client has sent "*IDN?\n", the log has "ID?\n"`},
	} {
		t.Run(row.name, func(t *testing.T) {
			log := filepath.Join(t.TempDir(), "one.log")
			require.NoError(t, os.WriteFile(log, []byte(oneQuestion), 0o600))
			out := &lines{ready: make(chan struct{})}
			var complaints bytes.Buffer
			code := make(chan int, 1)
			go func() {
				code <- run(context.Background(), []string{"--replay", log, "--time-scale", "10"}, out, &complaints)
			}()
			<-out.ready
			part := strings.Split(out.text(), "::")
			c, err := net.Dial("tcp", net.JoinHostPort(part[1], part[2]))
			require.NoError(t, err)
			_, err = io.WriteString(c, row.send)
			require.NoError(t, err)
			if row.code == exitDone {
				answer := make([]byte, 2)
				_, err = io.ReadFull(c, answer)
				require.NoError(t, err)
				require.Equal(t, "A\n", string(answer))
				require.NoError(t, c.Close())
			}
			require.Equal(t, row.code, <-code, complaints.String())
			require.Contains(t, complaints.String(), row.want)
			_ = c.Close()
		})
	}
}
