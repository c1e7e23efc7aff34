package link

import (
	"bytes"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// split frames a whole stream, given in pieces of these sizes, and returns the
// messages, what is left, and whether it broke.
func split(f framer, stream []byte, sizes func() int) (messages []string, rest string, broke bool) {
	var in []byte
	for {
		found, ok, err := f.scan(in)
		switch {
		case err != nil:
			return messages, "", true
		case ok:
			messages = append(messages, string(in[:found.end]))
			in = in[found.next:]
			f.reset()
		case len(stream) == 0:
			return messages, string(in), false
		default:
			n := min(max(sizes(), 1), len(stream))
			in = append(bytes.Clone(in), stream[:n]...)
			stream = stream[n:]
		}
	}
}

func TestFraming(t *testing.T) {
	tests := []struct {
		name, terminator, in string
		plain                bool
		want                 []string
		rest                 string
	}{
		{"two lines", "\n", "1\n2\n", false, []string{"1", "2"}, ""},
		{"part of a line", "\n", "1\n2", false, []string{"1"}, "2"},
		{"one CR goes, two do not", "\n", "1\r\n2\r\r\n\r\n", false, []string{"1", "2\r", ""}, ""},
		{"CR and LF", "\r\n", "1\n2\r3\r\n\r", false, []string{"1\n2\r3"}, "\r"},
		{"CR", "\r", "1\n\r", false, []string{"1\n"}, ""},
		{"none", "", "1\n2\r\n", false, nil, "1\n2\r\n"},
		{"block", "\n", "#15HE\nLO\nnext\n", false, []string{"#15HE\nLO", "next"}, ""},
		{"block that ends with CR", "\n", "#12\n\r\n", false, []string{"#12\n\r"}, ""},
		{"block, then CR", "\n", "#12\n\r\r\n", false, []string{"#12\n\r"}, ""},
		{"block of nothing", "\n", "#10\n1\n", false, []string{"#10", "1"}, ""},
		{"block after a header and in a list", "\n", ":A #11\n,#11\n;#11\n\n", false, []string{":A #11\n,#11\n;#11\n"}, ""},
		{"block after a block", "\n", "#11\n#11\n\n", false, []string{"#11\n#11\n"}, ""},
		{"no block within a word", "\n", "A#15\n", false, []string{"A#15"}, ""},
		{"no block within a string", "\n", "1,\"a #15\"\n2,'b #15'\n", false, []string{"1,\"a #15\"", "2,'b #15'"}, ""},
		{"doubled quotes", "\n", "\"a\"\" #15\"\n", false, []string{"\"a\"\" #15\""}, ""},
		{"a string is over before a block", "\n", "\"a\",#11\n\n", false, []string{"\"a\",#11\n"}, ""},
		{"an open string ends with the message", "\n", "\"a\n#11\n\n", false, []string{"\"a", "#11\n"}, ""},
		{"an apostrophe opens no string", "\n", "it's,#11\n\n", false, []string{"it's,#11\n"}, ""},
		{"not a block after all", "\n", "#\n#A\n#2\n#2x\n#0\n", false, []string{"#", "#A", "#2", "#2x", "#0"}, ""},
		{"plain text", "\n", "#15\n", true, []string{"#15"}, ""},
		{"unfinished block", "\n", "#15A\nB", false, nil, "#15A\nB"},
	}
	for _, test := range tests {
		for _, size := range []int{1, 2, 3, 1000} {
			f := framer{terminator: test.terminator, plain: test.plain, longest: 100}
			got, rest, broke := split(f, []byte(test.in), func() int { return size })
			if broke || strings.Join(got, "|") != strings.Join(test.want, "|") || rest != test.rest {
				t.Errorf("%s: %q in pieces of %d: got %q, rest %q, broke %t; want %q, rest %q", test.name, test.in, size, got, rest, broke, test.want, test.rest)
			}
		}
	}
}

func TestFramingRefusesWhatIsTooLong(t *testing.T) {
	tests := []struct {
		name, in string
		refused  bool
	}{
		{"just fits", "0123456789\n", false},
		{"one too many", "0123456789x\n", true},
		{"without an end", "0123456789xxxx", true},
		{"block that just fits", "#17\n\n\n\n\n\n\n\n", false},
		{"block too long by its head", "#18x", true},
		{"block of a gigabyte", "#9999999999", true},
	}
	for _, test := range tests {
		for _, size := range []int{1, 1000} {
			_, _, broke := split(framer{terminator: "\n", longest: 10}, []byte(test.in), func() int { return size })
			if broke != test.refused {
				t.Errorf("%s: %q in pieces of %d: refused %t, want %t", test.name, test.in, size, broke, test.refused)
			}
		}
	}
}

// streams gives byte streams that are full of what matters.
func streams() *rapid.Generator[string] {
	return rapid.Map(rapid.SliceOfN(rapid.SampledFrom([]string{
		"\n", "\r", "\r\n", "#", "#1", "#15", "#11", "#202", "0", "1", "9", ",", ";", " ", "\"", "'", "A", "\xff"}), 0, 40),
		func(parts []string) string { return strings.Join(parts, "") })
}

func TestFramingDoesNotDependOnPieces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stream := streams().Draw(t, "stream")
		f := framer{terminator: rapid.SampledFrom([]string{"\n", "\r", "\r\n", ""}).Draw(t, "terminator"), longest: rapid.IntRange(1, 30).Draw(t, "longest")}
		whole, wholeRest, wholeBroke := split(f, []byte(stream), func() int { return len(stream) })
		parts, partsRest, partsBroke := split(f, []byte(stream), func() int { return rapid.IntRange(1, 5).Draw(t, "piece") })
		if strings.Join(whole, "|") != strings.Join(parts, "|") || wholeRest != partsRest || wholeBroke != partsBroke {
			t.Fatalf("%q: whole %q, %q, %t; in pieces %q, %q, %t", stream, whole, wholeRest, wholeBroke, parts, partsRest, partsBroke)
		}
	})
}

func FuzzFraming(f *testing.F) {
	for _, seed := range []string{"1\n", "#15HE\nLO\n", "\"#15\"\n", "#9999999999", "\r\n\r\n"} {
		f.Add([]byte(seed), uint8(0), uint8(1))
	}
	f.Fuzz(func(t *testing.T, stream []byte, terminator, piece uint8) {
		fr := framer{terminator: []string{"\n", "\r", "\r\n", ""}[terminator%4], longest: 64}
		whole, rest, broke := split(fr, stream, func() int { return len(stream) })
		parts, partsRest, partsBroke := split(fr, stream, func() int { return int(piece) })
		if strings.Join(whole, "|") != strings.Join(parts, "|") || rest != partsRest || broke != partsBroke {
			t.Fatalf("%q: whole %q, in pieces of %d %q", stream, whole, piece, parts)
		}
		size := len(rest)
		for _, m := range whole {
			size += len(m)
			if len(m) > 64 {
				t.Fatalf("message of %d bytes, longer than the limit", len(m))
			}
		}
		if size > len(stream) {
			t.Fatalf("%q: messages hold more bytes than the stream", stream)
		}
	})
}
