package scpi

import (
	"strings"
	"testing"

	"github.com/cockroachdb/apd/v3"
	"pgregory.net/rapid"
)

func TestParseNumber(t *testing.T) {
	tests := []struct {
		in, value string
		marker    Marker
	}{
		{"0", "0", Finite},
		{"+12", "12", Finite},
		{" -7\r\n", "-7", Finite},
		{"+1.00000000000E+07", "10000000.0000", Finite},
		{"1.E3", "1E+3", Finite},
		{".5E1", "5", Finite},
		{"1.", "1", Finite},
		{"4.0000e-03", "0.0040000", Finite},
		{"9999999.999999999", "9999999.999999999", Finite},
		{"-0.0", "0.0", Finite},
		{"0E999", "0E+999", Finite},
		{"1E-999", "1E-999", Finite},
		{"9.9E37", "0", Infinity},
		{"+9.90000000E+37", "0", Infinity},
		{"99000000000000000000000000000000000000", "0", Infinity},
		{"-9.900E37", "0", MinusInfinity},
		{"9.910000E+37", "0", NotANumber},
		{"-9.91E37", "0", NotANumber},
		{"9.8999E37", "9.8999E+37", Finite},
		{" inf ", "0", Infinity},
		{"NINF", "0", MinusInfinity},
		{"-INF", "0", MinusInfinity},
		{"Nan", "0", NotANumber},
	}
	for _, test := range tests {
		got, err := ParseNumber([]byte(test.in))
		if err != nil || got.Marker != test.marker || got.Text != test.in || got.Decimal().String() != test.value {
			t.Errorf("ParseNumber(%q) is %s, %s, text %q, %v; want %s, %s", test.in, got.Decimal(), got.Marker, got.Text, err, test.value, test.marker)
		}
	}
}

func TestParseNumberRefuses(t *testing.T) {
	tests := []struct{ in, says string }{
		{"", "is no number"},
		{"  ", "is no number"},
		{"+", "is no number"},
		{".", "is no number"},
		{"E5", "is no number"},
		{"abc", "is no number"},
		{"10,5", "a decimal point is a point"},
		{"1.2.3", `".3" is left over`},
		{"1 2", "left over"},
		{"1 E3", "left over"},
		{"1E", "left over"},
		{"1E+", "left over"},
		{"1e3HZ", "left over"},
		{"--1", "is no number"},
		{"1\xff", `\xff`},
		{"#H1F", "is no number"},
		{"1E1000", "beyond ±999"},
		{"1E-99999999999999999999", "beyond ±999"},
		{strings.Repeat("9", 256), "more than 255 digits"},
		{"Infinite", "is no number"},
	}
	for _, test := range tests {
		if got, err := ParseNumber([]byte(test.in)); err == nil || !strings.Contains(err.Error(), test.says) {
			t.Errorf("ParseNumber(%q) is %s, %v; want an error that says %q", test.in, got.Decimal(), err, test.says)
		}
	}
}

func TestDecimalIsTheCallersOwn(t *testing.T) {
	n, err := ParseNumber([]byte("5"))
	if err != nil {
		t.Fatal(err)
	}
	n.Decimal().SetInt64(6)
	if got := n.Decimal().String(); got != "5" {
		t.Errorf("changed from outside to %s", got)
	}
}

func TestNumbersComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := apd.New(rapid.Int64().Draw(t, "digits"), rapid.Int32Range(-400, 400).Draw(t, "exponent"))
		n, err := ParseNumber([]byte(FormatNumber(d)))
		if err != nil {
			t.Fatalf("%s: %v", FormatNumber(d), err)
		}
		if n.Marker == Finite && n.Decimal().Cmp(d) != 0 {
			t.Fatalf("%s came back as %s by %s", d, n.Decimal(), FormatNumber(d))
		}
	})
}

func TestFormatNumber(t *testing.T) {
	for in, want := range map[string]string{"12500000": "1.2500000E+07", "0.001": "1.0E-03", "-1": "-1.0E+00", "0": "0.0E+00", "1E150": "1.0E+150"} {
		d, _, err := apd.NewFromString(in)
		if err != nil {
			t.Fatal(err)
		}
		if got := FormatNumber(d); got != want {
			t.Errorf("FormatNumber(%s) is %s, want %s", in, got, want)
		}
	}
}

func FuzzParseNumber(f *testing.F) {
	for _, seed := range []string{"1.E3", " +.5e-1 ", "9.91E37", "NAN", "1,2", "1E999999999", "\xff"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		n, err := ParseNumber(text)
		if err != nil || n.Marker != Finite {
			return
		}
		if n.Text != string(text) {
			t.Fatalf("text %q is kept as %q", text, n.Text)
		}
		if plain := n.Decimal().Text('f'); len(plain) > 2*(maxDigits+maxExponent) {
			t.Fatalf("%q takes %d bytes written out", text, len(plain))
		}
		again, err := ParseNumber([]byte(n.Decimal().String()))
		if err == nil && again.Decimal().Cmp(n.Decimal()) != 0 {
			t.Fatalf("%q is %s, which reads back as %s", text, n.Decimal(), again.Decimal())
		}
		other, _, err := apd.NewFromString(trim(string(text)))
		if err != nil || other.Cmp(n.Decimal()) != 0 {
			t.Fatalf("%q is %s here and %s, %v to apd", text, n.Decimal(), other, err)
		}
	})
}
