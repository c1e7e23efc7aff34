package profile

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestTemplatesWriteNumbersInAFixedForm(t *testing.T) {
	w := words{holdHertz: "225000000", holdMegahertz: "225", holdDBm: "-7.5", holdSeconds: "0.100", holdInput: "1"}
	for _, row := range []struct{ name, template, want, mistake string }{
		{"zeros in front", "FR{hertz:11}HZ", "FR00225000000HZ", ""},
		{"zeros behind", "FR{megahertz:4.6}MZ", "FR0225.000000MZ", ""},
		{"sign", "AP{dbm:+2.1}DM", "AP-07.5DM", ""},
		{"plus", "G{seconds:+1.3}", "G+0.100", ""},
		{"trailing zeros count for nothing", "G{seconds:1.1}", "G0.1", ""},
		{"too many whole digits", "FR{hertz:8}", "", "does not fit into 8 whole digits"},
		{"too many decimals", "AP{dbm:2}", "", "does not fit into 2 whole digits and 0 decimals"},
		{"no form", "FR{hertz:}", "", `has the form ""`},
		{"no whole digits", "FR{hertz:.6}", "", `has the form ".6"`},
		{"point without decimals", "FR{hertz:6.}", "", `has the form "6."`},
		{"letters", "FR{hertz:6.x}", "", `has the form "6.x"`},
		{"far too long", "FR{hertz:99}", "", `has the form "99"`},
	} {
		t.Run(row.name, func(t *testing.T) {
			got, err := expand(row.template, w)
			if row.mistake != "" {
				require.ErrorContains(t, err, row.mistake)
				return
			}
			require.NoError(t, err)
			require.Equal(t, row.want, got)
			require.Empty(t, templateMistake(row.template, []string{holdHertz, holdMegahertz, holdDBm, holdSeconds}))
		})
	}
	require.Contains(t, templateMistake("F{input:2}", []string{holdInput}), "is no number and has no form")
	require.Contains(t, templateMistake("F{hertz:x}", []string{holdHertz}), "expected whole digits")
}

// A number in a fixed form is the same number.
func TestFixedFormKeepsTheNumber(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.StringMatching(`-?(0|[1-9][0-9]{0,9})(\.[0-9]{1,6})?`).Draw(t, "number")
		d := digits{rapid.IntRange(1, 12).Draw(t, "whole"), rapid.IntRange(0, 8).Draw(t, "decimals"), rapid.Bool().Draw(t, "signed")}
		text, err := d.write(number)
		if err != nil {
			return
		}
		want, err := plain(number, false)
		if err != nil {
			t.Fatal(err)
		}
		got, err := plain(text, false)
		if err != nil || got.Cmp(want) != 0 {
			t.Fatalf("%s became %q: %v", number, text, err)
		}
	})
}
