package hislip_test

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bandproof/drivers/link/hislip"
)

// Headers against bytes that others have published: the vectors of the public
// module gotmc/hislip (internal/vectors/headers.txt), written out there by hand
// from IVI-6.1 revision 2.0.
func TestHeadersAgainstPublishedBytes(t *testing.T) {
	for _, row := range []struct {
		name, wire string
		want       hislip.Header
	}{
		{"Initialize, 1.0, vendor GT, sub-address of 7 bytes", "48530000010047540000000000000007", hislip.Header{Type: hislip.Initialize, Parameter: hislip.InitializeParameter(hislip.Version1, 0x4754), Length: 7}},
		{"InitializeResponse, 1.0, synchronised", "48530100010012340000000000000000", hislip.Header{Type: hislip.InitializeResponse, Parameter: hislip.InitializeParameter(hislip.Version1, 0x1234)}},
		{"InitializeResponse, 2.0, overlap", "48530101020012340000000000000000", hislip.Header{Type: hislip.InitializeResponse, Control: hislip.Overlap, Parameter: hislip.InitializeParameter(0x0200, 0x1234)}},
		{"AsyncInitialize", "48531100000012340000000000000000", hislip.Header{Type: hislip.AsyncInitialize, Parameter: 0x1234}},
		{"DataEnd, first identifier, RMT delivered", "48530701ffffff000000000000000004", hislip.Header{Type: hislip.DataEnd, Control: hislip.RMTDelivered, Parameter: hislip.FirstID, Length: 4}},
		{"Data of no message yet", "48530600ffffffff0000000000000008", hislip.Header{Type: hislip.Data, Parameter: hislip.AnyID, Length: 8}},
		{"Trigger, second identifier", "48530c01ffffff020000000000000000", hislip.Header{Type: hislip.Trigger, Control: hislip.RMTDelivered, Parameter: hislip.FirstID + hislip.NextID}},
		{"Data, longest payload", "4853060000000000ffffffffffffffff", hislip.Header{Type: hislip.Data, Length: 1<<64 - 1}},
		{"AsyncStatusQuery before any message", "48531501fffffefe0000000000000000", hislip.Header{Type: hislip.AsyncStatusQuery, Control: hislip.RMTDelivered, Parameter: hislip.NoneSentID}},
		{"AsyncStatusResponse", "48531650000000000000000000000000", hislip.Header{Type: hislip.AsyncStatusResponse, Control: 0x50}},
		{"AsyncServiceRequest", "48531440000000000000000000000000", hislip.Header{Type: hislip.AsyncServiceRequest, Control: 0x40}},
		{"AsyncDeviceClear", "48531300000000000000000000000000", hislip.Header{Type: hislip.AsyncDeviceClear}},
		{"AsyncDeviceClearAcknowledge", "48531700000000000000000000000000", hislip.Header{Type: hislip.AsyncDeviceClearAcknowledge}},
		{"DeviceClearComplete", "48530800000000000000000000000000", hislip.Header{Type: hislip.DeviceClearComplete}},
		{"DeviceClearAcknowledge", "48530900000000000000000000000000", hislip.Header{Type: hislip.DeviceClearAcknowledge}},
		{"FatalError, header", "48530201000000000000000000000000", hislip.Header{Type: hislip.FatalError, Control: hislip.FatalHeader}},
		{"Error, too large", "48530304000000000000000000000000", hislip.Header{Type: hislip.Error, Control: hislip.ErrorTooLarge}},
		{"AsyncLock, request for 5 s", "4853040100001388000000000000000a", hislip.Header{Type: hislip.AsyncLock, Control: hislip.LockRequest, Parameter: 5000, Length: 10}},
		{"AsyncLock, release", "48530400ffffff020000000000000000", hislip.Header{Type: hislip.AsyncLock, Control: hislip.LockRelease, Parameter: 0xffffff02}},
		{"Interrupted", "48530d00ffffff000000000000000000", hislip.Header{Type: hislip.Interrupted, Parameter: hislip.FirstID}},
		{"AsyncInterrupted", "48530e00000000000000000000000000", hislip.Header{Type: hislip.AsyncInterrupted}},
		{"vendor-specific, first", "48538000000000000000000000000008", hislip.Header{Type: hislip.VendorSpecific, Length: 8}},
		{"vendor-specific, last", "4853ff00000000000000000000000000", hislip.Header{Type: 255}},
	} {
		t.Run(row.name, func(t *testing.T) {
			wire, err := hex.DecodeString(row.wire)
			require.NoError(t, err)
			got, err := hislip.ParseHeader(wire)
			require.NoError(t, err)
			require.Equal(t, row.want, got)
			require.Equal(t, wire, row.want.Append(nil))
		})
	}
}

// The same source's headers that no decoder may take (invalid.txt).
func TestBadHeadersAgainstPublishedBytes(t *testing.T) {
	for name, wire := range map[string]string{
		"all zero": "00000000000000000000000000000000", "lower case": "68730000000000000000000000000000",
		"swapped": "53480000000000000000000000000000", "first byte only": "48580000000000000000000000000000",
		"second byte only": "58530000000000000000000000000000", "another protocol": "474554202f20485454502f312e310d0a",
		"random": "deadbeefdeadbeefdeadbeefdeadbeef", "empty": "", "one byte": "48", "prologue only": "4853",
		"fifteen bytes": "485300000100475400000000000000",
	} {
		t.Run(name, func(t *testing.T) {
			p, err := hex.DecodeString(wire)
			require.NoError(t, err)
			_, err = hislip.ParseHeader(p)
			require.ErrorIs(t, err, hislip.ErrHeader)
		})
	}
}

// Types, names and channels against IVI-6.1 table 4, "Message Type Value
// Definitions" (as transcribed in the design specification of gotmc/hislip,
// section 4.1; the numbers 0 to 25 also in the HiSLIP dissector of Wireshark).
func TestTypesAgainstTable4(t *testing.T) {
	s, a, e := hislip.Sync, hislip.Async, hislip.Either
	table := []struct {
		name    string
		channel hislip.Channel
	}{
		{"Initialize", s}, {"InitializeResponse", s}, {"FatalError", e}, {"Error", e}, {"AsyncLock", a}, {"AsyncLockResponse", a},
		{"Data", s}, {"DataEnd", s}, {"DeviceClearComplete", s}, {"DeviceClearAcknowledge", s}, {"AsyncRemoteLocalControl", a},
		{"AsyncRemoteLocalResponse", a}, {"Trigger", s}, {"Interrupted", s}, {"AsyncInterrupted", a}, {"AsyncMaximumMessageSize", a},
		{"AsyncMaximumMessageSizeResponse", a}, {"AsyncInitialize", a}, {"AsyncInitializeResponse", a}, {"AsyncDeviceClear", a},
		{"AsyncServiceRequest", a}, {"AsyncStatusQuery", a}, {"AsyncStatusResponse", a}, {"AsyncDeviceClearAcknowledge", a},
		{"AsyncLockInfo", a}, {"AsyncLockInfoResponse", a}, {"GetDescriptors", e}, {"GetDescriptorsResponse", e}, {"StartTLS", s},
		{"AsyncStartTLS", a}, {"AsyncStartTLSResponse", a}, {"EndTLS", s}, {"AsyncEndTLS", a}, {"AsyncEndTLSResponse", a},
		{"GetSaslMechanismList", s}, {"GetSaslMechanismListResponse", s}, {"AuthenticationStart", s}, {"AuthenticationExchange", s},
		{"AuthenticationResult", s},
	}
	for i, want := range table {
		require.Equal(t, want.name, hislip.Type(i).String(), i)
		require.Equal(t, want.channel, hislip.Type(i).Channel(), i)
	}
	for i := len(table); i < 256; i++ {
		if i < 128 {
			require.Equal(t, hislip.Neither, hislip.Type(i).Channel(), i)
			require.Contains(t, hislip.Type(i).String(), "reserved")
		} else {
			require.Equal(t, hislip.Either, hislip.Type(i).Channel(), i)
			require.Contains(t, hislip.Type(i).String(), "vendor-specific")
		}
	}
}

// Error codes against IVI-6.1 tables 14 and 16 (same transcription, section 4.3).
func TestFaultsAgainstTables14And16(t *testing.T) {
	fatal := []string{"Unidentified error", "Poorly formed message header", "Attempt to use connection without both channels established",
		"Invalid Initialization Sequence", "Server refused connection due to maximum number of clients exceeded", "Secure connection failed"}
	other := []string{"Unidentified error", "Unrecognized Message Type", "Unrecognized control code", "Unrecognized Vendor Defined Message",
		"Message too large", "Authentication failed"}
	for code := range 256 {
		for _, isFatal := range []bool{true, false} {
			table := other
			if isFatal {
				table = fatal
			}
			f := &hislip.Fault{Fatal: isFatal, Code: uint8(code), Text: "said so"}
			got, ok := hislip.FaultOf(f.Message())
			require.True(t, ok)
			require.Equal(t, f, got)
			want := "reserved"
			if code < len(table) {
				want = table[code]
			} else if code >= 128 {
				want = "defined by the device"
			}
			require.Contains(t, string(bytes.ToLower([]byte(f.Error()))), string(bytes.ToLower([]byte(want))))
			require.Contains(t, f.Error(), `"said so"`)
		}
	}
	_, ok := hislip.FaultOf(hislip.Message{Type: hislip.Data})
	require.False(t, ok)
}

func TestMessageIdentifiersWrap(t *testing.T) {
	id := hislip.FirstID
	for range 128 { // 0xffffff00 to 0xfffffffe
		id += hislip.NextID
	}
	require.Zero(t, id)
	require.Equal(t, uint32(0xfffffefe), hislip.NoneSentID)
}

func TestMaximumSizeIsEightBytes(t *testing.T) {
	require.Equal(t, []byte{0, 0, 0, 0, 0, 0x10, 0, 0}, hislip.Size(1<<20))
	n, err := hislip.SizeOf(hislip.Size(1<<63 + 7))
	require.NoError(t, err)
	require.Equal(t, uint64(1<<63+7), n)
	_, err = hislip.SizeOf([]byte{1, 2, 3})
	require.ErrorContains(t, err, "3 bytes instead of 8")
}

func message(t *rapid.T) hislip.Message {
	m := hislip.Message{
		Type: hislip.Type(rapid.Byte().Draw(t, "type")), Control: rapid.Byte().Draw(t, "control"), Parameter: rapid.Uint32().Draw(t, "parameter"),
		Payload: rapid.SliceOfN(rapid.Byte(), 0, 300).Draw(t, "payload"),
	}
	if len(m.Payload) == 0 {
		m.Payload = nil
	}
	return m
}

// What is written is read back, however the connection cuts it.
func TestReaderGivesWhatWasWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := rapid.SliceOfN(rapid.Custom(message), 0, 5).Draw(t, "messages")
		var wire []byte
		for _, m := range list {
			wire = m.Append(wire)
		}
		var from io.Reader = bytes.NewReader(wire)
		if rapid.Bool().Draw(t, "byte by byte") {
			from = iotest.OneByteReader(from)
		}
		r := hislip.NewReader(from, 300)
		for _, want := range list {
			got, err := r.Next()
			require.NoError(t, err)
			require.Equal(t, want, got)
		}
		_, err := r.Next()
		require.Equal(t, io.EOF, err)
	})
}

// hiccup is a connection with a deadline after every so many bytes.
type hiccup struct {
	from  io.Reader
	every int
	left  int
}

func (h *hiccup) Read(p []byte) (int, error) {
	if h.left == 0 {
		h.left = h.every
		return 0, os.ErrDeadlineExceeded
	}
	n, err := h.from.Read(p[:min(len(p), h.left)])
	h.left -= n
	return n, err
}

// A deadline within a message, or within one that is skipped, loses nothing.
func TestReaderGoesOnAfterADeadline(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := rapid.SliceOfN(rapid.Custom(message), 1, 5).Draw(t, "messages")
		most := rapid.IntRange(0, 300).Draw(t, "most")
		var wire []byte
		for _, m := range list {
			wire = m.Append(wire)
		}
		r := hislip.NewReader(&hiccup{from: bytes.NewReader(wire), every: rapid.IntRange(1, 40).Draw(t, "every")}, uint64(most))
		for _, want := range list {
			got, err := r.Next()
			for errors.Is(err, os.ErrDeadlineExceeded) {
				got, err = r.Next()
			}
			if len(want.Payload) > most {
				require.ErrorIs(t, err, hislip.ErrTooLarge)
				want.Payload = nil
			} else {
				require.NoError(t, err)
			}
			require.Equal(t, want, got)
		}
	})
}

func TestReaderTellsACutMessage(t *testing.T) {
	wire := hislip.Message{Type: hislip.DataEnd, Payload: []byte("1.5E6\n")}.Append(nil)
	for cut := 1; cut < len(wire); cut++ {
		_, err := hislip.NewReader(bytes.NewReader(wire[:cut]), 100).Next()
		require.Equal(t, io.ErrUnexpectedEOF, err, cut)
	}
}

// A length that is claimed and never comes must not be allocated.
func TestReaderAllocatesWhatCame(t *testing.T) {
	wire := hislip.Header{Type: hislip.Data, Length: 1 << 40}.Append(nil)
	wire = append(wire, "short"...)
	used := testing.AllocsPerRun(10, func() {
		_, err := hislip.NewReader(bytes.NewReader(wire), 1<<41).Next()
		if !errors.Is(err, io.ErrUnexpectedEOF) {
			t.Fatal(err)
		}
	})
	require.Less(t, used, 20.0)
}

// Whatever comes: no panic, no more bytes held than came, and every message
// that is read is written back as it was.
func FuzzReader(f *testing.F) {
	f.Add(hislip.Message{Type: hislip.Initialize, Parameter: 0x01004250, Payload: []byte("hislip0")}.Append(nil), uint16(100))
	f.Add(hislip.Header{Type: hislip.Data, Length: 1<<64 - 1}.Append(nil), uint16(9))
	f.Add([]byte("GET / HTTP/1.1\r\n\r\n"), uint16(16))
	f.Fuzz(func(t *testing.T, in []byte, most uint16) {
		r := hislip.NewReader(bytes.NewReader(in), uint64(most))
		rest := in
		for {
			m, err := r.Next()
			if errors.Is(err, hislip.ErrTooLarge) {
				size := binary.BigEndian.Uint64(rest[8:])
				if size <= uint64(most) {
					t.Fatalf("%d bytes are said to be more than %d", size, most)
				}
				rest = rest[min(uint64(len(rest)), hislip.HeaderSize+min(size, 1<<30)):]
				continue
			}
			if err != nil {
				return
			}
			wire := m.Append(nil)
			if !bytes.HasPrefix(rest, wire) {
				t.Fatalf("read %x\nwrite %x", rest, wire)
			}
			rest = rest[len(wire):]
		}
	})
}
