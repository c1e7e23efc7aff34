package runner_test

import (
	"context"
	"strings"
	"testing"

	"bandproof/procedures/decision"
	"bandproof/runner"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// twoSources is the bench of the demo with a cable from the low source to input
// B as well: up to 250 MHz that one has the better TUR, and both reach it. The
// gate is long enough to see 1 ppm.
func twoSources(faults ...string) options {
	return options{
		Faults:    faults,
		Procedure: []string{`points = ["100 MHz", "400 MHz", "900 MHz", "1.2 GHz"]` + "\ngate = \"1 s\"", `points = ["100 MHz", "200 MHz", "400 MHz", "900 MHz"]` + "\ngate = \"10 s\""},
		BenchFile: []string{`[[path]]
name = "MW to C"`, `[[path]]
name = "LF to B"
source = "LF"
input = "B"

[[path.part]]
name = "cable 3, 1 m"
loss = [["1 MHz", "0 dB"], ["250 MHz", "0.5 dB"]]

[[path]]
name = "MW to C"`},
		Scenario: []string{"[[wire]]\nsource = \"MW\"\ninput = \"C\"", `[[wire]]
source = "LF"
input = "B"
loss = [["1 MHz", "0.04 dB"], ["250 MHz", "0.5 dB"]]

[[wire]]
source = "MW"
input = "C"`},
	}
}

// notes of a point as one text.
func notes(p runner.PointResult) string { return strings.Join(p.Notes, "\n") }

func TestPlanTakesTheBetterSourceAndNotesTheOther(t *testing.T) {
	r := newRig(t, twoSources())
	for _, p := range r.Setup.Plan.Points {
		switch {
		case p.Input == "A":
			require.Empty(t, p.Also, p.ID)
		case p.Frequency.Float() > 250e6:
			require.Equal(t, "MW", p.Source, p.ID)
			require.Empty(t, p.Also, p.ID)
		default:
			require.Equal(t, "LF", p.Source, p.ID)
			require.Len(t, p.Also, 1, p.ID)
			w := p.Also[0]
			require.Equal(t, "MW to B", w.Path)
			require.False(t, w.HandsFree)
			require.Less(t, *w.TUR, *p.TUR)
			require.Equal(t, p.Gate, w.Gate)
		}
	}
	got := r.Run()
	require.Equal(t, runner.WithinAll, got.Statement)
	require.Equal(t, []string{"LF to A", "MW to B", "LF to B"}, r.Operator.Moves, "nothing failed, nothing is repeated")
}

// One source is wrong by 1 ppm and says that it is right. Without a monitor the
// second source is what shows it.
func TestSecondSourceShowsThatTheFirstIsOff(t *testing.T) {
	r := newRig(t, twoSources("source-offset:instrument=LF,amount=1 ppm"))
	got := r.Run()
	require.Equal(t, []string{"LF to A", "MW to B", "LF to B", "MW to B"}, r.Operator.Moves, "one more move, for all points together")
	disputed := 0
	for _, p := range got.Points {
		if p.Point.Input != "B" || p.Verdict.Word == decision.Pass {
			continue
		}
		disputed++
		require.Equal(t, "not judged: sources disagree", p.Verdict.String(), p.Point.ID)
		require.Equal(t, "fail: error outside the limit", p.Alone.String())
		require.Equal(t, "LF", p.Point.Source)
		require.Equal(t, "MW", p.Other.Point.Source)
		require.Equal(t, "pass", p.Other.Verdict.String())
		require.Equal(t, 5, p.Counted)
		require.Equal(t, 5, p.Other.Counted, "the readings of both are kept")
		require.Contains(t, p.Other.Standards, "MW")
		require.InDelta(t, 1e-6*p.Point.Frequency.Float(), p.Error.Sub(p.Other.Error).Float(), 8)
		require.Contains(t, notes(p), "with source LF it is fail: error outside the limit, with source MW pass: one of the sources is off")
		require.Equal(t, p.Other.Readings, r.Journal.Last(p.Point.ID).Other.Readings)
	}
	require.Positive(t, disputed)
	text := strings.Join(got.Warnings, "\n")
	require.Contains(t, text, "source LF is in doubt: source MW shows something else at B-0")
	require.Contains(t, text, "what failed with source LF alone may be its fault: A-0")
	require.True(t, got.Complete)
}

// A unit that is wrong is wrong with both sources.
func TestFailIsConfirmedByTheSecondSource(t *testing.T) {
	r := newRig(t, twoSources("double-counting:input=B,to=150 MHz"))
	got := r.Run()
	for _, id := range []string{"B-001", "B-002"} {
		p := find(got, id)
		require.Equal(t, "fail: error outside the limit", p.Verdict.String())
		require.Equal(t, "fail: error outside the limit", p.Other.Verdict.String())
		require.Nil(t, p.Alone)
		require.Contains(t, notes(p), "confirmed with source MW")
		require.NotContains(t, notes(p), "differ by more")
	}
	require.Equal(t, runner.Outside, got.Statement)
	require.NotContains(t, strings.Join(got.Warnings, "\n"), "in doubt")
}

// Without a person a path that needs a hand is not tried: the fail stands.
func TestNobodyForTheSecondLook(t *testing.T) {
	r := newRig(t, twoSources("double-counting:input=B,to=150 MHz"))
	r.Setup.Watcher = listener{point: func(p runner.PointResult) { r.Operator.Away = p.Point.ID == "B-003" || r.Operator.Away }}
	got := r.Run()
	p := find(got, "B-001")
	require.Equal(t, "fail: error outside the limit", p.Verdict.String())
	require.Nil(t, p.Other)
	require.Contains(t, notes(p), "not repeated with another source: no operator")
	require.Equal(t, notes(p), notes(*r.Journal.Last("B-001")))
}

// An intermittent fault that the second source happens not to see is not
// forgiven; what a source could not show the other one does.
func TestSecondLooks(t *testing.T) {
	t.Run("intermittent", func(t *testing.T) {
		seen := 0
		for seed := 1; seed <= 8; seed++ {
			o := twoSources("double-counting:input=B,to=150 MHz,probability=12 %")
			o.Seed = seed
			for _, p := range newRig(t, o).Run().Points {
				if p.Other != nil && p.Other.Verdict.Good() {
					seen++
					require.Equal(t, decision.Fail, p.Verdict.Word, p.Point.ID)
					require.Contains(t, p.Symptom, "intermittent: ")
					require.Contains(t, notes(p), "source MW finds no fault here; one that comes and goes need not show each time")
				}
			}
		}
		require.Positive(t, seen)
	})
	t.Run("source that does not lock", func(t *testing.T) {
		r := newRig(t, twoSources("source-unlock:instrument=LF,from=90 MHz,to=110 MHz"))
		got := r.Run()
		p := find(got, "B-002")
		require.Equal(t, "pass", p.Verdict.String())
		require.Equal(t, "MW", p.Point.Source)
		require.Equal(t, "not judged: source not locked", p.Other.Verdict.String())
		require.Contains(t, notes(p), "taken with source MW, because with source LF it is not judged: source not locked")
		require.Equal(t, runner.WithinAll, got.Statement)
	})
	t.Run("neither source locks", func(t *testing.T) {
		r := newRig(t, twoSources("source-unlock:instrument=LF,from=90 MHz,to=110 MHz", "source-unlock:instrument=MW,from=90 MHz,to=110 MHz"))
		p := find(r.Run(), "B-002")
		require.Equal(t, "not judged: source not locked", p.Verdict.String())
		require.Equal(t, "LF", p.Point.Source)
		require.Contains(t, notes(p), "a second look with source MW is not judged: source not locked")
	})
	t.Run("no output", func(t *testing.T) {
		r := newRig(t, twoSources("source-no-output:instrument=LF,from=30 MHz"))
		got := r.Run()
		for _, id := range []string{"B-001", "B-002"} {
			require.Equal(t, "pass", find(got, id).Verdict.String())
			require.Equal(t, "MW", find(got, id).Point.Source)
			require.Equal(t, "not judged: path not proven", find(got, id).Other.Verdict.String())
		}
	})
	t.Run("left out", func(t *testing.T) {
		r := newRig(t, twoSources("double-counting:input=B,to=150 MHz"))
		r.Setup.Operator = leaver{r.Operator, 4}
		p := find(r.Run(), "B-001")
		require.Contains(t, notes(p), "not repeated with another source: left out by the operator")
	})
	t.Run("references that change meanwhile void the second looks alone", func(t *testing.T) {
		r := newRig(t, twoSources("double-counting:input=B,to=150 MHz"))
		reference := "external"
		r.Setup.Sources["MW"] = &wanders{r.Setup.Sources["MW"], &reference}
		r.Setup.Watcher = listener{says: func(text string) {
			if strings.Contains(text, "repeated with source MW") {
				r.Operator.Then = func(runner.Move) {}
			}
			if strings.Contains(text, "it stands as") {
				reference = "own"
			}
		}}
		got := r.Run()
		p := find(got, "B-001")
		require.Equal(t, "fail: error outside the limit", p.Verdict.String())
		require.Equal(t, "not judged: source runs from another reference than stated", p.Other.Verdict.String())
		require.Equal(t, "pass", find(got, "B-004").Verdict.String(), "what was taken with it before was checked before")
	})
}

// monitored puts a monitor at one of the two sources.
func monitored(o options, source string) options {
	port := `"127.0.0.1:5029"`
	o.BenchFile = append(o.BenchFile, "[counter]\n", `[monitor]
maker = "Invented Instruments"
model = "Demo Monitor"
serial = "DM-0002"
address = "TCPIP0::127.0.0.1::5029::SOCKET"
profile = "scpi-counter"
source = "`+source+`"
input = "1"
range = ["100 kHz", "18 GHz"]
level = ["-30 dBm", "10 dBm"]
splitter_loss = [["100 kHz", "6 dB"], ["18 GHz", "6.8 dB"]]
gate = "10 s"
resolution = "0.1 Hz"
reference = "house standard"

[counter]
`)
	k := len(o.Scenario) - 1
	o.Scenario[k] = `[monitor]
name = "monitor"
source = "` + source + `"
splitter_loss = [["100 kHz", "6 dB"], ["18 GHz", "6.8 dB"]]
reference = "external"
external = "standard"
no_signal = "zero"
gate = ["1 ms", "100 s"]
default_gate = "100 ms"
identity = { maker = "Invented Instruments", model = "Demo Monitor", serial = "DM-0002", firmware = "2.2" }
link = { tcp = ` + port + ` }
timebase = { offset = "0.05 ppm" }

[[monitor.input]]
name = "1"
channel = 1
range = ["100 kHz", "18 GHz"]
kind = "direct"
impedance = "50 Ω"
max = "10 dBm"
damage = "20 dBm"
sensitivity = [{ range = ["100 kHz", "18 GHz"], specified = "-30 dBm", better_by = "5 dB" }]

` + o.Scenario[k]
	return o
}

// What a monitor has counted decides between two sources.
func TestMonitorDecides(t *testing.T) {
	t.Run("it sees that the first source drifts away", func(t *testing.T) {
		r := newRig(t, monitored(twoSources(), "LF"))
		r.Setup.Watcher = listener{point: func(p runner.PointResult) {
			if p.Point.ID == "B-001" {
				faults(t, r.Bench, "source-offset:instrument=LF,amount=0.3 ppm")
			}
		}}
		got := r.Run()
		require.Equal(t, runner.WithinAll, got.Statement)
		require.Equal(t, "LF", find(got, "B-001").Point.Source)
		for _, id := range []string{"B-002", "B-003"} {
			p := find(got, id)
			require.Equal(t, "MW", p.Point.Source, id)
			require.Equal(t, "not judged: source not at frequency (monitor)", p.Other.Verdict.String())
			require.False(t, p.Other.Monitor[len(p.Other.Monitor)-1].Good)
		}
	})
	t.Run("it finds the second source right", func(t *testing.T) {
		r := newRig(t, monitored(twoSources("source-offset:instrument=LF,amount=1 ppm"), "MW"))
		got := r.Run()
		p := find(got, "B-003")
		require.Equal(t, "pass", p.Verdict.String())
		require.Equal(t, "MW", p.Point.Source)
		require.Equal(t, "fail: error outside the limit", p.Other.Verdict.String())
		require.Contains(t, notes(p), "taken with source MW, which the monitor has counted at this point and found right; with source LF it is fail")
		require.Contains(t, strings.Join(got.Warnings, "\n"), "source LF is in doubt")
	})
	t.Run("it finds the first source right", func(t *testing.T) {
		r := newRig(t, monitored(twoSources("timebase-offset:amount=-1.2 ppm", "source-offset:instrument=MW,amount=-1.2 ppm,to=250 MHz"), "LF"))
		got := r.Run()
		p := find(got, "B-003")
		require.Equal(t, "fail: error outside the limit", p.Verdict.String())
		require.Equal(t, "LF", p.Point.Source)
		require.Equal(t, "pass", p.Other.Verdict.String())
		require.Contains(t, notes(p), "but the monitor has counted source LF at this point and found it right")
		require.Contains(t, strings.Join(got.Warnings, "\n"), "source MW is in doubt")
	})
}

// routed leads both sources to input B over a switch.
func routed(o options) options {
	o.BenchFile = append(o.BenchFile, "input = \"B\"\n\n[[path.part]]\nname = \"cable 3", "input = \"B\"\nswitch = \"SW\"\nposition = \"1\"\n\n[[path.part]]\nname = \"cable 3",
		"source = \"MW\"\ninput = \"B\"\n", "source = \"MW\"\ninput = \"B\"\nswitch = \"SW\"\nposition = \"2\"\n",
		"[counter]\n", `[[switch]]
name = "SW"
address = "TCPIP0::127.0.0.1::5028::SOCKET"
profile = "scpi-switch"

[counter]
`)
	o.Scenario = append(o.Scenario, "source = \"LF\"\ninput = \"B\"\n", "source = \"LF\"\ninput = \"B\"\nswitch = \"SW\"\nposition = 1\n",
		"source = \"MW\"\ninput = \"B\"\n", "source = \"MW\"\ninput = \"B\"\nswitch = \"SW\"\nposition = 2\n",
		"[[wire]]\nsource = \"LF\"\ninput = \"A\"", `[[switch]]
name = "SW"
positions = 6
identity = { maker = "Invented Instruments", model = "Demo Switch", serial = "DSX-0001", firmware = "1.0" }
link = { tcp = "127.0.0.1:5028" }

[[wire]]
source = "LF"
input = "A"`)
	return o
}

// Over a switch nobody is needed, neither for the sweep nor for the second look.
func TestSecondLookOverASwitch(t *testing.T) {
	r := newRig(t, routed(twoSources("source-offset:instrument=LF,amount=1 ppm")))
	got := r.Run()
	require.Equal(t, []string{"LF to A"}, r.Operator.Moves)
	p := find(got, "B-003")
	require.Equal(t, "not judged: sources disagree", p.Verdict.String())
	require.Equal(t, &runner.Route{Switch: "SW", Position: "1"}, p.Route)
	require.Equal(t, &runner.Route{Switch: "SW", Position: "2"}, p.Other.Route)

	t.Run("also where the first path needs a hand and nobody is there", func(t *testing.T) {
		o := routed(twoSources())
		o.BenchFile = append(o.BenchFile, "switch = \"SW\"\nposition = \"1\"\n", "")
		r := newRig(t, o)
		r.Operator.Away = true
		got := r.Run()
		require.Equal(t, all("not judged: no operator", 4), verdicts(got, "A"), "no other source makes them")
		for _, p := range got.Points {
			if p.Point.Input == "B" {
				require.Equal(t, "MW", p.Point.Source, p.Point.ID)
				require.Equal(t, "pass", p.Verdict.String(), p.Point.ID)
			}
		}
	})
}

// leaver leaves out the move of that number.
type leaver struct {
	*runnertest.Person
	at int
}

func (l leaver) Move(ctx context.Context, m runner.Move) error {
	if len(l.Moves)+1 == l.at {
		return runner.ErrLeftOut
	}
	return l.Person.Move(ctx, m)
}
