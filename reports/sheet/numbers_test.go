package sheet

import (
	"testing"

	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// ISO 80000-1:2009 7.3: groups of three from the decimal sign by a small space,
// never a point or comma; the decimal sign is either (from memory). Groups by
// points, commas and apostrophes are common practice in offices.
func TestNumberStyles(t *testing.T) {
	for _, c := range []struct {
		o        Options
		in, want string
	}{
		{Options{}, "12345.678901", "12\u202f345.678\u202f901"},
		{Options{Decimal: "comma"}, "12345.678901", "12\u202f345,678\u202f901"},
		{Options{Decimal: "comma", Thousands: "point"}, "12345.678901", "12.345,678901"},
		{Options{Thousands: "comma"}, "-12345678.5", "\u221212,345,678.5"},
		{Options{Thousands: "apostrophe"}, "1234567.1234567", "1’234’567.1234567"},
		{Options{Decimal: "comma", Thousands: "none"}, "1234567.25", "1234567,25"},
		{Options{Decimal: "comma"}, "1.5e-12", "1,5e\u221212"},
		{Options{Decimal: "comma"}, "1234", "1234"}, // four digits stand together
	} {
		w := wordsFor(t, c.o)
		got := w.number(quantity.Group(c.in))
		assert.Equal(t, c.want, got)
		if !assert.NotContains(t, got, "\ufffd") || c.in == "1.5e-12" {
			continue
		}
		back, ok := w.style.plain(got)
		assert.True(t, ok)
		assert.Equal(t, c.in, back)
	}
	w := wordsFor(t, Options{Decimal: "comma", Thousands: "point"})
	f, err := quantity.Parse[quantity.Hertz]("12345.6789 MHz")
	require.NoError(t, err)
	assert.Equal(t, "12,3456789\u202fGHz", w.q(f))
	assert.Equal(t, "a. b.\xff\u202f", w.number("a. b.\xff\u202f"), "what is no number stays")
}

// Whatever the style, the digits are those of the number.
func TestStylesKeepDigits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`-?(0|[1-9][0-9]{0,14})(\.[0-9]{1,15})?`).Draw(t, "number")
		o := Options{Decimal: rapid.SampledFrom([]string{"point", "comma"}).Draw(t, "decimal"), Thousands: rapid.SampledFrom([]string{"space", "apostrophe", "none", "point", "comma"}).Draw(t, "thousands")}
		if o.Decimal == o.Thousands {
			t.Skip("refused")
		}
		s := styleOf(o)
		back, ok := s.plain(s.write(quantity.Group(text)))
		if !ok || back != text {
			t.Fatalf("%q written as %q reads as %q", text, s.write(quantity.Group(text)), back)
		}
	})
}
