package isolate_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/drivers/virtual"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/isolate"
	"bandproof/runner/runnertest"
	"bandproof/runner/selftest"
	"bandproof/runner/sensitivity"
	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

// further is what the sweep of the demo is followed by: the self-test, and the
// least level at a frequency of each way.
const further = `
[[measure]]
kind = "self-test"

[[measure]]
kind = "sensitivity"
input = "A"
points = ["10 MHz"]
gate = "10 ms"
coarse = "4 dB"
fine = "1 dB"

[[measure]]
kind = "sensitivity"
input = "B"
points = ["400 MHz"]
gate = "10 ms"
coarse = "4 dB"
fine = "1 dB"

[[measure]]
kind = "sensitivity"
input = "C"
points = ["3 GHz", "9 GHz", "15 GHz"]
gate = "10 ms"
coarse = "4 dB"
fine = "1 dB"
`

func read(t testing.TB, file string) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(runnertest.Root(t), file))
	require.NoError(t, err)
	return text
}

// demoModel is the block model of the demo, written by hand.
func demoModel(t testing.TB) *isolate.Network {
	t.Helper()
	const file = "cmd/bandproof/demo/block-model.toml"
	n, err := isolate.Load(file, read(t, file))
	require.NoError(t, err)
	return n
}

// unit is a virtual unit with faults in its stages, after the sweep.
type unit struct {
	t        testing.TB
	rig      *runnertest.Rig
	result   runner.Result
	stimulus string // that is applied
}

// sweep runs the sweep over all inputs of a unit with faults.
func sweep(t testing.TB, seed int, faults ...virtual.Fault) *unit {
	t.Helper()
	r := runnertest.New(t, runnertest.Options{Text: string(read(t, "cmd/bandproof/demo/procedure.toml")), Append: further, Seed: seed,
		Kinds: []runner.MeasureKind{selftest.Kind{}, sensitivity.Kind{}}})
	require.NoError(t, r.Bench.SetFaults(faults))
	for range 200 { // asked whether the signal arrives at the input, the person finds that it does
		r.Operator.Answers = append(r.Operator.Answers, true)
	}
	return &unit{t: t, rig: r, result: r.Run()}
}

// evidence is what the record of the sweep says.
func (u *unit) evidence() []isolate.Observation { return isolate.Evidence(symptom.Read(u.result)) }

// point is a planned point at an input, at a frequency in Hz.
func (u *unit) point(input string, f float64) procedures.Point {
	u.t.Helper()
	for _, p := range u.rig.Setup.Plan.Points {
		if p.Input == input && p.Frequency.Float() == f {
			return p
		}
	}
	for _, x := range u.rig.Setup.Plan.Tasks {
		for _, p := range x.Points {
			if p.Input == input && p.Frequency.Float() == f {
				return p
			}
		}
	}
	// Where none was judged, one is proposed in the middle of a way: as at the nearest.
	var best procedures.Point
	for _, p := range u.rig.Setup.Plan.Points {
		far := func(x procedures.Point) float64 { return math.Abs(math.Log(x.Frequency.Float() / f)) }
		if p.Input == input && (best.ID == "" || far(p) < far(best)) {
			best = p
		}
	}
	require.NotEmpty(u.t, best.ID, "input %s", input)
	best.Frequency = quantity.Significant(f, 10)
	return best
}

// apply puts the signal of a point on its input, as holding the source there does.
func (u *unit) apply(p procedures.Point) {
	u.t.Helper()
	setting := fmt.Sprintf("%s %s %s", p.Input, p.Frequency, p.Levels.Source)
	if setting == u.stimulus {
		return
	}
	u.off()
	u.stimulus = setting
	require.NoError(u.t, u.rig.Bench.Connect(p.Source, p.Input))
	require.NoError(u.t, u.rig.Setup.Counter.SelectInput(u.t.Context(), p.Input))
	_, err := u.rig.Setup.Counter.SetGate(u.t.Context(), quantity.MustParse[quantity.Second]("1 s"))
	require.NoError(u.t, err)
	u.ask(p.Source, fmt.Sprintf("FREQ %.3f HZ;:POW %.2f DBM;:OUTP ON;*OPC?", p.Frequency.Float(), p.Levels.Source.DBm(quantity.Dbm50())))
}

func (u *unit) off() {
	for name := range u.rig.Setup.Sources {
		u.ask(name, "OUTP OFF;*OPC?")
	}
}

func (u *unit) ask(instrument, text string) {
	u.t.Helper()
	require.Equal(u.t, "1", strings.TrimSpace(runnertest.Ask(u.t, u.rig.Bench, instrument, text)), "%s: %s", instrument, text)
}

// probe looks at a test point with the signal of a point at its input.
func (u *unit) probe(testPoint string, p procedures.Point) virtual.Probed {
	u.t.Helper()
	u.apply(p)
	found, err := u.rig.Bench.Probe(testPoint)
	require.NoError(u.t, err)
	return found
}
