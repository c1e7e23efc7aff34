package selftest_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/runner"
	"bandproof/runner/runnertest"
	"bandproof/runner/selftest"

	"github.com/stretchr/testify/require"
)

const table = `
[[measure]]
kind = "self-test"
takes = "20 s"
`

func rig(t *testing.T, faults ...string) *runnertest.Rig {
	return runnertest.New(t, runnertest.Options{Append: table, Kinds: []runner.MeasureKind{selftest.Kind{}}, Faults: faults})
}

func TestSelfTest(t *testing.T) {
	for _, row := range []struct {
		name, fault, says string
		want              decision.Verdict
		statement         runner.Statement
	}{
		{"good", "", `the unit answers "0"`, decision.Verdict{Word: decision.Pass}, runner.WithinAll},
		{"bad", "self-test-fails:amount=17", `the unit answers "17"`, decision.Verdict{Word: decision.Fail, Reason: decision.SelfTestFailed}, runner.Outside},
	} {
		t.Run(row.name, func(t *testing.T) {
			var faults []string
			if row.fault != "" {
				faults = append(faults, row.fault)
			}
			r := rig(t, faults...)
			require.Equal(t, "unit-self-test-001", r.Setup.Plan.Tasks[0].ID)
			require.InDelta(t, 20, r.Setup.Plan.Tasks[0].Seconds, 0)
			got := r.Run()
			require.Equal(t, []runner.Row{{What: "self-test of the unit", Says: row.says, Verdict: row.want}}, got.Outcomes[0].Rows)
			require.Equal(t, row.statement, got.Statement)
			require.Len(t, got.Points, got.Planned, "the points are taken after it as ever")
		})
	}
}

// plain is a unit without a self-test.
type plain struct{ drivers.Counter }

func TestUnitWithoutOne(t *testing.T) {
	r := rig(t)
	r.Setup.Counter = plain{r.Setup.Counter}
	got := r.Run()
	require.Equal(t, []runner.Row{{What: "self-test of the unit", Says: "not stated: the unit has no self-test by its profile"}}, got.Outcomes[0].Rows)
	require.NotEqual(t, runner.Incomplete, got.Statement, "nothing was left open")
}

// broken never answers its self-test.
type broken struct{ drivers.Counter }

func (broken) SelfTest(context.Context) (string, bool, error) {
	return "", false, errors.New("no answer within 30 s")
}

func TestLinkThatFails(t *testing.T) {
	r := rig(t)
	r.Setup.Counter = broken{r.Setup.Counter}
	got := r.Run()
	row := got.Outcomes[0].Rows[0]
	require.Equal(t, decision.Verdict{Word: decision.NotJudged, Reason: decision.LinkFailed}, row.Verdict)
	require.Contains(t, row.Says, "no answer within 30 s")
	require.Equal(t, runner.Incomplete, got.Statement)
	require.Len(t, got.Points, got.Planned)
}

func TestKeys(t *testing.T) {
	text := strings.ReplaceAll("schema = \"bandproof procedure 1\"\n[[measure]]\nkind = \"self-test\"\ntakes = \"-1 s\"\n", "\n\n", "\n")
	_, err := procedures.LoadProcedure("p.toml", []byte(text), selftest.Kind{})
	require.ErrorContains(t, err, "p.toml:4: measure[1].takes: is -1 s; expected up to 1 d")
}
