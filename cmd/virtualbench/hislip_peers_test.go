//go:build linux

package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bandproof/drivers/link"
)

// tap records what goes over a connection, in text2pcap's form: with I
// the ports are as they are given there, with O exchanged.
type tap struct {
	net.Conn
	mu  sync.Mutex
	log strings.Builder
}

func (c *tap) note(direction string, p []byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(p) > 0 {
		fmt.Fprintf(&c.log, "%s\n000000 % x\n", direction, p)
	}
}

func (c *tap) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	c.note("O", p[:n])
	return n, err
}

func (c *tap) Write(p []byte) (int, error) {
	n, err := c.Conn.Write(p)
	c.note("I", p[:n])
	return n, err
}

// dissected is what tshark makes of a recorded connection, message by message:
// type, payload length, identifier where there is one, and "rmt" where it is set.
func dissected(t *testing.T, c *tap) (sent, came []string) {
	t.Helper()
	dir := t.TempDir()
	text, capture := filepath.Join(dir, "log.txt"), filepath.Join(dir, "log.pcap")
	c.mu.Lock()
	log := c.log.String()
	c.mu.Unlock()
	require.NoError(t, os.WriteFile(text, []byte(log), 0o600))
	out, err := exec.Command("text2pcap", "-q", "-D", "-T", "40001,4880", text, capture).CombinedOutput()
	require.NoError(t, err, "%s", out)
	args := []string{"-r", capture, "-d", "tcp.port==4880,hislip", "-T", "fields", "-E", "separator=/t", "-E", "aggregator=|", "-e", "tcp.srcport"}
	fields := []string{"hislip.prologue", "hislip.messagetype", "hislip.payloadlength", "hislip.msgpara.messageid", "hislip.controlcode.rmt", "_ws.expert.message"}
	for _, f := range fields {
		args = append(args, "-e", f)
	}
	cmd := exec.Command("tshark", args...)
	var complaints strings.Builder
	cmd.Stderr = &complaints
	out, err = cmd.Output()
	require.NoError(t, err, complaints.String())
	for line := range strings.Lines(string(out)) {
		column := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		require.Len(t, column, len(fields)+1, line)
		require.Empty(t, column[6], "the dissector warns of %s", line)
		if column[1] == "" {
			continue // a piece of a message that is told of with its end
		}
		ids, rmts := strings.Split(column[4], "|"), strings.Split(column[5], "|")
		for i, kind := range strings.Split(column[2], "|") {
			m := kind + " " + strings.Split(column[3], "|")[i]
			if len(ids) > i && ids[i] != "" {
				m += " " + ids[i]
			}
			if len(rmts) > i && rmts[i] == "0x01" {
				m += " rmt"
			}
			if column[0] == "4880" {
				came = append(came, m)
			} else {
				sent = append(sent, m)
			}
		}
	}
	return sent, came
}

// The dissector of Wireshark, which others wrote, reads what client and server
// say to each other, has nothing to object to, and sees the messages that were
// meant, each on its channel.
func TestHiSLIPAsWiresharkReadsIt(t *testing.T) {
	needPeer(t, "tshark", "tshark", "--version")
	places := served(t, "--hislip", "counter=127.0.0.1:0", "--follow")
	var taps []*tap
	opener := link.Opener{Dial: func(ctx context.Context, network, address string) (net.Conn, error) {
		c, err := (&net.Dialer{}).DialContext(ctx, network, address)
		if err != nil {
			return nil, err
		}
		taps = append(taps, &tap{Conn: c})
		return taps[len(taps)-1], nil
	}}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	l, err := opener.Open(ctx, link.Config{Address: places["counter"]})
	require.NoError(t, err)
	identity, err := l.Query(ctx, []byte("*IDN?"))
	require.NoError(t, err)
	require.NoError(t, l.Remote(ctx))
	require.NoError(t, l.Clear(ctx))
	require.NoError(t, l.Trigger(ctx))
	_, err = l.Query(ctx, []byte("*OPC?"))
	require.NoError(t, err)
	_, err = l.StatusByte(ctx)
	require.NoError(t, err)
	require.NoError(t, l.Close())

	require.Len(t, taps, 2)
	sent, came := dissected(t, taps[0])
	require.Equal(t, []string{"0x00 7", "0x07 6 0xffffff00", "0x08 0", "0x0c 0 0xffffff00", "0x07 6 0xffffff02"}, sent, "synchronous channel, client")
	require.Equal(t, []string{"0x01 0", fmt.Sprintf("0x07 %d 0xffffff00", len(identity)+1), "0x09 0", "0x07 2 0xffffff02"}, came, "synchronous channel, server")
	sent, came = dissected(t, taps[1])
	require.Equal(t, []string{"0x11 0", "0x0f 8", "0x0a 0 0xffffff00", "0x13 0", "0x15 0 0xffffff02 rmt"}, sent, "asynchronous channel, client")
	require.Equal(t, []string{"0x12 0", "0x10 8", "0x0b 0", "0x17 0", "0x16 0"}, came, "asynchronous channel, server")
}
