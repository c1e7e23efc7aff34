package isolate

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

func three(t testing.TB) *Network {
	t.Helper()
	text, err := os.ReadFile("../../cmd/bandproof/testdata/isolate/three.toml")
	require.NoError(t, err)
	n, err := Load("three.toml", text)
	require.NoError(t, err)
	return n
}

// runOf is a run with input B dead above 900 MHz, all else good.
func runOf() runner.Result {
	r := runner.Result{Kind: runner.AsFound}
	add := func(id, input, f string, good bool) {
		p := runner.PointResult{Point: procedures.Point{ID: id, Input: input, Frequency: quantity.MustParse[quantity.Hertz](f)}}
		p.Point.Levels.Input = quantity.MustLevel("-15 dBm")
		if p.Verdict = (decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}); good {
			p.Verdict = decision.Verdict{Word: decision.Pass}
		}
		r.Points = append(r.Points, p)
	}
	add("A-001", "A", "1 MHz", true)
	add("A-002", "A", "100 MHz", true)
	add("B-001", "B", "100 MHz", true)
	add("B-002", "B", "500 MHz", true)
	add("B-003", "B", "1 GHz", false)
	add("B-004", "B", "1.2 GHz", false)
	add("C-001", "C", "5 GHz", true)
	return r
}

func TestSaw(t *testing.T) {
	for _, x := range []struct {
		text string
		kind symptom.Kind
		kept string
	}{
		{"TP8: nothing", symptom.None, "TP8 at B 1.2 GHz: nothing"},
		{"tp8 : 1.2 GHz", symptom.Good, "TP8 at B 1.2 GHz: 1.2 GHz"},
		{"TP8: as it should be", symptom.Good, "TP8 at B 1.2 GHz: as it should be"},
		{"TP8: 1.2GHz, low", symptom.Weak, "TP8 at B 1.2 GHz: 1.2GHz, low"},
		{"TP8: LOW, 600 MHz", symptom.Half, "TP8 at B 1.2 GHz: LOW, 600 MHz"}, // a wrong frequency says more
		{"TP9 at B 1.2 GHz: 37.5 MHz", symptom.Good, "TP9 at B 1.2 GHz: 37.5 MHz"},
		{"TP9 at B 1.2 GHz: 37.503 MHz", symptom.Good, "TP9 at B 1.2 GHz: 37.503 MHz"}, // within 1e-4
		{"TP9 at B 1.2 GHz: 37.503 MHz ± 1 kHz", symptom.Off, "TP9 at B 1.2 GHz: 37.503 MHz ± 1 kHz"},
		{"TP9 at B 1.2 GHz: 38.5 MHz +- 2MHz", symptom.Good, "TP9 at B 1.2 GHz: 38.5 MHz +- 2MHz"},
		{"TP9 at B 1.2 GHz: 37.6 MHz", symptom.Off, "TP9 at B 1.2 GHz: 37.6 MHz"},
		{"TP9 at B 1.2 GHz: 75 MHz", symptom.Double, "TP9 at B 1.2 GHz: 75 MHz"},
		{"TP9 at B 1.2 GHz: 50 MHz", symptom.Ratio, "TP9 at B 1.2 GHz: 50 MHz"},
		{"TP9 at B 1.2 GHz: 38.71 MHz", symptom.Ratio, "TP9 at B 1.2 GHz: 38.71 MHz"}, // divided by 31
		{"TP9 at B 1.2 GHz: 41.2345 MHz", symptom.Other, "TP9 at B 1.2 GHz: 41.2345 MHz"},
		{"TP9 at B 100 MHz: 3.125 MHz", symptom.Good, "TP9 at B 100 MHz: 3.125 MHz"},
		{"TP9 at B: 37.5 MHz", symptom.Good, "TP9 at B 1.2 GHz: 37.5 MHz"},
		{"TP9 at B 800 MHz: comes and goes", symptom.Intermittent, "TP9 at B 800 MHz: comes and goes"},
		{"TP1: 10.00005 MHz ± 10 Hz", symptom.Off, "TP1 at A 100 MHz: 10.00005 MHz ± 10 Hz"},
		{"TP11: wrong", symptom.Other, "TP11 at A 100 MHz: wrong"},
		{"TP11: good", symptom.Good, "TP11 at A 100 MHz: good"},
	} {
		t.Run(x.text, func(t *testing.T) {
			c := NewCase(three(t), runOf(), nil)
			e, err := c.Saw(t.Context(), x.text)
			require.NoError(t, err)
			require.Equal(t, x.kind, e.Seen.Kind)
			signal := func(s string) string { return s[:strings.Index(s, ":")] }
			if !strings.HasPrefix(x.text, "TP1") {
				require.Equal(t, x.kept, e.Text)
			}
			// What is kept says by itself what was meant.
			again, err := c.Saw(t.Context(), e.Text)
			require.NoError(t, err)
			require.Equal(t, signal(e.Text), signal(again.Text))
			require.Equal(t, e.Seen, again.Seen)
		})
	}
}

func TestSawMistakes(t *testing.T) {
	for text, want := range map[string]string{
		"TP77: nothing":           `expected a test point, a colon, and what was seen, such as "TP1: nothing"`,
		"TP9":                     "test points are TP1, TP2, TP7, TP8, TP9, TP11, TP15",
		"TP9:":                    "an answer is missing",
		"TP9: 400":                `"400" is no frequency above 0 with its unit, such as "400 MHz", and none of: `,
		"TP9: -1 MHz":             "no frequency above 0",
		"TP9: 1 MHz, 2 MHz":       "says two things",
		"TP9: low, noisy":         "says two things",
		"TP9: 1 MHz ± 3":          "after ± stands what it may be off",
		"TP9 at D 1 GHz: nothing": `"D 1 GHz" names no input; expected one of A, B, C`,
		"TP9 at B 1: nothing":     "signal at input B: not a quantity",
		"TP9 at B 0 Hz: nothing":  "is not above 0",
		"TP9 at A 1 MHz: nothing": "nothing comes by at TP9 with 1 MHz at input A in a good unit; signals that do are B 1.2 GHz, B 500 MHz",
		"TP9 at B 9 GHz: nothing": "nothing comes by at TP9 with 9 GHz at input B",
		"TP11: 5 MHz":             "the model states no frequency at TP11; say one of: good, ",
		"TP11: low":               "TP11 is after a control line, whose right value may be a low one",
	} {
		t.Run(text, func(t *testing.T) {
			_, err := NewCase(three(t), runOf(), nil).Saw(t.Context(), text)
			require.ErrorContains(t, err, want)
		})
	}
}

// Each kind of what may be seen is understood as it is printed.
func TestWordsAreUnderstood(t *testing.T) {
	for _, k := range symptom.Kinds() {
		a, err := parseAnswer(AtTestPoint(k))
		require.NoError(t, err)
		require.Equal(t, k, a.kind)
	}
}

func requireSameJSON(t *testing.T, want, got any) {
	t.Helper()
	a, err := json.Marshal(want)
	require.NoError(t, err)
	b, err := json.Marshal(got)
	require.NoError(t, err)
	require.Equal(t, string(a), string(b))
}

// entered adds entries as the program does.
func entered(t *testing.T, c *Case, list ...Entry) {
	t.Helper()
	for _, e := range list {
		e.ID = strings.Repeat("x", len(c.Entries)+1)
		c.Add(e)
	}
}

func TestEntriesCountUntilTheyAreRevoked(t *testing.T) {
	c := NewCase(three(t), runOf(), nil)
	before, err := c.Report(t.Context(), Subject{}, nil)
	require.NoError(t, err)
	require.Equal(t, "TP7", before.Model.Next.TestPoint)
	require.Equal(t, "input board out", before.Model.Next.Needs)
	require.Equal(t, "-15 dBm", before.Model.Next.Apply.String())
	require.Empty(t, before.Model.Found)
	require.Greater(t, before.Model.Looks, 1.0)

	saw, err := c.Saw(t.Context(), "TP7: nothing")
	require.NoError(t, err)
	entered(t, c, saw)
	after, err := c.Report(t.Context(), Subject{}, nil)
	require.NoError(t, err)
	require.Equal(t, "B limiter", after.Model.Found)
	require.Nil(t, after.Model.Next)
	require.Equal(t, map[string]bool{"input board out": true}, c.Done())
	require.Equal(t, []string{"TP7"}, c.Looked())

	gone, err := Revoke(c.Entries, 1)
	require.NoError(t, err)
	entered(t, c, gone)
	back, err := c.Report(t.Context(), Subject{}, nil)
	require.NoError(t, err)
	requireSameJSON(t, before.Model, back.Model)
	require.True(t, back.Entries[0].Gone)
	require.Empty(t, c.Done())

	_, err = Revoke(c.Entries, 1)
	require.ErrorContains(t, err, `1: was revoked already ("TP7 at B 1.2 GHz: nothing")`)
	_, err = Revoke(c.Entries, 2)
	require.ErrorContains(t, err, "2: no entry has this number; they go from 1 to 1")

	done, err := c.Prepare("Input board out")
	require.NoError(t, err)
	entered(t, c, done)
	list, err := c.Proposals(t.Context())
	require.NoError(t, err)
	require.Empty(t, list[0].Needs, "done")
	_, err = c.Prepare("tea")
	require.ErrorContains(t, err, "there are: input board out")

	found, err := c.Close("B limiter: diode shorted")
	require.NoError(t, err)
	entered(t, c, found)
	require.Equal(t, "B limiter: diode shorted", c.Closed())
	_, err = c.Close("limiter: x")
	require.ErrorContains(t, err, `"limiter" is no stage of the model; there are A connector, `)
	_, err = c.Close("B limiter")
	require.ErrorContains(t, err, "expected a stage and what it had")
}

// What speaks against the model, or has no place in it, is named.
func TestNothingIsDropped(t *testing.T) {
	r := runOf()
	r.Points = append(r.Points, runner.PointResult{Point: procedures.Point{ID: "D-001", Input: "D", Frequency: quantity.MustParse[quantity.Hertz]("1 GHz")}})
	r.Points[len(r.Points)-1].Verdict = decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}
	c := NewCase(three(t), r, nil)
	report, err := c.Report(t.Context(), Subject{}, []string{"mind the dog"})
	require.NoError(t, err)
	require.Len(t, report.Model.Outside, 1)
	require.Equal(t, "D-001", report.Model.Outside[0].ID)
	require.Equal(t, append(Cautions(), three(t).Model.Cautions[0], "mind the dog"), report.Model.Cautions)
	n := 0
	for _, s := range report.Shown {
		n += len(s.Points)
	}
	require.Equal(t, len(r.Points), n)
	stages := 0
	for _, e := range report.Model.Exonerated {
		stages += len(e.Stages)
	}
	for _, s := range report.Model.Suspects {
		if s.Probability >= LeastSuspect {
			stages++
		}
	}
	require.Equal(t, len(c.Network.Model.Stages), stages)

	// Nothing at the input's limiter, and yet as it should be behind it.
	c = NewCase(three(t), runOf(), nil)
	for _, text := range []string{"TP7: nothing", "TP8: good", "TP9: good", "TP9 at B 500 MHz: nothing"} {
		e, err := c.Saw(t.Context(), text)
		require.NoError(t, err)
		entered(t, c, e)
	}
	report, err = c.Report(t.Context(), Subject{}, nil)
	require.NoError(t, err)
	require.NotEmpty(t, report.Model.Unexplained)
}

// A run in which all is good points at nothing.
func TestNothingWrong(t *testing.T) {
	r := runOf()
	for k := range r.Points {
		r.Points[k].Verdict = decision.Verdict{Word: decision.Pass}
	}
	report, err := NewCase(three(t), r, nil).Report(t.Context(), Subject{}, nil)
	require.NoError(t, err)
	require.Greater(t, report.Model.Good, Found)
	require.Nil(t, report.Model.Next)
	require.Empty(t, report.Model.Found)
}

// FuzzSaw: whatever is typed is understood or refused with a reason, and what is
// kept says the same again.
func FuzzSaw(f *testing.F) {
	for _, s := range []string{"TP7: 400 MHz", "TP9: nothing", "TP7 at B 1 GHz: 31.25 MHz, low", "TP1: 10 MHz ± 1 Hz", "TP1 at A 1e3 Hz: 10 MHz +- 1 kHz", "TP11: wrong", ":", "TP9 at", "TP1:,", "TP1: 1e39 Hz", "TP1: ±"} {
		f.Add(s)
	}
	c := NewCase(three(f), runOf(), nil)
	f.Fuzz(func(t *testing.T, text string) {
		e, err := c.Saw(t.Context(), text)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		require.GreaterOrEqual(t, place(e.Seen.Kind), 0)
		_, known := c.Network.pointNamed(e.Seen.TestPoint)
		require.True(t, known)
		again, err := c.Saw(t.Context(), e.Text)
		require.NoError(t, err)
		require.Equal(t, e.Seen.Kind, again.Seen.Kind)
		require.Equal(t, e.Text, again.Text)
	})
}
