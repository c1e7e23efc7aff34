// Package selftest is the kind of measurement "self-test": what the unit says
// of itself, verbatim, and whether that is what its profile calls a pass. It
// replaces no point: a self-test sees what its maker built it to see.
package selftest

import (
	"context"
	"fmt"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// Kind takes self-tests.
type Kind struct{}

// Kind is the word in a procedure.
func (Kind) Kind() string { return "self-test" }

// Keys returns the keys of a table.
func (Kind) Keys() procedures.Keys { return &keys{} }

type keys struct {
	Takes quantity.Duration `toml:"takes,omitempty" json:"takes,omitzero" jsonschema_description:"How long the self-test takes, for the plan; 10 s unless stated. How long it is waited for is in the unit's profile."`
}

// usual is what a self-test takes unless stated.
var usual = quantity.Of[quantity.Second](10, 0)

// Check implements procedures.Keys.
func (k *keys) Check(_ *procedures.Procedure, m procedures.Measure) (wrong []procedures.Wrong) {
	if m.Input != "" {
		wrong = append(wrong, procedures.Wrong{Key: "input", Text: "has no place here: a self-test is of the unit as a whole"})
	}
	if k.Takes.Sign() < 0 || k.Takes.Cmp(quantity.Of[quantity.Second](86400, 0)) > 0 {
		wrong = append(wrong, procedures.Wrong{Key: "takes", Text: fmt.Sprintf("is %s; expected up to 1 d", k.Takes)})
	}
	return wrong
}

// Plan implements procedures.Keys: one task that needs no path.
func (k *keys) Plan(d *procedures.Draft, m procedures.Measure) error {
	takes := k.Takes
	if takes.Sign() == 0 {
		takes = usual
	}
	d.Add(m, procedures.Task{Seconds: takes.Float()})
	return nil
}

// Take runs the self-test. The unit may come out of it with other settings: no
// path is connected yet, and input and gate are set anew on each.
func (Kind) Take(ctx context.Context, s *runner.Station, _ procedures.Task) (runner.Outcome, error) {
	const what = "self-test of the unit"
	tester, ok := s.Counter().(drivers.SelfTester)
	if !ok {
		return rows(runner.Row{What: what, Says: "not stated: the unit has no self-test by its profile"}), nil
	}
	text, passed := "", false
	bench, note, err := s.Unit(ctx, func() (err error) { text, passed, err = tester.SelfTest(ctx); return err })
	switch {
	case err != nil:
		return runner.Outcome{}, err
	case bench != "":
		return rows(runner.NotJudgedRow(what, bench, note)), nil
	}
	row := runner.Row{What: what, Says: fmt.Sprintf("the unit answers %q", text), Verdict: decision.Verdict{Word: decision.Pass}}
	if !passed {
		row.Verdict = decision.Verdict{Word: decision.Fail, Reason: decision.SelfTestFailed}
	}
	return rows(row), nil
}

func rows(list ...runner.Row) runner.Outcome { return runner.Outcome{Rows: list} }
