package oncrpc_test

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"testing"
	"testing/iotest"

	"bandproof/drivers/link/oncrpc"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.NewReplacer(" ", "", "\n", "", "\t", "").Replace(text))
	require.NoError(t, err)
	return b
}

// file is the structure of RFC 4506 section 7.
type file struct {
	name        string
	kind        int32
	interpreter string
	owner       string
	data        []byte
}

func (f *file) XDR(x *oncrpc.XDR) {
	x.String(&f.name, 255)
	x.Int32(&f.kind)
	if f.kind == 2 {
		x.String(&f.interpreter, 255)
	}
	x.String(&f.owner, 32)
	x.Opaque(&f.data, 65535)
}

// RFC 4506 section 7.1 (from memory): john's file "sillyprog".
func TestXDRExampleOfTheRFC(t *testing.T) {
	want := unhex(t, `00000009 73696c6c 7970726f 67000000 00000002 00000004 6c697370
		00000004 6a6f686e 00000006 28717569 74290000`)
	f := file{"sillyprog", 2, "lisp", "john", []byte("(quit)")}
	require.Equal(t, want, oncrpc.Append(nil, &f))
	var back file
	require.NoError(t, oncrpc.Parse(want, &back))
	require.Equal(t, f, back)
}

// Layout of RFC 5531 section 9, and the numbers of RFC 1833 section 3: an
// AUTH_NONE call of GETPORT for a program over TCP, and its reply.
func TestCallAndReplyLayout(t *testing.T) {
	call := unhex(t, `12345678 00000000 00000002 000186a0 00000002 00000003
		00000000 00000000 00000000 00000000 000607af 00000001 00000006 00000000`)
	m := oncrpc.Mapping{Program: 395183, Version: 1, Protocol: oncrpc.TCP}
	require.Equal(t, call, oncrpc.AppendCall(nil, 0x12345678, oncrpc.PortmapProgram, oncrpc.PortmapVersion, oncrpc.PortmapGetPort, &m))
	c, err := oncrpc.ParseCall(call)
	require.NoError(t, err)
	require.True(t, c.KnownVersion())
	var back oncrpc.Mapping
	require.NoError(t, oncrpc.Parse(c.Args, &back))
	require.Equal(t, m, back)

	tests := []struct {
		name, wire string
		want       oncrpc.Reply
	}{
		{"success", "12345678 00000001 00000000 00000000 00000000 00000000 00000400", oncrpc.Reply{Results: []byte{0, 0, 4, 0}}},
		{"program unavailable", "12345678 00000001 00000000 00000000 00000000 00000001", oncrpc.Reply{Status: oncrpc.ProgramUnavailable}},
		{"program mismatch", "12345678 00000001 00000000 00000000 00000000 00000002 00000002 00000004", oncrpc.Reply{Status: oncrpc.ProgramMismatch, Low: 2, High: 4}},
		{"procedure unavailable", "12345678 00000001 00000000 00000000 00000000 00000003", oncrpc.Reply{Status: oncrpc.ProcedureUnavailable}},
		{"garbage arguments", "12345678 00000001 00000000 00000000 00000000 00000004", oncrpc.Reply{Status: oncrpc.GarbageArguments}},
		{"system error", "12345678 00000001 00000000 00000000 00000000 00000005", oncrpc.Reply{Status: oncrpc.SystemError}},
		{"RPC mismatch", "12345678 00000001 00000001 00000000 00000002 00000002", oncrpc.Reply{Status: oncrpc.RPCMismatch, Low: 2, High: 2}},
		{"authentication", "12345678 00000001 00000001 00000001 00000005", oncrpc.Reply{Status: oncrpc.AuthError, Why: 5}},
		{"verifier", "12345678 00000001 00000000 00000002 00000003 01020300 00000000", oncrpc.Reply{Verifier: oncrpc.Auth{Flavor: 2, Body: []byte{1, 2, 3}}, Results: []byte{}}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			test.want.XID = 0x12345678
			wire := unhex(t, test.wire)
			got, err := oncrpc.ParseReply(wire)
			require.NoError(t, err)
			require.Equal(t, fmt.Sprintf("%+v", test.want), fmt.Sprintf("%+v", got))
			require.Equal(t, wire, oncrpc.Append(nil, &got))
			require.NotContains(t, got.Status.String(), "unknown")
		})
	}
}

func TestMessagesThatAreNone(t *testing.T) {
	tests := []struct {
		name, wire string
		into       oncrpc.Message
		kind       error
	}{
		{"empty reply", "", new(oncrpc.Reply), oncrpc.ErrShort},
		{"call for a reply", "12345678 00000000 00000002", new(oncrpc.Reply), oncrpc.ErrValue},
		{"reply status 2", "12345678 00000001 00000002", new(oncrpc.Reply), oncrpc.ErrValue},
		{"accept status 6", "12345678 00000001 00000000 00000000 00000000 00000006", new(oncrpc.Reply), oncrpc.ErrValue},
		{"reject status 2", "12345678 00000001 00000001 00000002", new(oncrpc.Reply), oncrpc.ErrValue},
		{"verifier of 401 bytes", "12345678 00000001 00000000 00000000 00000191", new(oncrpc.Reply), oncrpc.ErrLong},
		{"bytes behind", "12345678 00000001 00000001 00000001 00000005 00", new(oncrpc.Reply), oncrpc.ErrLong},
		{"reply for a call", "12345678 00000001 00000002", new(oncrpc.Call), oncrpc.ErrValue},
		{"port 65536", "00010000", new(oncrpc.Port), oncrpc.ErrValue},
		{"bool 2", "00000002", new(oncrpc.Done), oncrpc.ErrValue},
		{"list without end", "00000001 00000001 00000001 00000006 0000006f", new(oncrpc.Mappings), oncrpc.ErrShort},
		{"text cut off", "00000005 61626364", new(file), oncrpc.ErrShort},
		{"text of 4 GiB", "ffffffff 61626364", new(file), oncrpc.ErrLong},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			require.ErrorIs(t, oncrpc.Parse(unhex(t, test.wire), test.into), test.kind)
		})
	}
}

// RFC 5531 section 11: a record is one fragment or several; the highest bit of
// a fragment's head marks the last one.
func TestRecords(t *testing.T) {
	var r oncrpc.Records
	wire := unhex(t, "80000003 616263 00000002 6465 00000000 80000001 66 80000000")
	in := iotest.OneByteReader(bytes.NewReader(wire))
	for _, want := range []string{"abc", "def", ""} {
		got, err := r.Next(in, 100)
		require.NoError(t, err)
		require.Equal(t, want, string(got))
	}
	_, err := r.Next(in, 100)
	require.ErrorIs(t, err, io.EOF)

	for name, wire := range map[string]string{"one fragment": "80000005", "the second one": "00000003 616263 80000002"} {
		_, err := new(oncrpc.Records).Next(bytes.NewReader(unhex(t, wire)), 4)
		require.ErrorIs(t, err, oncrpc.ErrLong, name)
	}
	_, err = new(oncrpc.Records).Next(bytes.NewReader(make([]byte, 400)), 4)
	require.ErrorIs(t, err, oncrpc.ErrValue, "fragments without bytes")
}

// A record goes on where a read was given up, wherever that was.
func TestRecordsGoOnAfterAnError(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var wire []byte
		want := rapid.SliceOfN(rapid.SliceOfN(rapid.Byte(), 0, 40), 1, 5).Draw(t, "records")
		for _, w := range want {
			wire = append(wire, oncrpc.Mark(append(make([]byte, oncrpc.MarkSize), w...))...)
		}
		cuts := rapid.SliceOfN(rapid.IntRange(0, 9), 0, 50).Draw(t, "pieces")
		in := &interrupted{rest: wire, cuts: cuts}
		var r oncrpc.Records
		for _, w := range want {
			var got []byte
			err := errAgain
			for errors.Is(err, errAgain) {
				got, err = r.Next(in, 100)
			}
			require.NoError(t, err)
			require.Equal(t, string(w), string(got))
		}
	})
}

var errAgain = errors.New("again")

// interrupted gives pieces of these sizes, and an error after each.
type interrupted struct {
	rest  []byte
	cuts  []int
	again bool
}

func (i *interrupted) Read(p []byte) (int, error) {
	if i.again = !i.again; !i.again {
		return 0, errAgain
	}
	n := min(len(i.rest), len(p))
	if len(i.cuts) > 0 {
		n, i.cuts = min(n, i.cuts[0]), i.cuts[1:]
	}
	if len(i.rest) == 0 {
		return 0, io.EOF
	}
	copy(p, i.rest[:n])
	i.rest = i.rest[n:]
	return n, nil
}

// python is the system's, whose standard library has an XDR encoder.
const python = "/usr/bin/python3"

// Python's xdrlib, an implementation of RFC 4506 by others, makes the same
// bytes of a portmapper's list and of a call.
func TestAgainstPythonsXDR(t *testing.T) {
	if os.Getenv("BANDPROOF_NO_PEERS") == "1" {
		t.Skip("NOT TESTED against independent programs: BANDPROOF_NO_PEERS=1 is set")
	}
	const script = `
import warnings; warnings.simplefilter('ignore')
import xdrlib
p = xdrlib.Packer()
for n in (7, 0, 2, 100000, 2, 4): p.pack_uint(n)
p.pack_int(1); p.pack_opaque(b'\x01\x02\x03\x04\x05')
p.pack_int(0); p.pack_opaque(b'')
p.pack_string(b'sillyprog'); p.pack_int(-5); p.pack_string(b''); p.pack_opaque(bytes(range(256)))
q = xdrlib.Packer()
q.pack_list([(395183,1,6,1024),(100000,2,17,111)], lambda m: [q.pack_uint(n) for n in m])
print(p.get_buffer().hex()); print(q.get_buffer().hex())
`
	out, err := exec.Command(python, "-c", script).Output()
	require.NoError(t, err, "%s with its standard library: apt-get install python3", python)
	lines := strings.Fields(string(out))
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	args := oncrpc.Append(nil, &file{name: "sillyprog", kind: -5, data: all})
	call := oncrpc.Call{XID: 7, RPCVersion: 2, Program: 100000, Version: 2, Procedure: 4, Credential: oncrpc.Auth{Flavor: 1, Body: []byte{1, 2, 3, 4, 5}}, Args: args}
	require.Equal(t, lines[0], hex.EncodeToString(oncrpc.Append(nil, &call)))
	list := oncrpc.Mappings{{395183, 1, 6, 1024}, {100000, 2, 17, 111}}
	require.Equal(t, lines[1], hex.EncodeToString(oncrpc.Append(nil, &list)))
	var back oncrpc.Mappings
	require.NoError(t, oncrpc.Parse(unhex(t, lines[1]), &back))
	require.Equal(t, list, back)
}
