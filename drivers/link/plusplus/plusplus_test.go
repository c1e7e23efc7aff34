package plusplus

import (
	"bytes"
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

func TestMessagesAreEscaped(t *testing.T) {
	for _, row := range []struct{ name, message, want string }{
		{"text", "*IDN?", "*IDN?\n"},
		{"terminator of the instrument", "FREQ?\n", "FREQ?\x1b\n\n"},
		{"a sign is no command", "LEV +10", "LEV \x1b+10\n"},
		{"two signs at the beginning are no command", "++read", "\x1b+\x1b+read\n"},
		// The example of common practice: 54 45 1B 53 2B 0D 54 46.
		{"binary", "TE\x1bS+\rTF", "TE\x1b\x1bS\x1b+\x1b\rTF\n"},
		{"nothing", "", "\n"},
	} {
		if got := AppendMessage(nil, []byte(row.message)); string(got) != row.want {
			t.Errorf("%s: %q; want %q", row.name, got, row.want)
		}
	}
}

func TestLines(t *testing.T) {
	for _, row := range []struct{ name, in, want string }{
		{"command", "++addr 7\n", `[command "addr 7"]`},
		{"ends with both", "++ver\r\n*RST\r\n", `[command "ver" message "*RST"]`},
		{"escaped signs", "\x1b+\x1b+read\n", `[message "++read"]`},
		{"one sign escaped", "+\x1b+read\n", `[message "++read"]`},
		{"signs within", "A++\n", `[message "A++"]`},
		{"escaped end", "A\x1b\nB\x1b\r\n", `[message "A\nB\r"]`},
		{"not ended", "++ver", `[]`},
		{"an escape alone", "\x1b", `[]`},
	} {
		var s Scanner
		var got []string
		for _, c := range []byte(row.in) { // byte by byte: pieces don't matter
			for _, l := range s.Scan([]byte{c}) {
				kind := "message"
				if l.Command {
					kind = "command"
				}
				got = append(got, fmt.Sprintf("%s %q", kind, l.Text))
			}
		}
		if fmt.Sprint(got) != row.want {
			t.Errorf("%s: %v; want %s", row.name, got, row.want)
		}
	}
}

func TestALineThatIsTooLong(t *testing.T) {
	var s Scanner
	s.Scan(bytes.Repeat([]byte("x"), Longest+5))
	lines := s.Scan([]byte("\n++ver\n"))
	if len(lines) != 2 || !lines[0].TooLong || len(lines[0].Text) != Longest || lines[1].TooLong || string(lines[1].Text) != "ver" {
		t.Errorf("%d lines, the first of %d bytes", len(lines), len(lines[0].Text))
	}
}

func TestAddresses(t *testing.T) {
	for _, row := range []struct {
		text               string
		primary, secondary int
		good               bool
	}{
		{"7", 7, -1, true}, {"0", 0, -1, true}, {"30", 30, -1, true}, {" 7\r", 0, -1, false}, {"31", 0, -1, false}, {"-1", 0, -1, false},
		{"7 96", 7, 0, true}, {"7 126", 7, 30, true}, {"7 127", 0, -1, false}, {"7 95", 0, -1, false}, {"7 2", 7, 2, true}, {"7:98", 7, 2, true}, {"7,98", 7, 2, true},
		{"", 0, -1, false}, {"7 1 1", 0, -1, false}, {"x", 0, -1, false},
	} {
		primary, secondary, err := ParseAddress(row.text)
		if primary != row.primary || secondary != row.secondary || (err == nil) != row.good {
			t.Errorf("%q is %d %d, %v; want %d %d, good %v", row.text, primary, secondary, err, row.primary, row.secondary, row.good)
		}
	}
	for text, want := range map[string]bool{"0": true, "80": true, "255": true, " 16\r": true, "256": false, "-1": false, "": false, "0x10": false, "16 7": false} {
		if _, err := ParseStatus(text); (err == nil) != want {
			t.Errorf("status %q: %v", text, err)
		}
	}
}

func TestWhatIsWrittenIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		primary, secondary := rapid.IntRange(0, 30).Draw(t, "primary"), rapid.IntRange(-1, 30).Draw(t, "secondary")
		p, s, err := ParseAddress(FormatAddress(primary, secondary))
		if p != primary || s != secondary || err != nil {
			t.Fatalf("%d %d becomes %d %d, %v", primary, secondary, p, s, err)
		}
	})
}

func FuzzMessage(f *testing.F) {
	for _, m := range []string{"*IDN?\n", "++read eoi", "\x1b+\r\n", "#15A\nB\nC"} {
		f.Add([]byte(m))
	}
	f.Fuzz(func(t *testing.T, message []byte) {
		var s Scanner
		lines := s.Scan(append(AppendMessage(nil, message), "++ver\n"...))
		if len(message) == 0 {
			lines = append([]Line{{}}, lines...)
		}
		if len(lines) != 2 || lines[0].Command || !bytes.Equal(lines[0].Text, message) || !lines[1].Command {
			t.Errorf("%q comes as %+v", message, lines)
		}
	})
}

func FuzzScanner(f *testing.F) {
	f.Add([]byte("++addr 7 96\r\nFREQ\x1b+1\n\x1b"), 3)
	f.Fuzz(func(t *testing.T, stream []byte, cut int) {
		cut = max(0, min(cut, len(stream)))
		var whole, pieces Scanner
		all := whole.Scan(stream)
		cutUp := append(pieces.Scan(stream[:cut]), pieces.Scan(stream[cut:])...)
		if fmt.Sprint(all) != fmt.Sprint(cutUp) {
			t.Errorf("%q cut at %d: %+v and %+v", stream, cut, all, cutUp)
		}
		for _, l := range all {
			if !l.Command {
				continue
			}
			if c, err := ParseCommand(l.Text); err == nil {
				if again, err := ParseCommand([]byte(c.String()[2:])); err != nil || again.String() != c.String() {
					t.Errorf("%q becomes %q, %v", l.Text, again, err)
				}
			}
		}
	})
}

func FuzzAnswers(f *testing.F) {
	f.Add("7 96")
	f.Add("16")
	f.Fuzz(func(t *testing.T, text string) {
		if p, s, err := ParseAddress(text); err == nil {
			if p2, s2, err := ParseAddress(FormatAddress(p, s)); err != nil || p != p2 || s != s2 {
				t.Errorf("%q: %d %d becomes %d %d, %v", text, p, s, p2, s2, err)
			}
		}
		if b, err := ParseStatus(text); err == nil {
			if again, err := ParseStatus(fmt.Sprint(b)); err != nil || again != b {
				t.Errorf("%q: %d becomes %d, %v", text, b, again, err)
			}
		}
	})
}
