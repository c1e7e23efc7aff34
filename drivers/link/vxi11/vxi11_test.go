package vxi11_test

import (
	"encoding/hex"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"bandproof/drivers/link/oncrpc"
	"bandproof/drivers/link/vxi11"

	"github.com/stretchr/testify/require"
)

// samples are one message of each type, by its name in the interface.
var samples = map[string]oncrpc.Message{
	"Device_Error":          &vxi11.Error{Code: vxi11.IOTimeout},
	"Create_LinkParms":      &vxi11.CreateLinkParms{Client: -7, Lock: true, LockTimeout: 3000, Device: "gpib0,5"},
	"Create_LinkResp":       &vxi11.CreateLinkResp{Link: 42, AbortPort: 65535, MaxReceive: 1024},
	"Device_WriteParms":     &vxi11.WriteParms{Link: 42, IOTimeout: 2000, LockTimeout: 1000, Flags: vxi11.WaitLock | vxi11.End, Data: []byte("*RST\n")},
	"Device_WriteResp":      &vxi11.WriteResp{Size: 5},
	"Device_ReadParms":      &vxi11.ReadParms{Link: 42, RequestSize: 1000, IOTimeout: 2000, LockTimeout: 1000, Flags: vxi11.TermCharSet, TermChar: '\n'},
	"Device_ReadResp":       &vxi11.ReadResp{Reason: vxi11.EndIndicator | vxi11.Character, Data: []byte("1\r\n")},
	"Device_ReadStbResp":    &vxi11.ReadSTBResp{Status: 0xd0},
	"Device_GenericParms":   &vxi11.GenericParms{Link: 42, Flags: vxi11.WaitLock, LockTimeout: 1000, IOTimeout: 2000},
	"Device_RemoteFunc":     &vxi11.RemoteFunc{Host: 0x7f000001, Port: 4711, Program: vxi11.Interrupt, Version: vxi11.Version, Family: vxi11.DeviceUDP},
	"Device_EnableSrqParms": &vxi11.EnableSRQParms{Link: 42, Enable: true, Handle: []byte("handle")},
	"Device_LockParms":      &vxi11.LockParms{Link: 42, Flags: vxi11.WaitLock, LockTimeout: 1000},
	"Device_DocmdParms":     &vxi11.DoCmdParms{Link: 42, Flags: vxi11.WaitLock, IOTimeout: 2000, LockTimeout: 1000, Command: 0x020001, NetworkOrder: true, DataSize: 2, Data: []byte{0, 1}},
	"Device_DocmdResp":      &vxi11.DoCmdResp{Error: vxi11.Error{Code: vxi11.OperationNotSupported}, Data: []byte{0, 1}},
	"Device_SrqParms":       &vxi11.SRQParms{Handle: []byte("handle")},
}

// TestAgainstRPCGen: what rpcgen and the system's RPC library make of the
// standard's interface definition are the same bytes, both ways.
func TestAgainstRPCGen(t *testing.T) {
	if os.Getenv("BANDPROOF_NO_PEERS") == "1" {
		t.Skip("NOT TESTED against independent programs: BANDPROOF_NO_PEERS=1 is set")
	}
	dir := t.TempDir()
	for _, name := range []string{"vxi11.x", "encode.c"} {
		b, err := os.ReadFile(filepath.Join("testdata", name))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), b, 0o600))
	}
	cmd := exec.Command("sh", "-ec", `rpcgen -h -o vxi11.h vxi11.x; rpcgen -c -o xdr.c vxi11.x
cc -w -I/usr/include/tirpc -o encode encode.c xdr.c -ltirpc; ./encode`)
	cmd.Dir = dir
	out, err := cmd.Output()
	require.NoError(t, err, "needs rpcgen, cc and libtirpc: apt-get install rpcsvc-proto libtirpc-dev gcc libc6-dev (or set BANDPROOF_NO_PEERS=1)")
	seen := 0
	for line := range strings.Lines(string(out)) {
		name, wire, _ := strings.Cut(strings.TrimSpace(line), " ")
		m := samples[name]
		require.NotNil(t, m, line)
		require.Equal(t, wire, hex.EncodeToString(oncrpc.Append(nil, m)), name)
		seen++
	}
	require.Equal(t, len(samples), seen)
}

// The numbers of programs and procedures are those of the interface definition.
func TestNumbers(t *testing.T) {
	text, err := os.ReadFile("testdata/vxi11.x")
	require.NoError(t, err)
	found := map[string]uint64{}
	for _, m := range regexp.MustCompile(`(\w+)\([^)]*\) = (\d+);`).FindAllSubmatch(text, -1) {
		found[string(m[1])], _ = strconv.ParseUint(string(m[2]), 10, 32)
	}
	for i, m := range regexp.MustCompile(`} = (0x\w+);`).FindAllSubmatch(text, -1) {
		found["program "+strconv.Itoa(i)], _ = strconv.ParseUint(string(m[1]), 0, 32)
	}
	require.Equal(t, map[string]uint64{
		"program 0": vxi11.Async, "program 1": vxi11.Core, "program 2": vxi11.Interrupt,
		"device_abort": vxi11.DeviceAbort, "device_intr_srq": vxi11.InterruptSRQ,
		"create_link": vxi11.CreateLink, "device_write": vxi11.DeviceWrite, "device_read": vxi11.DeviceRead,
		"device_readstb": vxi11.DeviceReadSTB, "device_trigger": vxi11.DeviceTrigger, "device_clear": vxi11.DeviceClear,
		"device_remote": vxi11.DeviceRemote, "device_local": vxi11.DeviceLocal, "device_lock": vxi11.DeviceLock,
		"device_unlock": vxi11.DeviceUnlock, "device_enable_srq": vxi11.DeviceEnableSRQ, "device_docmd": vxi11.DeviceDoCmd,
		"destroy_link": vxi11.DestroyLink, "create_intr_chan": vxi11.CreateInterruptChannel, "destroy_intr_chan": vxi11.DestroyInterruptChannel,
	}, found)
}

func TestCodesSayWhatToCheck(t *testing.T) {
	require.NoError(t, vxi11.NoError.Err())
	for _, code := range []vxi11.Code{1, 3, 4, 5, 6, 8, 9, 11, 12, 15, 17, 21, 23, 29} {
		require.True(t, code.Known(), "%d", code)
		require.ErrorContains(t, code.Err(), "VXI-11 error "+strconv.Itoa(int(code))+", ")
	}
	require.ErrorContains(t, vxi11.Code(99).Err(), "does not know")
	require.False(t, vxi11.Code(99).Known())
}

// FuzzMessages: no bytes make a decoder panic, and what was read is written as
// bytes that are read as the same.
func FuzzMessages(f *testing.F) {
	fresh := []func() oncrpc.Message{
		func() oncrpc.Message { return new(vxi11.Error) }, func() oncrpc.Message { return new(vxi11.Link) },
		func() oncrpc.Message { return new(vxi11.CreateLinkParms) }, func() oncrpc.Message { return new(vxi11.CreateLinkResp) },
		func() oncrpc.Message { return new(vxi11.WriteParms) }, func() oncrpc.Message { return new(vxi11.WriteResp) },
		func() oncrpc.Message { return new(vxi11.ReadParms) }, func() oncrpc.Message { return new(vxi11.ReadResp) },
		func() oncrpc.Message { return new(vxi11.ReadSTBResp) }, func() oncrpc.Message { return new(vxi11.GenericParms) },
		func() oncrpc.Message { return new(vxi11.RemoteFunc) }, func() oncrpc.Message { return new(vxi11.EnableSRQParms) },
		func() oncrpc.Message { return new(vxi11.LockParms) }, func() oncrpc.Message { return new(vxi11.DoCmdParms) },
		func() oncrpc.Message { return new(vxi11.DoCmdResp) }, func() oncrpc.Message { return new(vxi11.SRQParms) },
	}
	for _, m := range samples {
		f.Add(oncrpc.Append(nil, m))
	}
	f.Fuzz(func(t *testing.T, wire []byte) {
		for _, fresh := range fresh {
			m := fresh()
			if oncrpc.Parse(wire, m) != nil {
				continue
			}
			once := oncrpc.Append(nil, m)
			again := fresh()
			if err := oncrpc.Parse(once, again); err != nil {
				t.Fatalf("%T: %x was read, but not %x, which was made of it: %v", m, wire, once, err)
			}
			if twice := oncrpc.Append(nil, again); string(once) != string(twice) {
				t.Fatalf("%T: %x became %x and then %x", m, wire, once, twice)
			}
		}
	})
}
