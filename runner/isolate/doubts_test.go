package isolate

import (
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/runner"
	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

// What the bench or the scope leaves open is said, and nothing where it leaves
// nothing open.
func TestDoubts(t *testing.T) {
	whole := runOf()
	whole.Complete = true
	require.Empty(t, Doubts(whole))
	for _, x := range []struct {
		name string
		set  func(*runner.Result)
		says string
	}{
		{"the bench could not judge", func(r *runner.Result) {
			for k := 2; k < 5; k++ {
				r.Points[k].Verdict = decision.Verdict{Reason: decision.PathNotProven}
			}
			r.Points[5].Verdict = decision.Verdict{Reason: decision.SourceNotLocked}
		}, "4 points were not judged, and count for nothing here: path not proven (3), source not locked (1)."},
		{"one point", func(r *runner.Result) { r.Points[5].Verdict = decision.Verdict{Reason: decision.LinkFailed} }, "1 point was not judged"},
		{"dead", func(r *runner.Result) { r.Statement, r.Symptom = runner.NotObtainable, "no display" }, "no readings at all (no display)"},
		{"added", func(r *runner.Result) { r.Only = []string{"B-003"} }, "chosen points only (B-003)"},
		{"ended", func(r *runner.Result) { r.Complete, r.Ended = false, "link" }, "before its plan did (link)"},
		{"RF", func(r *runner.Result) { r.RFMayBeOn = []string{"LF"} }, "RF of source LF could not be switched off"},
		{"overdue", func(r *runner.Result) { r.Overdue = []runner.Overdue{{Due: procedures.Due{Name: "house"}}} }, "Standard house was past its due date"},
	} {
		r := runOf()
		r.Complete = true
		x.set(&r)
		list := Doubts(r)
		require.Len(t, list, 1, x.name)
		require.Contains(t, list[0], x.says, x.name)
	}
}

// What all inputs have alike may be the bench's, what one has may not.
func TestSharedErrorMayBeTheBenchs(t *testing.T) {
	require.Empty(t, shared(symptom.Name(runOf())))
	require.Contains(t, shared([]symptom.Finding{{Symptom: symptom.SameShare, Inputs: []string{"A", "B"}}})[0], "the bench's reference")
}

// A model of another unit is told of, in whatever letters it is named.
func TestModelOfAnotherUnit(t *testing.T) {
	n := three(t)
	for unit, other := range map[string]bool{
		"Invented Instruments Demo Counter Three": false,
		"demo  counter three":                     false,
		"":                                        false, // the record names none
		"Invented Instruments Demo Counter Four":  true,
		"Old Demo Counter Three B":                true,
	} {
		require.Equal(t, other, n.otherUnit(unit) != "", unit)
	}
	x := NewCase(n, runOf(), nil)
	report, err := x.Report(t.Context(), Subject{Unit: "Other Counter"}, nil)
	require.NoError(t, err)
	require.Contains(t, strings.Join(report.Doubts, "\n"), `The model is of unit "Demo Counter Three", the record of "Other Counter"`)
	require.Contains(t, strings.Join(report.Model.Assumptions, "\n"), "At most two stages")
}

// Nothing is soldered, and no board comes out, of a unit that is plugged in; RF
// comes last, whatever the access.
func TestOrderOfALook(t *testing.T) {
	for _, a := range accesses() {
		require.Contains(t, orderOf(a), "RF off", a)
		if a != "connector" {
			require.Contains(t, orderOf(a), "unit off and unplugged", a)
			require.Contains(t, orderOf(a), "RF last", a)
		}
	}
}

// The same answer entered twice, by two persons or by mistake, makes nothing more
// certain; another one does count.
func TestSameLookCountsOnce(t *testing.T) {
	n := three(t)
	suspects := func(says ...string) []Suspect {
		x := NewCase(n, runOf(), nil)
		for _, text := range says {
			e, err := x.Saw(t.Context(), text)
			require.NoError(t, err)
			x.Add(e)
		}
		post, err := x.Posterior(t.Context())
		require.NoError(t, err)
		return post.Suspects()
	}
	once := suspects("TP8 at B 1.2 GHz: low")
	require.Equal(t, once, suspects("TP8 at B 1.2 GHz: low", "TP8 at B 1.2 GHz: low"))
	require.NotEqual(t, once, suspects("TP8 at B 1.2 GHz: low", "TP8 at B 1.2 GHz: nothing"))
}
