package stability_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"bandproof/runner/stability"

	"github.com/stretchr/testify/require"
)

func TestRead(t *testing.T) {
	long := strings.Repeat("1", 70000)
	for _, c := range []struct {
		name, text, column, gap string
		want                    string // values as printed, or part of the error
	}{
		{"lines", "1\n-2.5e-3\n+3\n", "", "", "[1 -0.0025 3]"},
		{"no last newline, CRLF, spaces", " 1 \r\n\t2\r\n3", "", "", "[1 2 3]"},
		{"byte order mark", "\uFEFF1\n2\n", "", "", "[1 2]"},
		{"minus sign of print", "\u22121.5\n2\n", "", "", "[-1.5 2]"},
		{"gaps", "1\nNaN\nnan\n4\n", "", "", "[1 NaN NaN 4]"},
		{"stated gap", "1\n-\n9.91E37\n", "", "-", "line 3: \"9.91E37\" marks an over-range"},
		{"SCPI marker as gap", "1\n9.91E37\n2\n", "", "9.91E37", "[1 NaN 2]"},
		{"blank lines at the end", "1\n2\n\n\n", "", "", "[1 2]"},
		{"blank line within", "1\n\n2\n", "", "", "line 2 is empty; expected a number, or NaN"},
		{"header not stated", "reading\n1\n", "", "", "line 1: \"reading\" is not a number"},
		{"unit", "1\n2 Hz\n", "", "", "line 2: \"2 Hz\" is not a number; expected one such as"},
		{"decimal comma", "1,5\n", "", "", "line 1: \"1,5\" is not a number"},
		{"two numbers", "1 2\n", "", "", "line 1: \"1 2\" is not a number"},
		{"infinity", "Inf\n", "", "", "line 1: \"Inf\" is not a number"},
		{"hexadecimal", "0x1p3\n", "", "", "line 1: \"0x1p3\" is not a number"},
		{"underscore", "1_000\n", "", "", "line 1: \"1_000\" is not a number"},
		{"too large", "1\n1e999\n", "", "", "line 2: \"1e999\" is out of range"},
		{"empty", "", "", "", "there are no values"},
		{"line too long", "1\n" + long + "\n", "", "", "line 2 is too long"},
		{"control characters", "\x00\x1b[2J\n", "", "", "line 1: \"??[2J\" is not a number"},

		{"column", "t,f\n0,10.5\n1,11\n", "f", "", "[10.5 11]"},
		{"spaces about names", "t , f \n0, 10.5\n", "f", "", "[10.5]"},
		{"quoted", "t,\"f, Hz\"\n0,\"10\"\n1,NaN\n", "f, Hz", "", "[10 NaN]"},
		{"no such column", "t,f\n0,1\n", "x", "", `line 1: there is no column "x"; the header has "t", "f"`},
		{"column twice", "f,f\n0,1\n", "f", "", `column "f" stands in the header twice`},
		{"no header", "", "f", "", "line 1: there is no header"},
		{"header only", "t,f\n", "f", "", `column "f" has no values`},
		{"bad number", "t,f\n0,1\n1,x\n", "f", "", `line 3, column "f": "x" is not a number`},
		{"empty field", "t,f\n0,1\n1,\n", "f", "", `line 3, column "f": nothing is not a number`},
		{"short line", "t,f\n0,1\n1\n", "f", "", "line 3 has more or fewer columns"},
		{"empty line", "t,f\n0,1\n\n1,2\n", "f", "", "line 3 is empty; expected 2 columns"},
		{"newline in quotes", "t,n,f\n0,\"a\nb\",1\n1,c,x\n", "f", "", `line 4, column "f"`},
		{"bad quotes", "t,f\n0,1\n1,\"2\n", "f", "", "line 3: extraneous or missing"},
	} {
		got, err := stability.Read(strings.NewReader(c.text), stability.Format{Column: c.column, Gap: c.gap})
		if strings.HasPrefix(c.want, "[") {
			require.NoError(t, err, c.name)
			require.Equal(t, c.want, fmt.Sprint(got), c.name)
			continue
		}
		require.ErrorContains(t, err, c.want, c.name)
	}
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, fmt.Errorf("the disk is gone") }

func TestReadSaysThatReadingFailed(t *testing.T) {
	for _, column := range []string{"", "f"} {
		_, err := stability.Read(broken{}, stability.Format{Column: column})
		require.ErrorContains(t, err, "the disk is gone")
	}
}

// FuzzRead: nothing panics; what is read is finite or a gap, one value for each
// line; and values written down again read the same, bit for bit.
func FuzzRead(f *testing.F) {
	for _, s := range []string{"1\n2\nNaN\n", "t,f\n0,1\n1,2\n", "\uFEFF1e-300\r\n", "f\n\n1\n", "\"a\nb\",f\n1,2\n", "−1\n"} {
		f.Add(s, "", "")
		f.Add(s, "f", "-")
	}
	f.Fuzz(func(t *testing.T, text, column, gap string) {
		values, err := stability.Read(strings.NewReader(text), stability.Format{Column: column, Gap: gap})
		if err != nil {
			return
		}
		if n := strings.Count(text, "\n") + 1; len(values) == 0 || len(values) > n {
			t.Fatalf("%q has %d values in %d lines", text, len(values), n)
		}
		var b strings.Builder
		b.WriteString("v\n")
		for _, v := range values {
			if math.IsInf(v, 0) {
				t.Fatalf("%q reads as infinite", text)
			}
			b.WriteString(strconv.FormatFloat(v, 'g', -1, 64) + "\n")
		}
		again, err := stability.Read(strings.NewReader(b.String()), stability.Format{Column: "v"})
		if err != nil || len(again) != len(values) {
			t.Fatalf("%q written again: %v", text, err)
		}
		for k := range again {
			if math.Float64bits(again[k]) != math.Float64bits(values[k]) && !math.IsNaN(values[k]) {
				t.Fatalf("value %d: %v, then %v", k, values[k], again[k])
			}
		}
	})
}

func TestFractional(t *testing.T) {
	// 10 Hz at 10 MHz is one part in a million.
	values := []float64{10_000_010, math.NaN(), 9_999_990, 1e7}
	stability.Fractional(values, 1e7)
	require.Equal(t, 1e-6, values[0])
	require.True(t, math.IsNaN(values[1]))
	require.Equal(t, []float64{-1e-6, 0}, values[2:])
}
