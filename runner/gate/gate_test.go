package gate_test

import (
	"fmt"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/runner"
	"bandproof/runner/gate"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

const table = `
[[measure]]
kind = "gate and resolution"
input = "A"
frequency = "12.345678 MHz"
gates = ["10 ms", "100 ms", "1 s"]
`

func taken(t *testing.T, o runnertest.Options) runner.Result {
	t.Helper()
	if o.Append == "" {
		o.Append = table
	}
	o.Kinds = []runner.MeasureKind{gate.Kind{}}
	r := runnertest.New(t, o)
	r.Setup.ReplyAgrees = true
	got := r.Run()
	require.True(t, got.Complete, got.Ended)
	return got
}

// verdicts of the four rows of an outcome: time, step, spread, digits.
func verdicts(o runner.Outcome) []string {
	var list []string
	for _, x := range o.Rows {
		list = append(list, strings.TrimSpace(string(x.Verdict.Word)+" "+string(x.Verdict.Reason)))
	}
	return list
}

func good() []string { return []string{"pass", "pass", "pass", "pass"} }

func TestGoodUnit(t *testing.T) {
	for _, row := range []struct {
		name    string
		options runnertest.Options
		chance  string
	}{
		{"own timebase", runnertest.Options{}, "(a good unit misses a value of the last one by chance with a probability of at most 0.041 %)"},
		{"shared reference", runnertest.Options{BenchFile: []string{`profile = "scpi-counter"` + "\nreference = \"own\"", `profile = "scpi-counter"` + "\nreference = \"house standard\""},
			Scenario: shared}, ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			got := taken(t, row.options)
			require.Len(t, got.Outcomes, 3)
			for k, q := range []string{"100", "10", "1"} {
				o := got.Outcomes[k]
				require.Equal(t, good(), verdicts(o), "%s", o.Task.ID)
				require.InDelta(t, 1, o.Rows[0].Found.Float(), 0.01)
				require.Equal(t, q, o.Rows[1].Limit.String(), "one count is 1/gate")
				require.Equal(t, q, o.Rows[1].Found.String())
				require.LessOrEqual(t, o.Rows[2].Found.Float(), 2*o.Rows[1].Limit.Float())
				require.Contains(t, o.Rows[3].Says, fmt.Sprintf("%d digits from that of %s Hz on took all ten values", 5+k, q))
				require.True(t, strings.HasSuffix(o.Rows[3].Says, row.chance) && strings.Contains(o.Rows[3].Says, "by chance") == (row.chance != ""), o.Rows[3].Says)
			}
			require.False(t, got.Statement == runner.Outside || got.Statement == runner.Incomplete, got.Statement)
		})
	}
}

// shared plugs the house standard into the unit.
var shared = []string{`reference = "own"`, `reference = "external"`}

// A prescaled input shows counts of 32 Hz at 1 s: the last digit that takes all
// values is that of 100 Hz.
func TestPrescaledInput(t *testing.T) {
	got := taken(t, runnertest.Options{Append: strings.NewReplacer(`"A"`, `"B"`, "12.345678 MHz", "512.345678 MHz", `"10 ms", "100 ms", `, "").Replace(table)})
	o := got.Outcomes[0]
	require.Equal(t, good(), verdicts(o))
	require.Equal(t, "32", o.Rows[1].Found.String())
	require.Contains(t, o.Rows[3].Says, "6 digits from that of 100 Hz on")
}

func TestFaults(t *testing.T) {
	stuck, time := "fail a digit is stuck or missing", "fail readings come sooner than the gate allows"
	for _, row := range []struct {
		fault string
		want  [3][]string // by gate
		says  string      // of the digits at the last gate
	}{
		{"stuck-digit:input=A,amount=0:7", [3][]string{good(), good(), {"pass", "fail resolution", "fail unstable", stuck}}, "the digit of 1 Hz always shows 7"},
		{"stuck-digit:input=A,amount=3:7", [3][]string{{"pass", "pass", "fail unstable", stuck}, {"pass", "pass", "pass", stuck}, {"pass", "pass", "pass", stuck}}, "the digit of 1 kHz always shows 7"},
		{"missing-digit:input=A,amount=0:8", [3][]string{good(), good(), {"pass", "pass", "fail unstable", stuck}}, "the digit of 1 Hz never shows 8"},
		{"missing-digit:input=A,amount=2:5", [3][]string{{"pass", "pass", "fail unstable", stuck}, {"pass", "pass", "pass", stuck}, {"pass", "pass", "pass", stuck}}, "the digit of 100 Hz never shows 5"},
		{"gate-stays:input=A,amount=100 ms", [3][]string{good(), good(), {time, "fail resolution", "fail unstable", stuck}}, "the digit of 1 Hz always shows 0"},
		{"noisy:input=A,amount=5", [3][]string{{"pass", "pass", "fail unstable", ""}, {"pass", "pass", "fail unstable", ""}, {"pass", "pass", "fail unstable", ""}}, "not told: readings spread too far to lay it on a digit"},
	} {
		t.Run(row.fault, func(t *testing.T) {
			got := taken(t, runnertest.Options{Faults: []string{row.fault}})
			for k, o := range got.Outcomes {
				require.Equal(t, row.want[k], verdicts(o), o.Task.ID)
			}
			require.Equal(t, row.says, got.Outcomes[2].Rows[3].Says)
			require.Equal(t, runner.Outside, got.Statement)
		})
	}
}

// Replies that a profile does not vouch for are not held against the unit.
func TestRepliesThatSayNothingOfTheDisplay(t *testing.T) {
	r := runnertest.New(t, runnertest.Options{Append: table, Kinds: []runner.MeasureKind{gate.Kind{}}, Faults: []string{"gate-stays:input=A,amount=100 ms"}})
	x := r.Run().Outcomes[2].Rows[1]
	require.Equal(t, decision.Verdict{}, x.Verdict)
	require.Contains(t, x.Says, "readings step by 10 Hz, one count is 1 Hz; the unit's profile does not say")
}

func TestWhatTheBenchCannotShow(t *testing.T) {
	t.Run("coarse source", func(t *testing.T) {
		got := taken(t, runnertest.Options{BenchFile: []string{`resolution = "1 mHz"`, `resolution = "10 Hz"`}, Procedure: []string{`"1 kHz", "1 MHz"`, `"100 MHz"`, `"10 Hz"`, `"12 MHz"`},
			Append: strings.Replace(table, "12.345678", "12.34568", 1)})
		o := got.Outcomes[2]
		require.Equal(t, []string{"pass", "", "", "pass"}, verdicts(o))
		require.Contains(t, o.Rows[3].Says, "6 digits from that of 10 Hz on took all ten values; the last one was not shown")
	})
	t.Run("source unlocked", func(t *testing.T) {
		got := taken(t, runnertest.Options{Faults: []string{"source-unlock:instrument=LF,from=12 MHz,to=13 MHz"}})
		require.Equal(t, []string{"not judged source not locked"}, verdicts(got.Outcomes[0]))
	})
	t.Run("no count", func(t *testing.T) {
		got := taken(t, runnertest.Options{Faults: []string{"dead-above:input=A,from=10 MHz,to=20 MHz"}})
		require.Equal(t, []string{"fail no count"}, verdicts(got.Outcomes[0]))
	})
}

func TestKeys(t *testing.T) {
	text := `schema = "bandproof procedure 1"
[[input]]
name = "A"
range = ["10 Hz", "120 MHz"]
[[measure]]
kind = "gate and resolution"
input = "A"
frequency = "1 GHz"
false_alarm = "20 %"
time_tolerance = "60 %"
[[measure]]
kind = "gate and resolution"
frequency = "1 MHz"
[[measure]]
kind = "gate and resolution"
input = "A"
frequency = "1 MHz"
gates = ["1 s", "0 s"]
`
	_, err := procedures.LoadProcedure("p.toml", []byte(text), gate.Kind{})
	for _, want := range []string{
		"measure[1].frequency: is 1 GHz, outside the range 10 Hz to 120 MHz",
		"measure[1].gates: is missing, and no sweep of input A names a gate",
		"measure[1].false_alarm: is 20 %; expected 1e-9 to 10 %",
		"measure[1].time_tolerance: is 60 %; expected 0.1 % to 50 %",
		"measure[2].input: is missing",
		"measure[3].gates[2]: is 0 s; expected above zero",
	} {
		require.ErrorContains(t, err, want)
	}
}

// A shortness that lies within what the times of the replies are worth may be
// polling: it is not laid on the unit. One beyond that is.
func TestShortGateThatTheTimesCantTell(t *testing.T) {
	short := strings.Replace(table, `gates = ["10 ms", "100 ms", "1 s"]`, "gates = [\"1 s\"]\ntime_tolerance = \"1 %\"", 1)
	for gate, want := range map[string]string{"980 ms": "not judged uncertainty too large", "900 ms": "fail readings come sooner than the gate allows"} {
		got := taken(t, runnertest.Options{Append: short, Faults: []string{"gate-stays:input=A,amount=" + gate}})
		require.Equal(t, want, verdicts(got.Outcomes[0])[0], "1 s lasts %s: %s", gate, got.Outcomes[0].Rows[0].Says)
	}
}
