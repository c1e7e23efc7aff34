package quantity_test

import (
	"strings"
	"testing"

	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseEntry(t *testing.T) {
	for _, c := range []struct{ name, text, bare, want string }{
		{"unit and groups", "12.345 678 MHz", "", "12345678"},
		{"thin spaces, as the program prints", "12.345\u202f678\u202fMHz", "", "12345678"},
		{"thin space U+2009 and no-break space", "12.345\u2009678\u00a0MHz", "", "12345678"},
		{"digits alone, display in hertz", "12345678", "Hz", "12345678"},
		{"digits alone, display in megahertz", "12.345678", "MHz", "12345678"},
		{"a unit typed counts before that of the display", "12345.678 kHz", "MHz", "12345678"},
		{"comma groups", "12,345,678", "Hz", "12345678"},
		{"comma groups and unit", "12,345,678 Hz", "", "12345678"},
		{"comma groups and a point", "12,345.678 kHz", "", "12345678"},
		{"comma groups, point, blanks after it", "12,345.678 90 kHz", "", "12345678.90"},
		{"zeros at the end are kept", "10.000 000 0 MHz", "", "10000000.0"},
		{"exponent", "12.345678E+06", "Hz", "12345678"},
		{"exponent and unit", "1.5e3kHz", "", "1500000"},
		{"unit in other case", "225 khz", "", "225000"},
		{"all capitals", "225.000 1 MHZ", "", "225000100"},
		{"capital M, small rest", "225 Mhz", "", "225000000"},
		{"small g", "1.2 ghz", "", "1200000000"},
		{"millihertz in full is what it says", "225 mHz", "MHz", "0.225"},
		{"blanks around", "  9.5 MHz\t", "", "9500000"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := quantity.ParseEntry[quantity.Hertz](c.text, c.bare)
			require.NoError(t, err)
			require.Equal(t, c.want, got.Plain(), "%q", c.text)
		})
	}
}

func TestParseEntryRefuses(t *testing.T) {
	for _, c := range []struct{ name, text, bare, want string }{
		{"decimal comma", "12,345678 MHz", "MHz", "decimal comma"},
		{"one group: may be either", "12,345 MHz", "", "decimal comma"},
		{"one group in hertz", "12,345", "Hz", "decimal comma"},
		{"point groups and a decimal comma", "12.345,678 kHz", "", "groups of three"},
		{"groups of two", "12,34,56", "Hz", "groups of three"},
		{"comma after a group of four", "1234,567,890", "Hz", "groups of three"},
		{"two points", "12.345.678", "Hz", "two decimal points"},
		{"no unit, display unknown", "12345678", "", "has no unit"},
		{"small m", "225 mhz", "", "MHz or mHz"},
		{"not a unit", "225 MHs", "MHz", `unit "MHs"`},
		{"another dimension", "225 s", "", `unit "s"`},
		{"words", "about ten", "MHz", "does not begin with a number"},
		{"letter O for zero", "1O.0 MHz", "MHz", "unit"},
		{"empty", "", "MHz", "is empty"},
		{"beyond all reason", "1e99 MHz", "", "out of range"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := quantity.ParseEntry[quantity.Hertz](c.text, c.bare)
			require.ErrorIs(t, err, quantity.ErrSyntax, "%q gives %s", c.text, got)
			require.ErrorContains(t, err, c.want)
		})
	}
}

// However a display groups its digits and whatever its unit, the value and its
// last digit come through.
func TestParseEntryKeepsEveryDigit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := quantity.Of[quantity.Hertz](rapid.Int64Range(0, 1e14).Draw(t, "n"), int32(rapid.IntRange(-4, 0).Draw(t, "places")))
		unit := rapid.SampledFrom([]string{"GHz", "MHz", "kHz", "Hz"}).Draw(t, "unit")
		gap := rapid.SampledFrom([]string{"", " ", "\u2009", "\u202f", "\u00a0"}).Draw(t, "gap")
		number := strings.ReplaceAll(quantity.Group(v.In(unit)), "\u202f", gap)
		bare := rapid.Bool().Draw(t, "bare")
		typed := number + gap + unit
		if bare {
			typed = number
		}
		got, err := quantity.ParseEntry[quantity.Hertz](typed, unit)
		if err != nil || got.Plain() != v.Plain() {
			t.Fatalf("%q: got %s, %v; want %s", typed, got.Plain(), err, v.Plain())
		}
	})
}

// A decimal comma is never taken for anything: wherever one comma stands in a
// number, the entry is refused.
func TestParseEntryNeverGuessesAComma(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		digits := rapid.StringMatching(`[0-9]{2,12}`).Draw(t, "digits")
		at := rapid.IntRange(1, len(digits)-1).Draw(t, "at")
		text := digits[:at] + "," + digits[at:] + rapid.SampledFrom([]string{"", " MHz", "kHz"}).Draw(t, "unit")
		if got, err := quantity.ParseEntry[quantity.Hertz](text, "Hz"); err == nil {
			t.Fatalf("%q was taken as %s", text, got)
		}
	})
}

func FuzzParseEntry(f *testing.F) {
	for _, s := range []string{"12.345 678 MHz", "12,345,678", "12,345.6 kHz", "1e3", "-", "none", "225 mhz", "12.345,6", "\u221212 Hz"} {
		f.Add(s, "MHz")
		f.Add(s, "")
	}
	f.Fuzz(func(t *testing.T, text, bare string) {
		v, err := quantity.ParseEntry[quantity.Hertz](text, bare)
		if err != nil {
			return
		}
		again, err := quantity.ParseEntry[quantity.Hertz](v.Plain()+" Hz", "")
		if err != nil || again.Plain() != v.Plain() {
			t.Fatalf("%q: %s is read back as %s, %v", text, v.Plain(), again.Plain(), err)
		}
	})
}
