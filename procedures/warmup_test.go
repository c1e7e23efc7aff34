package procedures_test

import (
	"strings"
	"testing"

	"bandproof/procedures"

	"github.com/stretchr/testify/require"
)

func until(pairs ...string) string {
	return strings.NewReplacer(pairs...).Replace(`
[warm_up_until]
input = "A"
frequency = "80 MHz"
gate = "1 s"
every = "10 s"
drift = "0.1 ppm"
per = "1 h"
over = "10 min"
longest = "2 h"
otherwise = "warn"

[decision]`)
}

func TestWarmUpIsPlanned(t *testing.T) {
	p, b := with(t, []string{"[decision]", until()}, nil)
	pl := plan(t, p, b)
	require.NotNil(t, pl.WarmUp)
	require.Equal(t, "80 MHz", pl.WarmUp.Frequency.String())
	require.Equal(t, pl.WarmUp.Path, pl.Stops()[0].Path, "its path is connected first")
	in, _ := p.Input("A")
	least, _ := in.SensitivityAt(pl.WarmUp.Frequency)
	require.InDelta(t, 10, pl.WarmUp.Levels.Input.DBm(in.Impedance)-least.DBm(in.Impedance), 0.11)

	p, b = with(t, nil, nil)
	moves := plan(t, p, b).Moves
	require.Equal(t, moves, pl.Moves)
}

// What can't be met or can't be seen is refused when planned.
func TestWarmUpThatTheBenchCannotShow(t *testing.T) {
	fails := func(warm string, bench ...string) (*procedures.Plan, error) {
		p, b := with(t, []string{"[decision]", warm}, bench)
		return procedures.NewPlan(p, b, procedures.Options{Now: now})
	}
	// One count of 1 Hz at 80 MHz is 0.0125 ppm: u = 0.0125 ppm/√6 for each of 61
	// readings, Σ(t − mean)² about 61·(600 s)²/12; k = 2.043 for 59 degrees of
	// freedom (t table): U = 2.043·0.0051 ppm/(600 s·√(61/12)), 0.0277 ppm/h.
	_, err := fails(until(`"0.1 ppm"`, `"0.028 ppm"`))
	require.NoError(t, err)
	_, err = fails(until(`"0.1 ppm"`, `"0.0275 ppm"`))
	require.ErrorContains(t, err, "warm_up_until: can't be met: one count is 1 Hz at 80 MHz")
	_, err = fails(until(), `range = ["1 Hz", "2 GHz"]`, `range = ["1 Hz", "70 MHz"]`)
	require.ErrorContains(t, err, "beyond the range of source G1")

	shared := []string{"reference = \"own\"", "reference = \"standard\""}
	_, err = fails(until(), shared...)
	require.ErrorContains(t, err, "the drift of the unit can't be seen on this bench: Unit and source share standard")
	p, b := with(t, []string{"[decision]", until(), "[warm_up_until]", "warm_up = \"30 min\"\n[warm_up_until]"}, shared)
	pl := plan(t, p, b)
	require.Nil(t, pl.WarmUp)
	require.Contains(t, strings.Join(pl.Warnings, "\n"), "can't be seen on this bench, so only the stated 30 min is waited for")
}
