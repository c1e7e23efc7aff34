package runner_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/virtual"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

func faults(t *testing.T, b *virtual.Bench, list ...string) {
	t.Helper()
	var parsed []virtual.Fault
	for _, text := range list {
		f, err := virtual.ParseFault(text)
		require.NoError(t, err)
		parsed = append(parsed, f)
	}
	require.NoError(t, b.SetFaults(parsed))
}

// A procedure over a switch with power meter, monitor and thermometer, and
// nobody there: all of it is in the result.
func TestSwitchedBenchNeedsNobody(t *testing.T) {
	r := newRig(t, options{Switched: true})
	got := r.Run()
	r.Alone()
	require.True(t, got.Complete)
	require.NotEmpty(t, got.Points)
	positions := map[string]string{"A": "1", "B": "2", "C": "3"}
	for _, p := range got.Points {
		require.Equal(t, "pass", p.Verdict.String(), "%s: %q", p.Point.ID, p.Notes)
		require.Equal(t, &runner.Route{Switch: "SW", Position: positions[p.Point.Input]}, p.Route)
		if again := len(p.Monitor) - 2; again > 0 { // the closing check
			require.Equal(t, []runner.Use{runner.ClosingCheck, runner.ClosingCheck}, []runner.Use{p.Monitor[2].Use, p.Monitor[3].Use})
			p.Monitor = p.Monitor[:2]
		}
		require.Len(t, p.Monitor, 2, "one thrown away, one that counts")
		last := p.Monitor[1]
		require.True(t, last.Good)
		require.NotEmpty(t, last.Text)
		require.InDelta(t, p.Point.Frequency.Float(), last.Frequency.Float(), 0.11)
		require.Contains(t, p.Standards, "monitor")
		if p.Point.Input != "C" {
			require.Nil(t, p.Level)
			continue
		}
		require.Equal(t, "PM", p.Level.Meter)
		require.Contains(t, p.Standards, "PM")
		require.InDelta(t, p.Point.Levels.Connector.DBm(quantity.Dbm50()), p.Level.Connector.DBm(quantity.Dbm50()), 0.7)
		require.NotEqual(t, p.Point.Levels.Connector.String(), p.Level.Connector.String(), "measured, not computed")
		require.InDelta(t, 0.2236, p.Level.Uncertainty, 1e-4)
	}
	var when []string
	for _, a := range got.Ambient {
		when = append(when, a.When)
		require.Equal(t, "23.5 °C", a.Temperature.String())
		require.Equal(t, "45.0 %", a.Humidity.String())
	}
	require.Equal(t, []string{"start", "input A", "input B", "input C", "end"}, when)
	require.Len(t, got.Aids, 4)
	require.Equal(t, "DM-0002", got.Aids["monitor"].Serial)
}

// The same seed gives the same result on the switched bench too.
func TestSwitchedBenchRepeats(t *testing.T) {
	once := func() []string {
		var list []string
		for _, p := range newRig(t, options{Switched: true, Seed: 7}).Run().Points {
			for _, x := range p.Readings {
				list = append(list, x.Text)
			}
			for _, x := range p.Monitor {
				list = append(list, x.Text)
			}
			if p.Level != nil {
				list = append(list, p.Level.Reading.Text)
			}
		}
		return list
	}
	require.Equal(t, once(), once())
}

func TestStuckSwitch(t *testing.T) {
	r := newRig(t, options{Switched: true, Faults: []string{"switch-stuck"}})
	got := r.Run()
	r.Alone()
	for _, p := range got.Points {
		require.Equal(t, "not judged: path not proven", p.Verdict.String())
		require.Empty(t, p.Readings, "no RF goes where the way is not known")
		require.Contains(t, strings.Join(p.Notes, "\n"), "switch SW reads back no position, told position")
	}
	require.Equal(t, runner.Incomplete, got.Statement)
}

// A switch that moves by itself in the middle of an input's points voids them.
func TestSwitchThatMovesMeanwhile(t *testing.T) {
	r := newRig(t, options{Switched: true})
	s := &mover{Switch: r.Setup.Switches["SW"]}
	r.Setup.Switches["SW"] = s
	got := r.Run()
	for _, p := range got.Points {
		if p.Point.Input == "B" {
			require.Equal(t, "not judged: path not proven", p.Verdict.String())
			require.NotEmpty(t, p.Readings, "what was read is kept")
		} else {
			require.Equal(t, "pass", p.Verdict.String(), p.Point.ID)
		}
	}
}

// The contacts fail though the switch reads back right: where a power meter
// sits at the input, that is no fault of the unit.
func TestSwitchWithoutContact(t *testing.T) {
	r := newRig(t, options{Switched: true, Faults: []string{"switch-no-contact"}})
	got := r.Run()
	r.Alone()
	for _, p := range got.Points {
		if p.Point.Input == "C" {
			require.Equal(t, "not judged: "+string(decision.LevelNotAsPlanned), p.Verdict.String())
			require.Contains(t, strings.Join(p.Notes, "\n"), "power meter PM: under-range")
		}
	}
}

// A dead input of the unit: power meter, or switch and monitor, prove the path
// without a person, so that "no count" stands.
func TestAidsProveThePath(t *testing.T) {
	for _, row := range []struct{ input, note string }{
		{"C", "path proven: power meter PM finds"},
		{"B", "path proven: switch SW reads back position 2, and the monitor counts the source"},
	} {
		t.Run(row.input, func(t *testing.T) {
			r := newRig(t, options{Switched: true, Faults: []string{"dead-input:input=" + row.input}})
			got := r.Run()
			r.Alone()
			for _, p := range got.Points {
				if p.Point.Input != row.input {
					require.Equal(t, "pass", p.Verdict.String(), p.Point.ID)
					continue
				}
				require.Equal(t, "fail: no count", p.Verdict.String(), "%q", p.Notes)
				require.Contains(t, strings.Join(p.Notes, "\n"), row.note)
			}
		})
	}
}

// A switch alone shows the way but no signal: a source that gives none must not
// be booked as "no count" on the unit.
func TestSwitchAloneProvesNoSignal(t *testing.T) {
	for _, row := range []struct {
		fault string
		want  string
	}{
		{"source-no-output:instrument=SG", "not judged: path not proven"},
		{"dead-input:input=C", "fail: no count"}, // the source was counted at A and B
	} {
		t.Run(row.fault, func(t *testing.T) {
			r := newRig(t, options{Switched: true, Faults: []string{row.fault}})
			withoutMonitorAndMeter(t, r)
			got := r.Run()
			for _, p := range got.Points {
				if p.Point.Input == "C" || strings.HasPrefix(row.fault, "source") {
					require.Equal(t, row.want, p.Verdict.String(), "%s %q", p.Point.ID, p.Notes)
				}
			}
		})
	}
}

// Whatever is wrong with the source, the monitor sees it and the unit is not
// blamed.
func TestMonitorCatchesTheSource(t *testing.T) {
	for _, row := range []struct{ fault, note string }{
		{"source-offset:instrument=SG,amount=2 ppm", "monitor shows"},
		{"source-no-output:instrument=SG", "monitor: no measurement"},
		{"timebase-offset:instrument=monitor,amount=5 ppm", ""}, // on its external reference: nothing happens
		{"gate-short:instrument=monitor,amount=1 %", "monitor shows"},
	} {
		t.Run(row.fault, func(t *testing.T) {
			r := newRig(t, options{Switched: true, Faults: []string{row.fault}, Scenario: nil})
			got := r.Run()
			r.Alone()
			for _, p := range got.Points {
				if row.note == "" {
					require.Equal(t, "pass", p.Verdict.String(), p.Point.ID)
					continue
				}
				require.Contains(t, []string{"not judged: " + string(decision.SourceOffFrequency), "not judged: " + string(decision.LevelNotAsPlanned)}, p.Verdict.String(), p.Point.ID)
				if p.Point.Input != "C" {
					require.Equal(t, "not judged: source not at frequency (monitor)", p.Verdict.String())
					require.Contains(t, strings.Join(p.Notes, "\n"), row.note)
					require.GreaterOrEqual(t, len(p.Monitor), 4, "tried again")
					require.False(t, p.Monitor[len(p.Monitor)-1].Good)
				}
			}
			require.NotEqual(t, runner.Outside, got.Statement)
		})
	}
}

// A source that goes off frequency after it was found good: the monitor is
// asked once more before a reading is booked on the unit.
func TestMonitorIsAskedAgainBeforeAFailure(t *testing.T) {
	r := newRig(t, options{Switched: true})
	n := 0
	r.Setup.Counter = watchful(r.Setup.Counter, func() {
		if n++; n == 2 {
			faults(t, r.Bench, "source-offset:instrument=SG,amount=5 ppm")
		}
	})
	got := r.Run()
	require.Equal(t, "not judged: source not at frequency (monitor)", got.Points[0].Verdict.String(), "%q", got.Points[0].Notes)
}

func TestMeterThatIsOff(t *testing.T) {
	for fault, note := range map[string]string{"meter-offset:amount=6 dB": "off the planned level", "meter-dead": "under-range", "source-level-low:instrument=SG,amount=9 dB": "off the planned level"} {
		t.Run(fault, func(t *testing.T) {
			r := newRig(t, options{Switched: true, Faults: []string{fault}})
			got := r.Run()
			r.Alone()
			for _, p := range got.Points {
				if p.Point.Input == "C" {
					require.Equal(t, "not judged: "+string(decision.LevelNotAsPlanned), p.Verdict.String())
					require.Contains(t, strings.Join(p.Notes, "\n"), note)
					require.Empty(t, p.Readings)
				}
			}
		})
	}
}

// The limit of a point takes the level that was measured: trigger noise makes
// more of a lower level.
func TestMeasuredLevelEntersTheLimit(t *testing.T) {
	noisy := []string{`accuracy = { kind = "down-converted" }`, `accuracy = { kind = "down-converted", trigger_noise = "0.5 mV" }`}
	r := newRig(t, options{Switched: true, Procedure: noisy})
	got := r.Run()
	seen := 0
	for _, p := range got.Points {
		if p.Level == nil {
			continue
		}
		seen++
		want, err := r.Setup.Plan.LimitAt(inputOf(r, "C"), with(p.Point, p.Level.Input), p.Reference, p.Gate)
		require.NoError(t, err)
		require.Zero(t, p.Limit.Total.Cmp(want.Total))
		require.NotZero(t, p.Limit.Total.Cmp(p.Point.Limit.Total), "not that of the computed level")
	}
	require.NotZero(t, seen)
}

func TestSilentThermometerIsDoneWithout(t *testing.T) {
	r := newRig(t, options{Switched: true, BenchFile: []string{`profile = "scpi-thermometer"`, "profile = \"scpi-thermometer\"\ntimeout = \"200 ms\""}})
	faults(t, r.Bench, "silent:instrument=room,reply=MEAS")
	got := r.Run()
	r.Alone()
	require.True(t, got.Complete)
	require.Len(t, got.Ambient, 1, "asked once, not at each input")
	require.NotEmpty(t, got.Ambient[0].Failed)
	require.Nil(t, got.Ambient[0].Temperature)
	require.Contains(t, strings.Join(got.Warnings, "\n"), "thermometer room does not answer")
	for _, p := range got.Points {
		require.Equal(t, "pass", p.Verdict.String())
	}
}

func TestRoomThatIsTooWarmWarns(t *testing.T) {
	r := newRig(t, options{Switched: true, Scenario: []string{`ambient = "23.4 °C"`, `ambient = "29 °C"`, `humidity = "45 %"`, `humidity = "80 %"`}})
	got := r.Run()
	said := strings.Join(got.Warnings, "\n")
	require.Contains(t, said, "input B: ambient temperature by thermometer room is 29.1 °C, outside 18 °C to 28 °C")
	require.Contains(t, said, "end: relative humidity by thermometer room is 80.0 %, outside 20 % to 70 %")
}

func TestAidsThatAreOthersThanStatedEndTheRun(t *testing.T) {
	for _, serial := range []string{"DSX-0001", "DP-0009", "DT-0004", "DM-0002"} {
		r := newRig(t, options{Switched: true, BenchFile: []string{serial, "OTHER-1"}})
		_, err := runner.Run(t.Context(), r.Setup)
		require.ErrorIs(t, err, runner.ErrBench)
		require.ErrorContains(t, err, `but "OTHER-1"`)
	}
}

// A monitor that runs from another reference than stated would blame the
// source: the run does not start.
func TestMonitorOnAnotherReferenceThanStated(t *testing.T) {
	r := newRig(t, options{Switched: true, Scenario: []string{"reference = \"external\"\nexternal = \"standard\"", "reference = \"own\"\nexternal = \"standard\""}})
	_, err := runner.Run(t.Context(), r.Setup)
	require.ErrorIs(t, err, runner.ErrBench)
	require.ErrorContains(t, err, "the monitor reports that it runs from its own reference, the bench file says house standard (external)")
}

// Whatever is wrong with the switched bench, a healthy unit is never blamed.
func TestFaultsOfTheBenchAreNeverBookedOnTheUnit(t *testing.T) {
	list := []string{
		"switch-stuck", "switch-stuck:probability=50 %", "meter-dead:probability=40 %", "meter-offset:amount=2 dB,probability=50 %", "meter-offset:amount=20 dB",
		"source-offset:instrument=SG,amount=2 ppm,probability=40 %", "source-offset:instrument=SG,amount=-50 ppm", "source-no-output:instrument=SG,probability=40 %",
		"source-level-low:instrument=SG,amount=12 dB,from=1.7 GHz,probability=50 %", "source-slow-lock:instrument=SG,amount=2", "source-unlock:instrument=SG,probability=30 %",
		"gate-short:instrument=monitor,amount=1 %,probability=50 %", "dead-input:instrument=monitor,probability=50 %", "missing-counts:instrument=monitor,amount=5 %",
		"garbage:instrument=room", "garbage:instrument=PM,probability=10 %", "garbage:instrument=monitor,probability=5 %", "garbage:instrument=SW,probability=5 %",
	}
	random := rand.New(rand.NewPCG(20, 26))
	words := map[decision.Word]int{}
	for seed := 1; seed <= 20; seed++ {
		var some []string
		for _, k := range random.Perm(len(list))[:1+random.IntN(3)] {
			some = append(some, list[k])
		}
		t.Run(fmt.Sprintf("seed %d %s", seed, strings.Join(some, " + ")), func(t *testing.T) {
			var unhurried []string // the rig opens its instruments on a good link
			for _, x := range some {
				if !strings.HasPrefix(x, "garbage") {
					unhurried = append(unhurried, x)
				}
			}
			r := newRig(t, options{Switched: true, Seed: seed, Faults: unhurried})
			faults(t, r.Bench, some...)
			got, _ := runner.Run(t.Context(), r.Setup) // a bench error is an answer too
			for _, p := range got.Points {
				require.False(t, p.Verdict.Bad(), "%s: %s %q", p.Point.ID, p.Verdict, p.Notes)
				words[p.Verdict.Word]++
			}
			require.Empty(t, r.Bench.Events(), "no cable or switch moved with RF on, nothing destroyed")
		})
	}
	require.NotZero(t, words[decision.Pass], "some points are not touched by the faults")
	require.NotZero(t, words[decision.NotJudged], "some are")
}

// A source that dies while an input is under way: that it was counted before is
// no proof that it still gives a signal.
func TestSourceThatDiesIsNotProvenByItsPast(t *testing.T) {
	r := newRig(t, options{Switched: true})
	withoutMonitorAndMeter(t, r)
	passed := 0
	for _, p := range r.Setup.Plan.Points {
		if p.Input == "A" {
			passed++
		}
	}
	reads := 0
	r.Setup.Counter = watchful(r.Setup.Counter, func() {
		// Each point of A throws one reading away and counts three, the first one looks twice
		// with RF off; as many for the first point of B.
		if reads++; reads == (passed+1)*4+4+1 {
			faults(t, r.Bench, "source-no-output:instrument=SG")
		}
	})
	got := r.Run()
	words := map[string]int{}
	for _, p := range got.Points {
		require.False(t, p.Verdict.Bad(), "%s %s %q", p.Point.ID, p.Verdict, p.Notes)
		words[p.Verdict.String()]++
	}
	require.Equal(t, passed+1, words["pass"])
	require.NotZero(t, words["not judged: path not proven"])
}

func withoutMonitorAndMeter(t *testing.T, r *rig) {
	t.Helper()
	r.Setup.Bench.Monitor, r.Setup.Monitor = nil, nil
	for k := range r.Setup.Bench.Paths {
		r.Setup.Bench.Paths[k].Meter = nil
	}
	var err error
	r.Setup.Plan, err = procedures.NewPlan(r.Setup.Procedure, r.Setup.Bench, procedures.Options{Now: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)})
	require.NoError(t, err)
}

// The unit promises to count from its sensitivity on. Where the power meter
// shows the level to lie below that, a failure is not booked on the unit; where
// it may lie below, the failure stands and the record says so.
func TestFailureBelowThePromisedLevelIsNotBookedOnTheUnit(t *testing.T) {
	atPromise := []string{"input = \"C\"\npoints = [\"2 GHz\", \"6 GHz\", \"12 GHz\"]\ngate = \"1 s\"\nreadings = 3\nabove_sensitivity = \"6 dB\"",
		"input = \"C\"\npoints = [\"2 GHz\", \"6 GHz\", \"12 GHz\"]\ngate = \"1 s\"\nreadings = 3\nabove_sensitivity = \"0 dB\""}
	for _, row := range []struct {
		off           float64 // dB from the specified -20 dBm; U = 0.22 dB
		verdict, note string
	}{
		{-0.5, "not judged: " + string(decision.LevelNotAsPlanned), "lies below -20 dBm"},
		{-0.1, "fail: no count", "may lie below -20 dBm"},
		{0.1, "fail: no count", "may lie below -20 dBm"},
		{0.3, "fail: no count", ""},
	} {
		t.Run(fmt.Sprintf("%+.1f dB", row.off), func(t *testing.T) {
			r := newRig(t, options{Switched: true, Procedure: atPromise, Faults: []string{"dead-input:input=C"}})
			r.Setup.PowerMeters["PM"] = &finder{PowerMeter: r.Setup.PowerMeters["PM"], dbm: -20 + row.off}
			seen := 0
			for _, p := range r.Run().Points {
				if p.Point.Input != "C" {
					continue
				}
				notes := strings.Join(p.Notes, "\n")
				require.Equal(t, row.verdict, p.Verdict.String(), notes)
				require.Contains(t, notes, row.note)
				require.Equal(t, row.note != "", strings.Contains(notes, "within which the unit promises"), notes)
				seen++
			}
			require.NotZero(t, seen)
		})
	}
}

// The interlock goes by tables; where the meter shows that they are wrong, the
// run ends at once and the input sees such a level no second time.
func TestMeasuredLevelNearDamageEndsTheRun(t *testing.T) {
	for name, meter := range map[string]*finder{"14.1 dBm, margin 3 dB": {dbm: 14.1}, "beyond the meter's 20 dBm": {mark: drivers.OverRange}} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t, options{Switched: true})
			meter.PowerMeter = r.Setup.PowerMeters["PM"]
			r.Setup.PowerMeters["PM"] = meter
			got, err := runner.Run(t.Context(), r.Setup)
			require.ErrorIs(t, err, runner.ErrBench)
			require.ErrorContains(t, err, "at input C, which is destroyed at 17 dBm")
			last := got.Points[len(got.Points)-1]
			require.Equal(t, "C", last.Point.Input)
			require.Equal(t, "not judged: "+string(decision.InterlockRefused), last.Verdict.String())
			require.Equal(t, 1, last.Setting.Tries)
			require.Empty(t, last.Readings)
			require.False(t, got.Complete)
		})
	}
}
