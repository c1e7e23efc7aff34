package quantity_test

import (
	"encoding/json"
	"math/big"
	"strings"
	"testing"

	"bandproof/procedures/quantity"

	"github.com/cockroachdb/apd/v3"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseAndString(t *testing.T) {
	frequency := func(s string) (string, error) { v, err := quantity.Parse[quantity.Hertz](s); return v.String(), err }
	duration := func(s string) (string, error) { v, err := quantity.Parse[quantity.Second](s); return v.String(), err }
	ratio := func(s string) (string, error) { v, err := quantity.Parse[quantity.One](s); return v.String(), err }
	volt := func(s string) (string, error) { v, err := quantity.Parse[quantity.Volt](s); return v.String(), err }
	ohm := func(s string) (string, error) { v, err := quantity.Parse[quantity.Ohm](s); return v.String(), err }
	celsius := func(s string) (string, error) { v, err := quantity.Parse[quantity.Celsius](s); return v.String(), err }
	level := func(s string) (string, error) { v, err := quantity.ParseLevel(s); return v.String(), err }
	for _, c := range []struct {
		read     func(string) (string, error)
		in, want string
	}{
		{frequency, "225MHz", "225 MHz"},
		{frequency, "12.345 678 MHz", "12.345678 MHz"},
		{frequency, "12.345\u202f678\u202fMHz", "12.345678 MHz"},
		{frequency, "1e6 Hz", "1 MHz"},
		{frequency, "1000 kHz", "1.000 MHz"},
		{frequency, "10.000 MHz", "10.000 MHz"},
		{frequency, "0 Hz", "0 Hz"},
		{frequency, "-11 Hz", "-11 Hz"},
		{frequency, "\u221211 Hz", "-11 Hz"},
		{frequency, "0.37 Hz", "370 mHz"},
		{frequency, "110 GHz", "110 GHz"},
		{duration, "10us", "10 µs"},
		{duration, "10 \u03bcs", "10 µs"},
		{duration, "90 min", "90 min"},
		{duration, "24 h", "1 d"},
		{duration, "0.1 s", "100 ms"},
		{ratio, "5e-10", "5e-10"},
		{ratio, "0.5 ppm", "0.5 ppm"},
		{volt, "25 mV rms", "25 mV"},
		{ohm, "1 MΩ", "1 MΩ"},
		{ohm, "50ohm", "50 Ω"},
		{ohm, "50 \u2126", "50 Ω"},
		{celsius, "23.5 °C", "23.5 °C"},
		{level, "-20 dBm", "-20 dBm"},
		{level, "-20.50dBm", "-20.50 dBm"},
		{level, "25 mV", "25 mV"},
	} {
		got, err := c.read(c.in)
		require.NoError(t, err, c.in)
		require.Equal(t, c.want, got, "reading %q", c.in)
	}
}

func TestParseRefusesWhatHasNoUnitOrAWrongOne(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"no unit", "225", `"225" has no unit; expected a frequency such as "225 MHz" in GHz, MHz, kHz, Hz, mHz, µHz`},
		{"wrong case", "225 mhz", `has unit "mhz"`},
		{"wrong dimension", "1 s", `has unit "s"; expected a frequency`},
		{"empty", " ", "is empty"},
		{"decimal comma", "10,5 MHz", "has a decimal comma; write decimals with a point"},
		{"two points", "1.2.3 MHz", "two decimal points"},
		{"no number", "MHz", "does not begin with a number"},
		{"infinite", "inf Hz", "does not begin with a number"},
		{"huge exponent", "1e999999999 Hz", "out of range"},
		{"many digits", strings.Repeat("9", 100) + " Hz", "more than 60 digits"},
		{"two numbers", "1 MHz 2 MHz", `has unit "MHz 2 MHz"`},
	} {
		_, err := quantity.Parse[quantity.Hertz](c.in)
		require.ErrorIs(t, err, quantity.ErrSyntax, c.name)
		require.ErrorContains(t, err, c.want, c.name)
	}
	_, err := quantity.ParseLevel("10 dB")
	require.ErrorContains(t, err, `expected a level such as "-20 dBm" or "25 mV"`)
	_, err = quantity.ParseLevel("-25 mV")
	require.ErrorContains(t, err, "negative voltage")
	_, err = quantity.Parse[quantity.One]("5e-10 Hz")
	require.ErrorContains(t, err, "or a bare fraction such as 5e-10")
}

func anyDecimal(t *rapid.T) *apd.Decimal {
	n := rapid.Int64().Draw(t, "coefficient")
	e := rapid.Int32Range(-25, 12).Draw(t, "exponent")
	return apd.New(n, e)
}

// What String writes, Parse reads back to an equal value, in every dimension.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDecimal(t)
		roundTrip[quantity.Hertz](t, d)
		roundTrip[quantity.Second](t, d)
		roundTrip[quantity.Volt](t, d)
		roundTrip[quantity.Decibel](t, d)
		roundTrip[quantity.One](t, d)
		roundTrip[quantity.Ohm](t, d)
		roundTrip[quantity.Farad](t, d)
		roundTrip[quantity.Celsius](t, d)
	})
}

func roundTrip[D quantity.Dimension](t *rapid.T, d *apd.Decimal) {
	v := quantity.New[D](d)
	for _, text := range []string{v.String(), v.Grouped()} {
		back, err := quantity.Parse[D](text)
		if err != nil || back.Cmp(v) != 0 {
			t.Fatalf("%s wrote %q, read back %s (%v)", d, text, back, err)
		}
	}
	data, err := json.Marshal(v)
	var back quantity.Value[D]
	if err != nil || json.Unmarshal(data, &back) != nil || back.Cmp(v) != 0 {
		t.Fatalf("JSON of %s is %s", d, data)
	}
}

// Text to decimal to text keeps every digit that an instrument sent.
func TestDigitsAreKept(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		whole := rapid.StringMatching(`[1-9][0-9]{0,11}`).Draw(t, "whole")
		fraction := rapid.StringMatching(`[0-9]{1,15}`).Draw(t, "fraction")
		v, err := quantity.Parse[quantity.Hertz](whole + "." + fraction + " Hz")
		if err != nil || v.Plain() != whole+"."+fraction {
			t.Fatalf("%s.%s became %s (%v)", whole, fraction, v.Plain(), err)
		}
	})
}

func TestGrouping(t *testing.T) {
	for in, want := range map[string]string{
		"33999989": "33 999 989", "1234": "1234", "12345": "12 345", "-0.12345": "−0.123 45", "12.345678": "12.345 678", "1e-9": "1e−9",
	} {
		require.Equal(t, want, strings.ReplaceAll(quantity.Group(in), "\u202f", " "), in)
	}
}

// ISO 80000-1:2009 Annex B rule A (values from memory, arithmetic checked by hand).
func TestRoundingHalfToEven(t *testing.T) {
	for in, want := range map[string]string{
		"12.223": "12.2", "12.251": "12.3", "12.275": "12.3", "12.25": "12.2", "12.35": "12.4", "12.254": "12.3", "-12.25": "-12.2", "-12.35": "-12.4",
	} {
		r, _ := new(big.Rat).SetString(in)
		require.Equal(t, want, quantity.ExactOf(r).Fixed(1), in)
	}
}

// Definition of dBm across 50 Ω: 0 dBm is 0.2236068 V (P = V²/R).
func TestLevels(t *testing.T) {
	r := quantity.Dbm50()
	for dbm, volts := range map[string]float64{
		"-120 dBm": 2.2360679774997896e-07, "-60 dBm": 0.00022360679774997898, "-20 dBm": 0.022360679774997897,
		"0 dBm": 0.22360679774997896, "13 dBm": 0.9988148764833451, "30 dBm": 7.0710678118654755,
	} {
		l := quantity.MustLevel(dbm)
		require.InEpsilon(t, volts, l.Volts(r), 1e-9, dbm)
		require.InDelta(t, l.DBm(r), quantity.VoltLevel(l.Volts(r)).DBm(r), 0.005, dbm)
	}
	require.Equal(t, "-12.4 dBm", quantity.DBmLevel(-12.35000001, 1).String())
	require.Equal(t, "0.0 dBm", quantity.DBmLevel(-0.01, 1).String())
}

func TestExactText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := quantity.ExactOf(big.NewRat(rapid.Int64().Draw(t, "n"), rapid.Int64Range(1, 1e9).Draw(t, "d")))
		var back quantity.Exact
		if err := back.UnmarshalText([]byte(x.String())); err != nil || back.Cmp(x) != 0 {
			t.Fatalf("%s read back as %s (%v)", x, back, err)
		}
	})
	require.Equal(t, "100/3", quantity.ExactOf(big.NewRat(100, 3)).String())
	require.Equal(t, "0.0625", quantity.ExactOf(big.NewRat(1, 16)).String())
	require.Error(t, new(quantity.Exact).UnmarshalText([]byte("1e999999999")))
	require.Error(t, new(quantity.Exact).UnmarshalText([]byte("1/0")))
}

func TestInterval(t *testing.T) {
	hz := quantity.MustParse[quantity.Hertz]
	for _, c := range []struct {
		interval, low, high string
		want                bool
	}{
		{"1 decade", "10 Hz", "100 Hz", true},
		{"1 decade", "10 Hz", "100.000000001 Hz", false},
		{"0.5 octave", "100 MHz", "141.421356 MHz", true},
		{"0.5 octave", "100 MHz", "141.421357 MHz", false},
		{"500 MHz", "1 GHz", "1.5 GHz", true},
		{"500 MHz", "1 GHz", "1500.001 MHz", false},
		{"2 octaves", "1 Hz", "4 Hz", true},
	} {
		i, err := quantity.ParseInterval(c.interval)
		require.NoError(t, err)
		require.Equal(t, c.want, i.Within(hz(c.low), hz(c.high)), "%s from %s to %s", c.interval, c.low, c.high)
	}
	for _, bad := range []string{"", "1", "0 octave", "-1 octave", "1e9 decades", "0 Hz", "1 fortnight"} {
		_, err := quantity.ParseInterval(bad)
		require.ErrorIs(t, err, quantity.ErrSyntax, bad)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"225 MHz", "-1e-9", "5e-10", "1 2 3 µs", "25 mV rms", "\u2212.5e+3dBm", "1e60 Hz", "9e999999999 s"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := quantity.Parse[quantity.Hertz](s); err == nil {
			back, err := quantity.Parse[quantity.Hertz](v.String())
			if err != nil || back.Cmp(v) != 0 {
				t.Fatalf("%q reads as %s, back as %s (%v)", s, v, back, err)
			}
		}
		if v, err := quantity.Parse[quantity.Second](s); err == nil {
			if back, err := quantity.Parse[quantity.Second](v.String()); err != nil || back.Cmp(v) != 0 {
				t.Fatalf("%q reads as %s, back as %s (%v)", s, v, back, err)
			}
		}
		if v, err := quantity.Parse[quantity.One](s); err == nil {
			if back, err := quantity.Parse[quantity.One](v.String()); err != nil || back.Cmp(v) != 0 {
				t.Fatalf("%q reads as %s, back as %s (%v)", s, v, back, err)
			}
		}
		if l, err := quantity.ParseLevel(s); err == nil {
			if back, err := quantity.ParseLevel(l.String()); err != nil || back.String() != l.String() {
				t.Fatalf("%q reads as %s, back as %s (%v)", s, l, back, err)
			}
		}
		if i, err := quantity.ParseInterval(s); err == nil {
			_ = i.Within(quantity.Of[quantity.Hertz](1, 0), quantity.Of[quantity.Hertz](3, 0))
		}
		var x quantity.Exact
		_ = x.UnmarshalText([]byte(s))
	})
}
