package kinds_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/runner/kinds"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// text is testdata/kinds/procedure.toml, which has a table of every kind.
func text(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(runnertest.Root(t), "testdata/kinds/procedure.toml"))
	require.NoError(t, err)
	return string(data)
}

// TestEveryKindInOneRun takes all of them on a good unit: nothing fails and
// nothing is left open.
func TestEveryKindInOneRun(t *testing.T) {
	r := runnertest.New(t, runnertest.Options{Text: text(t), Kinds: kinds.All()})
	r.Operator.Answers = []bool{true, false}
	shown := map[string]bool{}
	for _, x := range r.Setup.Plan.Tasks {
		shown[x.Kind] = true
		require.Positive(t, x.Seconds, x.ID)
	}
	for _, k := range kinds.All() {
		require.True(t, shown[k.Kind()], "kind %q has no table that plans a task", k.Kind())
	}
	got := r.Run()
	require.True(t, got.Complete, got.Ended)
	for _, o := range got.Outcomes {
		require.NotEmpty(t, o.Rows, o.Task.ID)
		for _, x := range o.Rows {
			require.False(t, x.Verdict.Bad() || x.Open(), "%s, %s: %s (%s)", o.Task.ID, x.What, x.Verdict, x.Says)
			t.Logf("%s: %s: %s: %s", o.Task.ID, x.What, x.Says, x.Verdict)
		}
	}
}

// TestKindsAreListedOnce holds that no two kinds share a word.
func TestKindsAreListedOnce(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range kinds.Tables() {
		require.False(t, seen[k.Kind()], k.Kind())
		seen[k.Kind()] = true
	}
	_, err := procedures.LoadProcedure("procedure.toml", []byte(text(t)), kinds.Tables()...)
	require.NoError(t, err)
}

// TestExamplesOfTheREADME reads the [[measure]] tables that the README shows, in
// place of those of the procedure here.
func TestExamplesOfTheREADME(t *testing.T) {
	readme, err := os.ReadFile(filepath.Join(runnertest.Root(t), "README.md"))
	require.NoError(t, err)
	whole := text(t)
	procedure := whole[:strings.Index(whole, "[[measure]]")]
	blocks := 0
	for _, part := range strings.Split(string(readme), "```toml\n")[1:] {
		block, _, _ := strings.Cut(part, "```")
		if !strings.Contains(block, "[[measure]]") {
			continue
		}
		blocks++
		p, err := procedures.LoadProcedure("README.md", []byte(procedure+block), kinds.Tables()...)
		require.NoError(t, err)
		shown := map[string]bool{}
		for _, m := range p.Measures {
			shown[m.Kind] = true
		}
		for _, k := range kinds.All() {
			require.True(t, shown[k.Kind()], "the README shows no %q", k.Kind())
		}
	}
	require.Equal(t, 1, blocks)
}
