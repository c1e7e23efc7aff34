package profile

import (
	"errors"
	"math/big"
	"strings"
	"testing"
	"unicode/utf8"

	"bandproof/drivers"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestReplyFindsTheNumber(t *testing.T) {
	const refused = "refused"
	for _, row := range []struct {
		name, answer string
		reply        Reply
		want         string // plain hertz, a mark, or refused
	}{
		{"bare", "225", Reply{}, "225"},
		{"unit", "225.000", Reply{Unit: "MHz"}, "225000000"},
		{"unit keeps digits", "225.0000005", Reply{Unit: "MHz"}, "225000000.5"},
		{"prefix", "FREQ 1E3", Reply{Prefix: []string{"FREQ"}}, "1000"},
		{"longest prefix", "FF 7", Reply{Prefix: []string{"F", "FF"}}, "7"},
		{"suffix", "12.5 MHZ", Reply{Unit: "MHz", Suffix: []string{"MHZ"}}, "12500000"},
		{"suffix missing", "12.5 KHZ", Reply{Unit: "MHz", Suffix: []string{"MHZ"}}, refused},
		{"prefix missing", "12.5", Reply{Prefix: []string{"F"}}, refused},
		{"own word for nothing", " OFL ", Reply{OverRange: []string{"ofl"}}, string(drivers.OverRange)},
		{"own word for too much", "------", Reply{NoSignal: []string{"------"}}, string(drivers.NoSignal)},
		{"own number for nothing", "0999", Reply{NoSignal: []string{"999"}}, string(drivers.NoSignal)},
		{"SCPI not-a-number", "9.91000E37", Reply{}, string(drivers.NoSignal)},
		{"SCPI infinity", "9.9E37", Reply{Unit: "MHz"}, string(drivers.OverRange)},
		{"near infinity", "9.8E37", Reply{}, "98" + strings.Repeat("0", 36)},
		{"empty", "", Reply{}, refused},
		{"sign only", "+", Reply{}, refused},
		{"point only", ".", Reply{}, refused},
		{"inner blank", "1 000", Reply{}, refused},
		{"underscore", "1_000", Reply{}, refused},
		{"very long", strings.Repeat("1", 500), Reply{}, refused},
	} {
		t.Run(row.name, func(t *testing.T) {
			got, mark, err := value[quantity.Hertz](&row.reply, row.answer)
			switch {
			case row.want == refused:
				require.ErrorIs(t, err, drivers.ErrUnreadable, "answer %q gave %s", row.answer, got.Plain())
			case mark != drivers.None:
				require.Equal(t, row.want, string(mark), "answer %q", row.answer)
			default:
				require.NoError(t, err)
				require.Equal(t, row.want, strings.TrimSuffix(got.Plain(), "."), "answer %q", row.answer)
			}
		})
	}
}

// A number comes back exactly, whatever its form and unit.
func TestReplyIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		digits := rapid.StringMatching(`[0-9]{1,18}`).Draw(t, "digits")
		fraction := rapid.StringMatching(`[0-9]{0,12}`).Draw(t, "fraction")
		exponent := rapid.IntRange(-12, 12).Draw(t, "exponent")
		unit := rapid.SampledFrom([]string{"", "Hz", "kHz", "MHz", "GHz", "mHz"}).Draw(t, "unit")
		text := digits + "." + fraction + "E" + map[bool]string{true: "+"}[exponent >= 0] + big.NewInt(int64(exponent)).String()
		got, mark, err := value[quantity.Hertz](&Reply{Unit: unit}, text)
		if err != nil || mark != drivers.None {
			t.Fatalf("answer %q: mark %q, error %v", text, mark, err)
		}
		want, ok := new(big.Rat).SetString(text)
		if !ok {
			t.Fatalf("%q", text)
		}
		scale := map[string]string{"": "1", "Hz": "1", "kHz": "1e3", "MHz": "1e6", "GHz": "1e9", "mHz": "1e-3"}[unit]
		factor, _ := new(big.Rat).SetString(scale)
		if want.Mul(want, factor); want.Cmp(got.Rat()) != 0 {
			t.Fatalf("answer %q in %q: got %s, want %s", text, unit, got.Rat(), want)
		}
	})
}

func TestPrintableKeepsText(t *testing.T) {
	for _, row := range []struct{ name, in, want string }{
		{"plain", "+1.0E7", "+1.0E7"},
		{"micro sign", "5 µs", "5 µs"},
		{"Latin-1 micro sign", "5 \xb5s", `5 \xb5s`},
		{"control characters", "a\x00\r\x07b", `a\x00\r\ab`},
		{"blanks", "  1 ", "  1 "},
	} {
		require.Equal(t, row.want, printable(row.in), row.name)
	}
}

func TestTemplates(t *testing.T) {
	w := words{"input": "2", "seconds": "0.1"}
	for _, row := range []struct{ name, in, want, mistake string }{
		{"none", "READ?", "READ?", ""},
		{"two", "A{input},{seconds};", "A2,0.1;", ""},
		{"braces", "{{{input}}}", "{2}", ""},
		{"unknown", "{dbm}", "", "no value for {dbm}"},
		{"open", "A{input", "", `single "{"`},
		{"close", "A}", "", `single "}"`},
		{"nested", "{in{put}}", "", `single "{"`},
	} {
		got, err := expand(row.in, w)
		if row.mistake != "" {
			require.ErrorContains(t, err, row.mistake, "%s: %q", row.name, row.in)
			continue
		}
		require.NoError(t, err, row.name)
		require.Equal(t, row.want, got, "%s: %q", row.name, row.in)
	}
	_, err := expand("A{input}", words{})
	require.ErrorContains(t, err, "select one first")
}

func FuzzTemplate(f *testing.F) {
	for _, seed := range []string{"READ?", "A{input}", "{{x}}", "{", "}", "{{}", "{a{b}"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, template string) {
		why := templateMistake(template, []string{holdInput})
		got, err := expand(template, words{holdInput: "1"})
		if why == "" && err != nil {
			t.Fatalf("template %q passed, but: %v", template, err)
		}
		if why == "" && !strings.ContainsAny(template, "{}") && got != template {
			t.Fatalf("template %q became %q", template, got)
		}
	})
}

func FuzzReply(f *testing.F) {
	for _, seed := range []string{"1.0E7", "9.91E37", "-0", "F 10.0 MHz", "1e-60", "\xff", "+.5", "1E+0000000001"} {
		f.Add(seed, "MHz", "F", " MHz")
	}
	f.Fuzz(func(t *testing.T, answer, unit, prefix, suffix string) {
		r := &Read{Reply: &Reply{Unit: unit}, ZeroIsNoCount: true}
		if prefix != "" {
			r.Reply.Prefix = []string{prefix}
		}
		if suffix != "" {
			r.Reply.Suffix = []string{suffix}
		}
		got, mark, err := r.reading(answer)
		switch {
		case err != nil:
			if unitError[quantity.Hertz](unit) == nil && !errors.Is(err, drivers.ErrUnreadable) {
				t.Fatalf("answer %q: %v is not ErrUnreadable", answer, err)
			}
		case mark == drivers.None && got.Sign() <= 0:
			t.Fatalf("answer %q became %s", answer, got)
		case mark == drivers.None:
			if back, err := quantity.Parse[quantity.Hertz](got.String()); err != nil || back.Cmp(got) != 0 {
				t.Fatalf("answer %q became %s, which does not read back: %v", answer, got, err)
			}
		}
		if !utf8.ValidString(printable(answer)) || !utf8.ValidString(quote(answer)) {
			t.Fatalf("answer %q is printed with bytes that are no text", answer)
		}
		g := &Gate{Codes: map[string]string{"1 s": "1"}, Reply: r.Reply}
		_, _ = g.inForce(answer, []coded{{quantity.Of[quantity.Second](1, 0), "1"}})
		l := &Lock{Mask: new(int)}
		_, _ = l.locked(answer)
		_, _ = (&Level{}).inForce(answer)
		_, _, _ = errorEntry(answer)
		_ = parseIdentity(answer)
	})
}
