//go:build linux

package link_test

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/link"

	"github.com/stretchr/testify/require"
)

// inside tells the test below that it runs in the namespace with the server.
const inside = "BANDPROOF_VXI11_PEER"

// TestVXI11AgainstAServerOfOthers: rpcgen's routines on the system's RPC
// library serve an instrument, and rpcbind tells its port; the client runs as
// it is, on port 111, in a network namespace of its own.
func TestVXI11AgainstAServerOfOthers(t *testing.T) {
	if os.Getenv(inside) == "1" {
		useServerOfOthers(t)
		return
	}
	if os.Getenv("BANDPROOF_NO_PEERS") == "1" {
		t.Skip("NOT TESTED against independent programs: BANDPROOF_NO_PEERS=1 is set")
	}
	dir := t.TempDir()
	for _, name := range []string{"vxi11.x", "server.c"} {
		b, err := os.ReadFile(filepath.Join("vxi11/testdata", name))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), b, 0o600))
	}
	ctx, cancel := context.WithTimeout(context.Background(), 90*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, "unshare", "-n", "-m", "sh", "-ec", `
rpcgen -h -o vxi11.h vxi11.x; rpcgen -c -o xdr.c vxi11.x; rpcgen -m -o svc.c vxi11.x
cc -w -I/usr/include/tirpc -o server server.c xdr.c -ltirpc
ip link set lo up
mount -t tmpfs none /run
rpcbind -f & binder=$!
trap 'kill $binder $server 2>/dev/null' EXIT
for i in $(seq 100); do rpcinfo -p 127.0.0.1 >/dev/null 2>&1 && break; sleep 0.1; done
mkfifo ready; ./server >ready & server=$!
read word <ready
"$0" -test.run '^TestVXI11AgainstAServerOfOthers$' -test.v`, os.Args[0])
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), inside+"=1")
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s\nneeds root and: apt-get install rpcbind rpcsvc-proto libtirpc-dev gcc libc6-dev iproute2 (or set BANDPROOF_NO_PEERS=1 to go without)", out)
	require.Contains(t, string(out), "--- PASS: TestVXI11AgainstAServerOfOthers")
}

func useServerOfOthers(t *testing.T) {
	ctx := t.Context()
	k, err := link.Opener{}.Open(ctx, link.Config{Address: "TCPIP0::127.0.0.1::inst0::INSTR", Timeout: 20 * time.Second})
	require.NoError(t, err)
	ask := func(question, want string) {
		t.Helper()
		answer, err := k.Query(ctx, []byte(question))
		require.NoError(t, err)
		require.Equal(t, want, string(answer))
	}
	ask("*IDN?", "Example Works (invented),PEER,1,2")
	ask("LONG?", strings.Repeat("7", 100_000))
	long := strings.Repeat("0123456789", 30_000) // many writes of 1024 bytes
	ask("ECHO? "+long, long)

	require.NoError(t, k.Remote(ctx))
	require.NoError(t, k.Trigger(ctx))
	ask("STATE?", "1,1")
	require.NoError(t, k.Local(ctx))
	require.NoError(t, k.Write(ctx, []byte("STATE?")))
	status, err := k.StatusByte(ctx)
	require.NoError(t, err)
	require.Equal(t, byte(0x90), status)
	require.NoError(t, k.Clear(ctx)) // the answer is dropped
	status, err = k.StatusByte(ctx)
	require.NoError(t, err)
	require.Equal(t, byte(0x80), status)
	ask("STATE?", "0,1")

	short, cancel := context.WithTimeout(ctx, 200*time.Millisecond)
	defer cancel()
	_, err = k.Query(short, []byte("SILENT?"))
	require.ErrorIs(t, err, link.ErrTimeout)
	require.ErrorIs(t, k.Write(ctx, []byte("A")), link.ErrDirty)
	require.NoError(t, k.Clear(ctx))
	ask("ECHO? 1", "1")

	requests, err := k.(link.ServiceRequester).ServiceRequests(ctx)
	require.NoError(t, err)
	require.NoError(t, k.Write(ctx, []byte("ASK")))
	select {
	case <-requests:
	case <-time.After(20 * time.Second):
		t.Fatal("no request for service came")
	}
	ask("ECHO? 2", "2")
	require.NoError(t, k.Close())
	_, open := <-requests
	require.False(t, open)

	_, err = link.Opener{}.Open(ctx, link.Config{Address: "TCPIP0::127.0.0.1::inst9::INSTR"})
	require.ErrorIs(t, err, link.ErrAddress)
	require.ErrorContains(t, err, "VXI-11 error 3")
}
