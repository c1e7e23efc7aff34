package sheet

import (
	"math"
	"math/big"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func exact(t testing.TB, s string) quantity.Exact {
	t.Helper()
	var x quantity.Exact
	require.NoError(t, x.UnmarshalText([]byte(s)))
	return x
}

func TestRoundResult(t *testing.T) {
	for _, c := range []struct {
		name, e, limit string
		u              float64
		fallback       int
		want           rounded
	}{
		// 7.2.6 of JCGM 100:2008 gives y = 10.057 62 Ω with u = 27 mΩ as 10.058 Ω (from memory).
		{"GUM 7.2.6", "10.05762", "12", 0.027, 0, rounded{"10.058", "12.000", "0.027"}},
		{"U above one", "-10.66", "28.22", 12.4, 0, rounded{"\u221211", "28", "12"}},
		{"U in tens", "1234", "2000", 270, 0, rounded{"1230", "2000", "270"}},
		{"U rounds up a decade", "0", "100", 9.96, 0, rounded{"0", "100", "10"}},
		{"equal to the limit", "28.215", "28.215", 12, 0, rounded{"28", "28", "12"}},
		{"just above the limit", "28.4", "28.2", 12, 0, rounded{"28.4", "28.2", "12"}},
		{"just below the limit", "27.999", "28", 270, 0, rounded{"28", "28", "270"}},
		{"limit keeps two digits", "0.4", "1.34", 12, 0, rounded{"0", "1.3", "12"}},
		{"no uncertainty", "0.125", "1", 0, 3, rounded{"0.125", "1.000", none}},
		{"a third", "1/3", "2/3", 0.001, 0, rounded{"0.3333", "0.6667", "0.0010"}},
		{"no minus zero", "-0.0004", "1", 0.26, 0, rounded{"0.00", "1.00", "0.26"}},
		{"U beyond any bench", "0.125", "1", 1e-20, 3, rounded{"0.125", "1.000", "< 1e\u221212"}},
		{"grouped", "-226500000", "394.4", 26, 0, rounded{"\u2212226\u202f500\u202f000", "394", "26"}},
	} {
		got := english(t).roundResult(exact(t, c.e), exact(t, c.limit), c.u, c.fallback)
		assert.Equal(t, c.want, got, "%s: E %s, L %s, U %g", c.name, c.e, c.limit, c.u)
	}
}

// What is printed never seems to lie on the other side of the limit.
func TestRoundResultKeepsTheSide(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		scale := big.NewRat(1, rapid.Int64Range(1, 1000000).Draw(t, "scale"))
		x := func(name string, low int64) quantity.Exact {
			n := new(big.Rat).SetInt64(rapid.Int64Range(low, 100000000).Draw(t, name))
			return quantity.ExactOf(n.Mul(n, scale))
		}
		e, limit := x("error", -100000000), x("limit", 1)
		if rapid.Bool().Draw(t, "near") {
			e = limit.Add(quantity.ExactOf(big.NewRat(rapid.Int64Range(-3, 3).Draw(t, "off"), 1000000)))
		}
		u := rapid.Float64Range(0, 1000).Draw(t, "u")
		r := english(t).roundResult(e, limit, u, 0)
		read := func(s string) quantity.Exact {
			return parse(strings.NewReplacer("\u202f", "", "\u2212", "-").Replace(s))
		}
		if within, printed := e.Abs().Cmp(limit) <= 0, read(r.Error).Abs().Cmp(read(r.Limit)) <= 0; within != printed {
			t.Fatalf("E %s, L %s, U %g: within %t, but printed %s and %s", e, limit, u, within, r.Error, r.Limit)
		}
		if r.U != none && u >= leastU {
			digits := strings.TrimLeft(strings.NewReplacer(".", "", "\u202f", "").Replace(r.U), "0")
			if len(strings.TrimRight(digits, "0")) > 2 {
				t.Fatalf("U %g is printed as %s, more than two digits", u, r.U)
			}
			if p := read(r.U).Float(); math.Abs(p-u) > 0.0501*u {
				t.Fatalf("U %g is printed as %s, off by more than 5 %%", u, r.U)
			}
		}
	})
}

func TestShares(t *testing.T) {
	almost, one, low := 3.9999, 0.99999, 1234.0
	assert.Equal(t, "3.99", english(t).ratio(&almost))
	assert.Equal(t, "> 1000", english(t).ratio(&low))
	assert.Equal(t, "not limited", english(t).ratio(nil))
	half, never := 0.8859, 1e-9
	assert.Equal(t, "> 99.9", english(t).percent(&one))
	assert.Equal(t, "88.5", english(t).percent(&half))
	assert.Equal(t, "< 0.1", english(t).percent(&never))
	assert.Equal(t, "99.9", english(t).share(1, false))
	assert.Equal(t, "100", english(t).share(1, true))
	assert.Equal(t, none, english(t).share(math.NaN(), false))
}

// JCGM 100:2008 7.2.6: U to two significant digits at most, the value to the same
// place.
func TestUncertaintyHasTwoDigits(t *testing.T) {
	for u, want := range map[float64]string{324471: "320\u202f000", 0.0361: "0.036", 1.04: "1.0", 99.6: "100", 0: "0"} {
		assert.Equal(t, want, english(t).uncertain(u))
	}
	found, f := exact(t, "999990123"), uncertainty.Result{Standard: 162235.5, CoverageFactor: 2, Expanded: 324471}
	row := english(t).showRow(runner.Row{Found: &found, Unit: "Hz", Uncertainty: &f}, 0)
	assert.Equal(t, "320\u202f000", row.U)
	assert.Equal(t, "999\u202f990\u202f000", row.Found)
	for _, c := range []struct {
		level string
		u     float64
		want  string
	}{
		{"50.18 mV", 1.814, "50 mV ± 1.8 dB"}, // U is 12 mV
		{"50.18 mV", 0.59, "50.2 mV ± 0.59 dB"},
		{"223.6 mV", 1.8, "224 mV ± 1.8 dB"}, // U is 51 mV
		{"-18.994 dBm", 1.36, "−19.0 dBm ± 1.4 dB"},
		{"-18.994 dBm", 0.59, "−18.99 dBm ± 0.59 dB"},
		{"-18.99 dBm", 12.3, "−19 dBm ± 12 dB"},
		{"-18.99 dBm", 0, "−18.99 dBm"},
		{"0 V", 1.8, "0 V"},
	} {
		assert.Equal(t, c.want, strings.ReplaceAll(english(t).levelWithU(quantity.MustLevel(c.level), c.u), "\u202f", " "))
	}
}

// A change below its uncertainty gets no more digits than that, in Hz or in ppm.
func TestChangesAreRoundedByTheirUncertainty(t *testing.T) {
	s := sheetOf(t, fixture(t, runner.AsFound))
	l := line{point: procedures.Point{Frequency: quantity.MustParse[quantity.Hertz]("80 MHz")}, of: []*runner.PointResult{{}, {}}}
	for _, c := range []struct {
		change       string
		u            float64
		hz, ppm, unc string
	}{
		{"42.6667", 68, "43", "0.53", "68"}, // U is 0.85 ppm
		{"-0.00000002", 82, "0", "0.0", "82"},
		{"1270.3", 150, "1270", "15.9", "150"},
	} {
		row := s.changeRow(l, exact(t, c.change), c.u, "")
		assert.Equal(t, []string{c.hz, c.ppm, c.unc}, []string{row[3].Text, row[4].Text, row[5].Text})
	}
}

func faces(t testing.TB) []*face {
	a, err := newFace("", liberationsansregular.TTF)
	require.NoError(t, err)
	b, err := newFace("B", liberationsansbold.TTF)
	require.NoError(t, err)
	return []*face{a, b}
}

// Every sign that the sheet itself prints is in both fonts.
func TestFontsHoldOurSigns(t *testing.T) {
	for _, f := range faces(t) {
		for _, r := range "ABZabz0189ΩµΩ±−×–—…·√°%≥≤■▲?\u202f\u00a0()[]+/,;:'\"„“äöüßéñ" {
			_, ok := f.advance(r)
			assert.True(t, ok, "font %q lacks %q (%U)", f.style, r, r)
		}
		_, ok := f.advance('✗')
		assert.False(t, ok, "the check finds nothing missing")
	}
}

// wrap keeps every character but spaces, and no line is wider than asked.
func TestWrap(t *testing.T) {
	f := faces(t)[0]
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringOfN(rapid.SampledFrom([]rune("abWi -/,_\n\u202f0")), 0, 200, -1).Draw(t, "text")
		width := rapid.Float64Range(5, 300).Draw(t, "width")
		lines := f.wrap(s, width, 8)
		squeeze := strings.NewReplacer(" ", "", "\n", "")
		if got := squeeze.Replace(strings.Join(lines, "")); got != squeeze.Replace(s) {
			t.Fatalf("wrap(%q) lost characters: %q", s, lines)
		}
		for _, l := range lines {
			if w := f.width(l, 8); w > width+0.01 && len([]rune(l)) > 1 {
				t.Fatalf("line %q is %g wide, asked for %g", l, w, width)
			}
		}
	})
}

func TestVisual(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"left to right stays", "abc 123", "abc 123"},
		{"a word", "אבג", "גבא"},
		{"a number inside keeps its order", "אב 12 גד", "דג 12 בא"},
		{"latin around", "x אב y", "x בא y"},
		{"two stretches", "אב x גד", "בא x דג"},
		{"marks stay with their letter", "בָּא", "אבָּ"},
	} {
		assert.Equal(t, c.want, visual(c.in), c.name)
	}
}

func TestElide(t *testing.T) {
	f := faces(t)[0]
	long := strings.Repeat("0123456789", 100)
	got := f.elide(long, 100, 8)
	assert.LessOrEqual(t, f.width(got, 8), 100.0)
	assert.Contains(t, got, "…")
	assert.Equal(t, "short", f.elide("short", 100, 8))
	assert.Equal(t, "…", f.elide(long, 0, 8))
}

func TestRanges(t *testing.T) {
	all := map[string]int{"a": 0, "b": 1, "c": 2, "d": 3, "e": 4, "f": 5, "g": 6}
	assert.Equal(t, "a to c, e, g", english(t).ranges(strings.Split("a b c e g", " "), all))
	assert.Equal(t, "a, b", english(t).ranges([]string{"a", "b"}, all))
	assert.Equal(t, "", english(t).ranges(nil, all))
}
