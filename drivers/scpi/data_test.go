package scpi

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseString(t *testing.T) {
	tests := []struct {
		in, want string
		bad      string
	}{
		{`"abc"`, "abc", ""},
		{` 'abc' `, "abc", ""},
		{`""`, "", ""},
		{`"a""b"`, `a"b`, ""},
		{`'it''s'`, "it's", ""},
		{`"it's, so"`, "it's, so", ""},
		{`abc`, "", "does not begin with a quote"},
		{`"abc`, "", "at its end is missing"},
		{`"abc""`, "", "at its end is missing"},
		{`"a" "b"`, "", "comes after it"},
		{``, "", "does not begin with a quote"},
	}
	for _, test := range tests {
		got, err := ParseString([]byte(test.in))
		if got != test.want || !says(err, test.bad) {
			t.Errorf("ParseString(%s) is %q, %v; want %q, error %q", test.in, got, err, test.want, test.bad)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		if got, err := ParseString([]byte(QuoteString(text))); err != nil || got != text {
			t.Fatalf("%q came back as %q, %v", text, got, err)
		}
	})
}

// says tells whether an error says this; "" is no error.
func says(err error, what string) bool {
	if err == nil || what == "" {
		return err == nil && what == ""
	}
	return strings.Contains(err.Error(), what)
}

func TestParseBool(t *testing.T) {
	for in, want := range map[string]string{"1": "true", "0": "false", " ON ": "true", "off": "false", "+1": "true", "1.0E0": "true", "-0": "false",
		"2": "error", "": "error", "TRUE": "error", "NAN": "error", "0.4": "error"} {
		got, err := ParseBool([]byte(in))
		text := fmt.Sprint(got)
		if err != nil {
			text = "error"
		}
		if text != want {
			t.Errorf("ParseBool(%q) is %s, %v; want %s", in, text, err, want)
		}
	}
	if FormatBool(true) != "1" || FormatBool(false) != "0" {
		t.Error("FormatBool is not 1 and 0")
	}
}

func TestDecodeBlockRefuses(t *testing.T) {
	for in, want := range map[string]string{"": "is no block", "#": "is no block", "15HELLO": "is no block", "#H1": "is no block", "#2": "cut off within its length",
		"#21": "cut off within its length", "#2x1a": "is none", "#15HELL": "cut off after 4", "#9999999999x": "cut off after 1"} {
		if _, err := DecodeBlock([]byte(in)); !says(err, want) {
			t.Errorf("DecodeBlock(%q): %v; want an error that says %q", in, err, want)
		}
	}
}

func TestBlocksComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		data := rapid.SliceOf(rapid.Byte()).Draw(t, "data")
		rest := rapid.SliceOf(rapid.Byte()).Draw(t, "rest")
		coded, err := EncodeBlock(data)
		if err != nil {
			t.Fatal(err)
		}
		got, err := DecodeBlock(append(coded, rest...))
		if err != nil || !bytes.Equal(got.Data, data) || !got.Definite || !bytes.Equal(got.Rest, rest) {
			t.Fatalf("%q came back as %+v, %v", data, got, err)
		}
		got, err = DecodeBlock(append(EncodeIndefiniteBlock(data), '\n'))
		if err != nil || !bytes.Equal(got.Data, data) || got.Definite {
			t.Fatalf("indefinite %q came back as %+v, %v", data, got, err)
		}
	})
}

func TestSplitList(t *testing.T) {
	tests := []struct {
		in   string
		want []string
		bad  string
	}{
		{"", nil, ""},
		{"  ", nil, ""},
		{"1", []string{"1"}, ""},
		{"1, 2 ,3\r\n", []string{"1", "2", "3"}, ""},
		{`1,"a,b",'c,"d'`, []string{"1", `"a,b"`, `'c,"d'`}, ""},
		{`"a"",b",2`, []string{`"a"",b"`, "2"}, ""},
		{"#13a,b,2", []string{"#13a,b", "2"}, ""},
		{"1, #13 , ,2", []string{"1", "#13 , ", "2"}, ""},
		{"(@1,2),3", []string{"(@1,2)", "3"}, ""},
		{"#0a,b", []string{"#0a,b"}, ""},
		{"a#13,b", []string{"a#13", "b"}, ""},
		{"1,,2", nil, "item 2 is empty"},
		{"1,", nil, "item 2 is empty"},
		{`1,"a`, nil, "has no end"},
		{"#19a,b", nil, "cut off"},
		{"(1", nil, "not closed"},
		{"1)", nil, "not opened"},
	}
	for _, test := range tests {
		got, err := SplitList([]byte(test.in))
		if strings.Join(got, "|") != strings.Join(test.want, "|") || len(got) != len(test.want) || !says(err, test.bad) {
			t.Errorf("SplitList(%q) is %q, %v; want %q, error %q", test.in, got, err, test.want, test.bad)
		}
	}
}

func TestParseIdentity(t *testing.T) {
	tests := []struct {
		name, in, fields, note string
	}{
		{"four fields", "MAKER (invented),M-1,123,1.0", "MAKER (invented)|M-1|123|1.0", ""},
		{"padded", " A , B ,, 1.0 \r\n", "A|B||1.0", ""},
		{"serial not told", "A,B,0,1", "A|B|0|1", ""},
		{"three fields", "A,B,C", "A|B|C|", "3 of 4 fields"},
		{"five fields", "A,B,C,1.0,OPT 2", "A|B|C|1.0,OPT 2", "more than 4"},
		{"in quotes", `"A,B,C,1"`, "A|B|C|1", "in quotes"},
		{"one quote", `"A,B,C,1`, `"A|B|C|1`, ""},
		{"not ASCII", "A\xff,B\xb5,C,1", `A\xff|B\xb5|C|1`, "escapes"},
		{"garbage", "\xff", `\xff|||`, "1 of 4"},
		{"empty", " \n", "|||", "empty"},
	}
	for _, test := range tests {
		got := ParseIdentity([]byte(test.in))
		fields := strings.Join([]string{got.Maker, got.Model, got.Serial, got.Firmware}, "|")
		if fields != test.fields || (got.Note == "") != (test.note == "") || !strings.Contains(got.Note, test.note) || got.Raw != test.in {
			t.Errorf("%s: ParseIdentity(%q) is %s, note %q, raw %q; want %s, note %q", test.name, test.in, fields, got.Note, got.Raw, test.fields, test.note)
		}
	}
}

func TestParseErrorEntry(t *testing.T) {
	tests := []struct {
		in, text, detail string
		code             int
		bad              string
	}{
		{`0,"No error"`, "No error", "", 0, ""},
		{`+0,"No Error."`, "No Error.", "", 0, ""},
		{`-113,"Undefined header;FREQUENZ"`, "Undefined header", "FREQUENZ", -113, ""},
		{` -222 , "Data out of range; A;B " `, "Data out of range", "A;B", -222, ""},
		{`-410,Query INTERRUPTED`, "Query INTERRUPTED", "", -410, ""},
		{`0,`, "", "", 0, ""},
		{`0`, "", "", 0, ""},
		{`42,'own'`, "own", "", 42, ""},
		{`-350,"Queue overflow`, "Queue overflow", "", -350, ""},
		{`1,"say ""hi"""`, `say "hi"`, "", 1, ""},
		{``, "", "", 0, "no whole number"},
		{`No error`, "", "", 0, "no whole number"},
		{`1.5,"x"`, "", "", 0, "no whole number"},
		{`+-1,"x"`, "", "", 0, "no whole number"},
		{`99999999999,"x"`, "", "", 0, "no whole number"},
		{`40000000`, "", "", 0, "no entry"},
		{`100`, "", "", 0, "no entry"},
		{`40000,"x"`, "", "", 0, "no entry"},
	}
	for _, test := range tests {
		got, err := ParseErrorEntry([]byte(test.in))
		if got.Code != test.code || got.Text != test.text || got.Detail != test.detail || !says(err, test.bad) {
			t.Errorf("ParseErrorEntry(%s) is %d, %q, %q, %v; want %d, %q, %q, error %q", test.in, got.Code, got.Text, got.Detail, err, test.code, test.text, test.detail, test.bad)
		}
		if err == nil && (got.Raw != test.in || got.Empty() != (test.code == 0)) {
			t.Errorf("ParseErrorEntry(%s): raw %q, empty %t", test.in, got.Raw, got.Empty())
		}
	}
	e := ErrorEntry{Code: -113, Text: "Undefined header", Detail: `X"Y`}
	if got := e.String(); got != `-113,"Undefined header;X""Y"` {
		t.Errorf("entry is written %s", got)
	}
}

func FuzzParseReplies(f *testing.F) {
	for _, seed := range []string{`0,"No error"`, "A,B,C,D", `"a""b"`, "#15HELLO,1", "(@1,2)", "ON", "\xff,'"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		if id := ParseIdentity(text); id.Raw != string(text) || printable(id.Maker+id.Model+id.Serial+id.Firmware) != id.Maker+id.Model+id.Serial+id.Firmware {
			t.Fatalf("identity %+v of %q", id, text)
		}
		if s, err := ParseString(text); err == nil {
			if again, err := ParseString([]byte(QuoteString(s))); err != nil || again != s {
				t.Fatalf("string %q of %q came back as %q, %v", s, text, again, err)
			}
		}
		if e, err := ParseErrorEntry(text); err == nil {
			again, err := ParseErrorEntry([]byte(e.String()))
			if err != nil || again.Code != e.Code {
				t.Fatalf("entry %+v of %q came back as %+v, %v", e, text, again, err)
			}
		}
		if b, err := DecodeBlock(text); err == nil && len(b.Data)+len(b.Rest) > len(text) {
			t.Fatalf("block %+v of %q", b, text)
		}
		_, _ = ParseBool(text)
		items, err := SplitList(text)
		if err != nil {
			return
		}
		again, err := SplitList([]byte(strings.Join(items, ",")))
		if err != nil || strings.Join(again, "\x01") != strings.Join(items, "\x01") {
			t.Fatalf("list %q of %q came back as %q, %v", items, text, again, err)
		}
	})
}
