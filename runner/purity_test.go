package runner_test

import (
	"testing"

	"bandproof/procedures/decision"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// A wrong reading at a point whose signal has more harmonics than the procedure
// allows is not laid on the unit; a missing one is, and a right one counts.
func TestHarmonicsOfTheSource(t *testing.T) {
	for _, row := range []struct {
		name, fault string
		want        decision.Verdict
		statement   runner.Statement
	}{
		{"good", "", decision.Verdict{Word: decision.Pass}, runner.WithinAll},
		{"wrong", "wrong-harmonic:input=B,amount=1 MHz", decision.Verdict{Word: decision.NotJudged, Reason: decision.SignalImpure}, runner.Incomplete},
		{"none", "dead-above:input=B,from=1 GHz", decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}, runner.Outside},
	} {
		t.Run(row.name, func(t *testing.T) {
			o := options{Procedure: []string{`max_gap = "2 octaves"`, "max_gap = \"2 octaves\"\nharmonics_at_most = \"-40 dBc\""},
				BenchFile: []string{`level_uncertainty = "1 dB"`, "level_uncertainty = \"1 dB\"\nharmonics = \"-30 dBc\""}}
			if row.fault != "" {
				o.Faults = []string{row.fault}
			}
			got := newRig(t, o).Run()
			last := got.Points[len(got.Points)-1]
			require.Equal(t, row.want, last.Verdict)
			require.Contains(t, last.Notes, "harmonics of source MW up to -31 dB, at most -40 dB allowed", "the cable takes 1 dB more off at 3.2 GHz")
			require.Equal(t, row.statement, got.Statement)
		})
	}
}
