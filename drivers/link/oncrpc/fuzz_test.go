package oncrpc_test

import (
	"bytes"
	"testing"

	"bandproof/drivers/link/oncrpc"
)

// fuzzMessage: no bytes make a decoder panic, and what was read is written as
// bytes that are read as the same.
func fuzzMessage[A any, P interface {
	*A
	oncrpc.Message
}](f *testing.F, seeds ...P) {
	for _, m := range seeds {
		f.Add(oncrpc.Append(nil, m))
	}
	f.Fuzz(func(t *testing.T, wire []byte) {
		m := P(new(A))
		if oncrpc.Parse(wire, m) != nil {
			return
		}
		once := oncrpc.Append(nil, m)
		again := P(new(A))
		if err := oncrpc.Parse(once, again); err != nil {
			t.Fatalf("%x was read, but not %x, which was made of it: %v", wire, once, err)
		}
		if twice := oncrpc.Append(nil, again); !bytes.Equal(once, twice) {
			t.Fatalf("%x became %x and then %x", wire, once, twice)
		}
	})
}

func FuzzCall(f *testing.F) {
	fuzzMessage(f, &oncrpc.Call{RPCVersion: 2, Program: 1, Args: []byte{1, 2, 3}}, &oncrpc.Call{RPCVersion: 3})
}

func FuzzReply(f *testing.F) {
	fuzzMessage(f, &oncrpc.Reply{Results: []byte{1}}, &oncrpc.Reply{Status: oncrpc.ProgramMismatch, Low: 1, High: 2},
		&oncrpc.Reply{Status: oncrpc.RPCMismatch}, &oncrpc.Reply{Status: oncrpc.AuthError, Why: 1})
}

func FuzzMapping(f *testing.F) {
	fuzzMessage(f, &oncrpc.Mapping{Program: 100000, Version: 2, Protocol: 6})
}
func FuzzMappings(f *testing.F) { fuzzMessage(f, &oncrpc.Mappings{{100000, 2, 6, 111}, {1, 2, 17, 4}}) }
func FuzzPort(f *testing.F)     { p := oncrpc.Port(1024); fuzzMessage(f, &p) }

// FuzzRecords: no stream makes the reader panic or take more than it may.
func FuzzRecords(f *testing.F) {
	f.Add([]byte("\x80\x00\x00\x03abc\x00\x00\x00\x01d\x80\x00\x00\x00"), 10)
	f.Add([]byte("\xff\xff\xff\xff"), 10)
	f.Fuzz(func(t *testing.T, wire []byte, most int) {
		most = min(max(most, 0), 1<<20)
		in := bytes.NewReader(wire)
		var r oncrpc.Records
		total := 0
		for {
			record, err := r.Next(in, most)
			if err != nil {
				return
			}
			if total += len(record) + oncrpc.MarkSize; len(record) > most || total > len(wire) {
				t.Fatalf("record of %d bytes of %d; at most %d", len(record), len(wire), most)
			}
		}
	})
}
