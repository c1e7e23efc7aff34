package procedures_test

import (
	"strings"
	"testing"

	"bandproof/procedures"

	"github.com/stretchr/testify/require"
)

const lowPass = `
[[path]]
name = "P2"
source = "G1"
input = "A"

[[path.part]]
name = "cable and low-pass of 10 MHz"
loss = [["1 Hz", "0 dB"], ["10 MHz", "0.5 dB"], ["20 MHz", "40 dB"], ["400 MHz", "40 dB"]]

[[notify]]
to = "bell"`

// Where the source's harmonics stand above what the input takes, the path with
// the filter is planned, as far as its table shows that it helps.
func TestPathWithAFilter(t *testing.T) {
	asks := []string{`range = ["10 Hz", "100 MHz"]`, "range = [\"10 Hz\", \"100 MHz\"]\nharmonics_at_most = \"-50 dBc\""}
	states := []string{`range = ["1 Hz", "2 GHz"]`, "range = [\"1 Hz\", \"2 GHz\"]\nharmonics = \"-30 dBc\"", "\n[[notify]]\nto = \"bell\"", lowPass}
	pl := plan(t, firstOf(with(t, asks, states)), secondOf(with(t, asks, states)))
	for _, c := range []struct{ f, path, says string }{
		{"10 MHz", "P2", ""}, // 40 dB − 0.5 dB more at 20 MHz: −69.5 dB
		{"1 MHz", "P1", "harmonics of source G1 up to -30 dB, at most -50 dB allowed"},
		{"100 MHz", "P1", "harmonics of source G1 up to -30 dB, at most -50 dB allowed"}, // the filter takes the signal too
	} {
		p := at(t, pl, c.f)
		require.Equal(t, c.path, p.Path, c.f)
		if c.says == "" {
			require.Nil(t, p.Impure, c.f)
			continue
		}
		require.Equal(t, &procedures.Impure{Says: c.says, TooHigh: true}, p.Impure, c.f)
	}
	warned := strings.Join(pl.Warnings, "\n")
	require.Contains(t, warned, "points the signal is not as pure as the procedure asks (the first: harmonics of source G1 up to -30 dB, at most -50 dB allowed)")
	require.Contains(t, warned, "a path with a filter among its parts")
	require.NotContains(t, warned, "input A, path P2: at ")
}

func firstOf(p *procedures.Procedure, _ *procedures.Bench) *procedures.Procedure { return p }
func secondOf(_ *procedures.Procedure, b *procedures.Bench) *procedures.Bench    { return b }

func TestPurity(t *testing.T) {
	for _, c := range []struct {
		name, asks, states string
		want               *procedures.Impure
	}{
		{"nothing asked", "", `harmonics = "-10 dBc"`, nil},
		{"good enough", `harmonics_at_most = "-30 dBc"`, `harmonics = "-30 dBc"`, nil},
		{"not stated", `subharmonics_at_most = "-30 dBc"`, "", &procedures.Impure{Says: "source G1 states no subharmonics, and at most -30 dB are allowed"}},
		{"subharmonics", `subharmonics_at_most = "-30 dBc"`, `subharmonics = "-20 dBc"`, &procedures.Impure{Says: "subharmonics of source G1 up to -20 dB, at most -30 dB allowed", TooHigh: true}},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, b := with(t, []string{`max_gap = "1 decade"`, "max_gap = \"1 decade\"\n" + c.asks}, []string{`level_uncertainty = "0.5 dB"`, "level_uncertainty = \"0.5 dB\"\n" + c.states})
			require.Equal(t, c.want, at(t, plan(t, p, b), "1 MHz").Impure)
		})
	}
	_, err := procedures.LoadBench("b.toml", []byte("schema = \"bandproof bench 1\"\n[[source]]\nname = \"G\"\nharmonics = \"30 dB\"\n"))
	require.ErrorContains(t, err, "harmonics: is 30 dB; expected a level below the carrier, such as -30 dBc")
}
