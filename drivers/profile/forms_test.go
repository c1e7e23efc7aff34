package profile

import (
	"errors"
	"fmt"
	"math/big"
	"strings"
	"testing"

	"bandproof/drivers"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The forms are those of instruments before SCPI (common practice, no source).
func TestFormsOfReplies(t *testing.T) {
	const refused = "refused"
	flags := map[string]string{" ": flagGood, "F": flagGood, "O": flagOver, "N": flagNone, "P": flagRefuse}
	for _, row := range []struct {
		name, answer string
		reply        Reply
		want         string // plain hertz, a mark, or refused
	}{
		{"plain", "+10000000.0", Reply{Form: FormPlain}, "10000000.0"},
		{"blanks before", "   10000000.0", Reply{Form: FormPlain}, "10000000.0"},
		{"blanks between", " 10 000 000.0", Reply{Form: FormPlain}, "10000000.0"},
		{"suppressed zeros behind", "1000    .  E+4", Reply{Form: FormPlain}, "10000000"},
		{"blank after the sign", "+ 5 E 3", Reply{Form: FormPlain}, "5000"},
		{"engineering exponent", "225.000 000 1E+6", Reply{Form: FormPlain}, "225000000.1"},
		{"negative exponent", "5e-3", Reply{Form: FormPlain}, "0.005"},
		{"implied point", "100000001", Reply{Form: FormPlain, Power: -1}, "10000000.1"},
		{"comma", "10,5", Reply{Form: FormPlain, Comma: true, Unit: "MHz"}, "10500000"},
		{"comma where a point is meant", "10,5", Reply{Form: FormPlain}, refused},
		{"point where a comma is meant", "10.5", Reply{Form: FormPlain, Comma: true}, refused},
		{"two points", "1.2.3", Reply{Form: FormPlain}, refused},
		{"two exponents", "1E2E3", Reply{Form: FormPlain}, refused},
		{"exponent without digits", "1E+", Reply{Form: FormPlain}, refused},
		{"exponent with a point", "1E1.", Reply{Form: FormPlain}, refused},
		{"huge exponent", "1E999", Reply{Form: FormPlain}, refused},
		{"no digits", " . ", Reply{Form: FormPlain}, refused},
		{"letters", "1O", Reply{Form: FormPlain}, refused},
		{"word", "INF", Reply{Form: FormPlain}, refused},
		{"bare 9.9E37 is a number here, and too large to be one", "9.9E47", Reply{Form: FormPlain}, refused},

		{"good flag", "F 1E7", Reply{Form: FormPlain, Flags: flags}, "10000000"},
		{"blank flag", "  1E7", Reply{Form: FormPlain, Flags: flags}, "10000000"},
		{"over-range flag", "O  9999999999", Reply{Form: FormPlain, Flags: flags}, string(drivers.OverRange)},
		{"no signal flag", "N 0", Reply{Form: FormPlain, Flags: flags}, string(drivers.NoSignal)},
		{"another function", "P 1E-7", Reply{Form: FormPlain, Flags: flags}, refused},
		{"unknown flag", "X 1E7", Reply{Form: FormPlain, Flags: flags}, refused},
		{"two flags, the worse counts", "OF1E7", Reply{Form: FormPlain, Flags: flags, FlagPlaces: 2}, string(drivers.OverRange)},
		{"two flags, refused", "PO1E7", Reply{Form: FormPlain, Flags: flags, FlagPlaces: 2}, refused},
		{"flag missing", "", Reply{Form: FormPlain, Flags: flags}, refused},

		{"unit of the range", "12.5 MHZ", Reply{Form: FormPlain, Units: map[string]string{"MHZ": "MHz", "HZ": "Hz"}}, "12500000"},
		{"unit that ends like another", "12.5 HZ", Reply{Form: FormPlain, Units: map[string]string{"MHZ": "MHz", "HZ": "Hz"}}, "12.5"},
		{"unit missing", "12.5", Reply{Form: FormPlain, Units: map[string]string{"MHZ": "MHz"}}, refused},

		{"bcd", "\x00\x12\x34\x56", Reply{Form: FormBCD, Length: 4, Power: 1}, "1234560"},
		{"bcd, lowest first", "\x56\x34\x12\x00", Reply{Form: FormBCD, Length: 4, LowFirst: true, Unit: "kHz"}, "123456000"},
		{"bcd, a byte that is no digits", "\x0a", Reply{Form: FormBCD, Length: 1}, refused},
		{"bcd, blanks are bytes", "\x20\x20", Reply{Form: FormBCD, Length: 2}, "2020"},
		{"bcd, cut", "\x12", Reply{Form: FormBCD, Length: 2}, refused},
		{"bcd with prefix", "F\x12\x34", Reply{Form: FormBCD, Length: 2, Prefix: []string{"F"}, Power: -2}, "12.34"},
		{"binary", "\x01\x00", Reply{Form: FormBinary, Length: 2}, "256"},
		{"binary, lowest first", "\x01\x00", Reply{Form: FormBinary, Length: 2, LowFirst: true, Power: -1}, "0.1"},
		{"binary, joined", "\x01\x00\x01\x00", Reply{Form: FormBinary, Length: 2}, refused},
	} {
		t.Run(row.name, func(t *testing.T) {
			got, mark, err := value[quantity.Hertz](&row.reply, row.answer)
			switch {
			case row.want == refused:
				require.ErrorIs(t, err, drivers.ErrUnreadable, "answer %q gave %s", row.answer, got.Plain())
			case mark != drivers.None:
				require.Equal(t, row.want, string(mark), "answer %q", row.answer)
			default:
				require.NoError(t, err, "answer %q", row.answer)
				require.Equal(t, row.want, strings.TrimSuffix(got.Plain(), "."), "answer %q", row.answer)
			}
		})
	}
}

// wide is how an instrument writes a number in a form.
func wide(r *Reply, digits string, decimals, power int) string {
	switch r.Form {
	case FormBCD:
		digits = strings.Repeat("0", 2*r.Length-len(digits)) + digits
		out := make([]byte, r.Length)
		for i := range out {
			out[i] = (digits[2*i]-'0')<<4 | (digits[2*i+1] - '0')
		}
		return ordered(r, out)
	case FormBinary:
		n, _ := new(big.Int).SetString(digits, 10)
		return ordered(r, n.FillBytes(make([]byte, r.Length)))
	}
	mark := map[bool]string{true: ",", false: "."}[r.Comma]
	cut := len(digits) - min(decimals, len(digits))
	return fmt.Sprintf("  %s %s%s E%+03d", digits[:cut], mark, digits[cut:], power)
}

func ordered(r *Reply, data []byte) string {
	if r.LowFirst {
		for i, j := 0, len(data)-1; i < j; i, j = i+1, j-1 {
			data[i], data[j] = data[j], data[i]
		}
	}
	return string(data)
}

// What an instrument writes is read as the value that it meant, in every form.
func TestFormsAreExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := &Reply{Form: rapid.SampledFrom([]string{FormPlain, FormBCD, FormBinary}).Draw(t, "form"), Power: rapid.IntRange(-9, 9).Draw(t, "power")}
		digits := rapid.StringMatching(`[1-9][0-9]{0,14}`).Draw(t, "digits")
		decimals, exponent := 0, 0
		if r.Form == FormPlain {
			r.Comma = rapid.Bool().Draw(t, "comma")
			decimals, exponent = rapid.IntRange(0, 5).Draw(t, "decimals"), rapid.IntRange(-9, 9).Draw(t, "exponent")
			decimals = min(decimals, len(digits))
		} else {
			r.LowFirst, r.Length = rapid.Bool().Draw(t, "low first"), 8
		}
		answer := wide(r, digits, decimals, exponent)
		got, mark, err := value[quantity.Hertz](r, answer)
		if err != nil || mark != drivers.None {
			t.Fatalf("answer %q in %+v: mark %q, error %v", answer, r, mark, err)
		}
		want, _ := new(big.Rat).SetString(fmt.Sprintf("%se%d", digits, exponent-decimals+r.Power))
		if want.Cmp(got.Rat()) != 0 {
			t.Fatalf("answer %q in %+v: got %s, want %s", answer, r, got.Rat(), want)
		}
	})
}

// Whatever bytes come, a form gives a number that reads back, or ErrUnreadable.
func FuzzForms(f *testing.F) {
	f.Add("F 12 345.6 E+3 MHZ", byte(0), 0)
	f.Add("\x12\x34", byte(1), 2)
	f.Add("\x01\x00", byte(2), 2)
	f.Add("O 9999", byte(4), 6)
	f.Fuzz(func(t *testing.T, answer string, kind byte, length int) {
		r := &Reply{Form: []string{FormPlain, FormBCD, FormBinary}[int(kind)%3], Comma: kind&8 != 0, LowFirst: kind&16 != 0}
		if length > 0 && length <= 20 {
			r.Length = length
		}
		if r.Form == FormPlain && kind&4 != 0 {
			r.Flags = map[string]string{"F": flagGood, "O": flagOver, " ": flagNone, "P": flagRefuse}
			r.Units = map[string]string{"MHZ": "MHz", "HZ": "Hz"}
			r.Shape = []string{"?****?", "@ ##*#~"}
		}
		got, mark, err := value[quantity.Hertz](r, answer)
		if err != nil {
			if !errors.Is(err, drivers.ErrUnreadable) {
				t.Fatalf("answer %q: %v is not ErrUnreadable", answer, err)
			}
			return
		}
		if mark != drivers.None {
			return
		}
		d := got.Decimal()
		back, mark, err := value[quantity.Hertz](&Reply{Form: FormPlain}, fmt.Sprintf("%se%d", d.Coeff.String(), d.Exponent))
		if d.Negative || mark != drivers.None {
			return
		}
		if err != nil || back.Cmp(got) != 0 {
			t.Fatalf("answer %q became %s, which does not read back: %s, %v", answer, got.Plain(), back.Plain(), err)
		}
	})
}

// FuzzShape: a shape that a reply was made to fits it, and one sign more or
// less never does.
func FuzzShape(f *testing.F) {
	f.Add("~##_.*E~#", uint64(1))
	f.Fuzz(func(t *testing.T, shape string, seed uint64) {
		var answer strings.Builder
		for _, r := range shape {
			signs := map[rune]string{placeDigit: "0123456789", placePadded: "0 9", placeNumber: "5 .,", placeSign: " +-", placeLetter: " aZ", placeAny: "x?"}[r]
			if signs == "" {
				answer.WriteRune(r)
				continue
			}
			seed = seed*6364136223846793005 + 1
			answer.WriteByte(signs[int(seed>>40)%len(signs)])
		}
		if at := misfit(shape, answer.String()); at >= 0 {
			t.Fatalf("%q leaves its shape %q at %d", answer.String(), shape, at)
		}
		if misfit(shape, answer.String()+"1") < 0 || shape != "" && misfit(shape, answer.String()[:len(answer.String())-1]) < 0 {
			t.Fatalf("a longer or shorter %q fits %q", answer.String(), shape)
		}
	})
}
