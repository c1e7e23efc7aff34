package usbtmc

import (
	"bytes"
	"encoding/hex"
	"strings"
	"testing"
)

// The bytes are laid out by hand after USBTMC 1.0 tables 1, 3, 4, 9 and USB488
// 1.0 table 2: ID, tag, its inverse, 0, size (least significant byte first),
// attributes, character, 0, 0.
func TestHeadersAreThoseOfTheTables(t *testing.T) {
	for _, row := range []struct {
		name, want string
		got        []byte
	}{
		{"message out, 6 bytes, padded to 20", "01 01 fe 00 06 00 00 00 01 00 00 00 2a 49 44 4e 3f 0a 00 00", AppendOut(nil, 1, []byte("*IDN?\n"), true)},
		{"message out, 4 bytes need no padding", "01 7f 80 00 04 00 00 00 01 00 00 00 2a 52 53 54", AppendOut(nil, 127, []byte("*RST"), true)},
		{"part of a message", "01 ff 00 00 01 00 00 00 00 00 00 00 41 00 00 00", AppendOut(nil, 255, []byte("A"), false)},
		{"request for 1024 bytes", "02 02 fd 00 00 04 00 00 00 00 00 00", Header{ID: DevDepMsgIn, Tag: 2, Size: 1024}.Append(nil)},
		{"request up to LF", "02 03 fc 00 40 00 00 00 02 0a 00 00", Header{ID: DevDepMsgIn, Tag: 3, Size: 64, TermChar: true, Char: '\n'}.Append(nil)},
		{"answer with its end", "02 02 fd 00 03 00 00 00 01 00 00 00 31 32 0a", AppendIn(nil, 2, []byte("12\n"), true, false)},
		{"answer cut at the character", "02 02 fd 00 03 00 00 00 02 00 00 00 31 32 0a", AppendIn(nil, 2, []byte("12\n"), false, true)},
		{"trigger", "80 05 fa 00 00 00 00 00 00 00 00 00", Header{ID: Trigger, Tag: 5}.Append(nil)},
		{"capabilities of everything", "01 00 00 01 07 01 00 00 00 00 00 00 00 01 07 0f 00 00 00 00 00 00 00 00",
			Capabilities{true, true, true, true, true, true, true, true, true, true, true}.Append(nil)},
	} {
		want, err := hex.DecodeString(strings.ReplaceAll(row.want, " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(row.got, want) {
			t.Errorf("%s: % x; want % x", row.name, row.got, want)
		}
	}
}

func TestWhatIsRefused(t *testing.T) {
	for _, row := range []struct {
		name, bytes, want string
	}{
		{"too short", "01 01 fe 00", "a header has 12"},
		{"unknown kind", "03 01 fe 00 00 00 00 00 00 00 00 00", "kind 3"},
		{"tag 0", "01 00 ff 00 00 00 00 00 01 00 00 00", "tag 0"},
		{"tag without its inverse", "01 01 ff 00 00 00 00 00 01 00 00 00", "inverse"},
		{"reserved byte", "01 01 fe 01 00 00 00 00 01 00 00 00", "reserved"},
		{"reserved attribute", "01 01 fe 00 00 00 00 00 04 00 00 00", "reserved"},
		{"character without use", "02 01 fe 00 01 00 00 00 00 0a 00 00", "does not use it"},
		{"size without bytes", "01 01 fe 00 05 00 00 00 01 00 00 00", "states a message of 5"},
		{"size beyond memory", "01 01 fe 00 ff ff ff ff 01 00 00 00", "states a message of 4294967295"},
		{"bytes after a trigger", "80 01 fe 00 00 00 00 00 00 00 00 00 00 00 00 00", "after a header"},
		{"trigger with a size", "80 01 fe 00 01 00 00 00 00 00 00 00", "reserved"},
	} {
		p, err := hex.DecodeString(strings.ReplaceAll(row.bytes, " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		if _, _, err := SplitOut(p); err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%s: %v; want %q", row.name, err, row.want)
		}
	}
	answer := AppendIn(nil, 7, []byte("12\n"), true, false)
	for name, refused := range map[string]error{
		"another request's":   third(SplitIn(answer, 6, 10)),
		"more than asked for": third(SplitIn(answer, 7, 2)),
		"cut":                 third(SplitIn(answer[:14], 7, 10)),
		"a message out":       third(SplitIn(AppendOut(nil, 7, nil, true), 7, 10)),
	} {
		if refused == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, part, err := SplitIn(append(answer, 0), 7, 3); err != nil || string(part) != "12\n" {
		t.Errorf("alignment byte after an answer: %q, %v", part, err)
	}
}

func third(_ Header, _ []byte, err error) error { return err }

func TestTagsGoRoundWithoutZero(t *testing.T) {
	tag, seen := byte(1), map[byte]bool{}
	for range 255 {
		seen[tag] = true
		tag = NextTag(tag)
	}
	if tag != 1 || len(seen) != 255 || seen[0] {
		t.Errorf("after 255 tags: %d, %d different, zero %v", tag, len(seen), seen[0])
	}
}

func TestCapabilitiesThroughTheDriversByte(t *testing.T) {
	for b := range 256 {
		if got := FromDriver(byte(b)).Driver(); got != byte(b)&^8 {
			t.Errorf("%#02x becomes %#02x", b, got)
		}
	}
	if _, err := ParseCapabilities(make([]byte, CapabilitiesSize)); err == nil {
		t.Error("status 0: no error")
	}
	if _, err := ParseCapabilities(nil); err == nil {
		t.Error("nothing: no error")
	}
}

func FuzzSplitOut(f *testing.F) {
	f.Add(AppendOut(nil, 1, []byte("*IDN?\n"), true))
	f.Add(Header{ID: DevDepMsgIn, Tag: 3, Size: 64, TermChar: true, Char: '\n'}.Append(nil))
	f.Add(Header{ID: Trigger, Tag: 5}.Append(nil))
	f.Fuzz(func(t *testing.T, p []byte) {
		h, part, err := SplitOut(p)
		if err != nil {
			return
		}
		again := h.Append(nil)
		if h.ID == DevDepMsgOut {
			again = AppendOut(nil, h.Tag, part, h.End)
			p = append(bytes.Clone(p[:HeaderSize+len(part)]), make([]byte, len(p)-HeaderSize-len(part))...) // padding may be anything
		}
		if !bytes.Equal(again, p) {
			t.Errorf("% x is written back as % x", p, again)
		}
	})
}

func FuzzSplitIn(f *testing.F) {
	f.Add(AppendIn(nil, 2, []byte("12\n"), true, false), byte(2), uint32(10))
	f.Fuzz(func(t *testing.T, p []byte, tag byte, most uint32) {
		h, part, err := SplitIn(p, tag, most)
		if err != nil {
			return
		}
		if again := AppendIn(nil, h.Tag, part, h.End, h.TermChar); !bytes.Equal(again, p[:len(again)]) {
			t.Errorf("% x is written back as % x", p, again)
		}
	})
}

func FuzzCapabilities(f *testing.F) {
	f.Add(Capabilities{USB488: true, Trigger: true}.Append(nil))
	f.Fuzz(func(t *testing.T, p []byte) {
		c, err := ParseCapabilities(p)
		if err != nil {
			return
		}
		if again, err := ParseCapabilities(c.Append(nil)); err != nil || again != c {
			t.Errorf("%+v becomes %+v, %v", c, again, err)
		}
	})
}
