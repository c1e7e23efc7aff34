package procedures_test

import (
	"os"
	"strings"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var now = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

func hz(text string) quantity.Frequency { return quantity.MustParse[quantity.Hertz](text) }

// with reads the good fixtures after replacing texts in them; pairs of old, new.
func with(t *testing.T, procedure, bench []string) (*procedures.Procedure, *procedures.Bench) {
	t.Helper()
	read := func(file string, pairs []string) []byte {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		text := string(data)
		for k := 0; k < len(pairs); k += 2 {
			require.Contains(t, text, pairs[k])
			text = strings.Replace(text, pairs[k], pairs[k+1], 1)
		}
		return []byte(text)
	}
	p, err := procedures.LoadProcedure("procedure.toml", read("testdata/procedure.toml", procedure))
	require.NoError(t, err)
	b, err := procedures.LoadBench("bench.toml", read("testdata/bench.toml", bench))
	require.NoError(t, err)
	return p, b
}

func plan(t *testing.T, p *procedures.Procedure, b *procedures.Bench) *procedures.Plan {
	t.Helper()
	pl, err := procedures.NewPlan(p, b, procedures.Options{Now: now})
	require.NoError(t, err)
	return pl
}

func at(t *testing.T, pl *procedures.Plan, f string) procedures.Point {
	t.Helper()
	for _, p := range pl.Points {
		if p.Frequency.Cmp(hz(f)) == 0 {
			return p
		}
	}
	t.Fatalf("no point at %s", f)
	return procedures.Point{}
}

func frequencies(pl *procedures.Plan) (list []string) {
	for _, p := range pl.Points {
		list = append(list, p.Frequency.String())
	}
	return list
}

func TestPointsOfASweep(t *testing.T) {
	for _, c := range []struct{ name, keys, want string }{
		{"per decade, both edges, no duplicates", `per_decade = 1`, "10 Hz 100 Hz 1 kHz 10 kHz 100 kHz 1 MHz 10 MHz 100 MHz"},
		{"three per decade", "per_decade = 3\nto = \"1 kHz\"", "10 Hz 21.5 Hz 46.4 Hz 100 Hz 215 Hz 464 Hz 1 kHz"},
		{"per octave", "per_octave = 1\nfrom = \"10 MHz\"", "10 MHz 20 MHz 40 MHz 80 MHz 100 MHz"},
		{"linear step", "step = \"30 MHz\"\nfrom = \"1 MHz\"", "1 MHz 30 MHz 60 MHz 90 MHz 100 MHz"},
		{"list", "points = [\"1 MHz\", \"5 MHz\", \"1 MHz\"]", "10 Hz 1 MHz 5 MHz 100 MHz"},
		{"mixed", "per_decade = 1\nfrom = \"1 MHz\"\nstep = \"50 MHz\"\npoints = [\"10 MHz\", \"12 MHz\"]", "1 MHz 10 MHz 12 MHz 50 MHz 100 MHz"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, b := with(t, []string{"per_decade = 1", c.keys}, nil)
			p.Sweeps = p.Sweeps[:1]
			require.Equal(t, c.want, strings.Join(frequencies(plan(t, p, b)), " "))
		})
	}
}

func TestLimitAndTUR(t *testing.T) {
	p, b := with(t, nil, nil)
	x := at(t, plan(t, p, b), "100 MHz")
	// ±1 count of a 10 s gate is 0.1 Hz, 0.5 ppm of 100 MHz is 50 Hz; the
	// reference's U of 1e-10 is 0.01 Hz.
	require.Equal(t, "50.1", x.Limit.Total.String())
	require.InEpsilon(t, 0.501, x.LimitPPM, 1e-12)
	require.InEpsilon(t, 50.1/0.01, *x.TUR, 1e-9)
}

// The five rows of the reference topology.
func TestTopology(t *testing.T) {
	second := "\n[[reference]]\nname = \"other\"\nuncertainty = \"3e-10\"\noffset = \"1e-9\"\n"
	for _, c := range []struct {
		name, unit, source, extra string
		timebase                  bool
		coherent                  bool
		u                         float64 // expanded, relative
		factor                    string  // f_ref/f_set
	}{
		{"unit on its own, source on a reference", "own", `"standard"`, "", true, false, 1e-10, "1"},
		{"shared reference", "standard", `"standard"`, "", false, true, 0, "1"},
		{"two references", "other", `"standard"`, second, false, false, 3.16227766e-10, "1000000000/1000000001"},
		{"both on their own", "own", "\"own\"\nown_timebase = \"1e-8\"\nown_offset = \"2e-9\"", "", true, false, 2 * 1e-8 / 1.7320508, "1.000000002"},
		{"source driven by the unit", "own", `"unit"`, "", false, true, 0, "1"},
		{"unit fed by the source", "G1", "\"own\"\nown_timebase = \"1e-8\"", "", false, true, 0, "1"},
		{"one reference steered by the other", "other", `"standard"`, strings.Replace(second, "uncertainty", "steered_by = \"standard\"\nuncertainty", 1), false, false, 3e-10, "1000000000/1000000001"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, b := with(t, nil, []string{"reference = \"own\"\n", "reference = \"" + c.unit + "\"\n", "reference = \"standard\"\n", "reference = " + c.source + "\n", "\n[counter]", c.extra + "\n[counter]"})
			pl := plan(t, p, b)
			top := pl.Topology["G1"]
			require.Equal(t, c.timebase, top.TimebaseTested)
			require.Equal(t, c.coherent, top.Coherent)
			require.Equal(t, c.factor, top.Factor.String())
			x := at(t, pl, "100 MHz")
			if c.u == 0 {
				require.Nil(t, x.TUR, "not limited")
			} else {
				require.InEpsilon(t, c.u*1e8, x.BenchU, 1e-6)
			}
			require.Equal(t, c.timebase, len(x.Limit.Terms) == 2, "timebase term in %v", x.Limit.Terms)
			require.Equal(t, c.coherent, x.Coherent)
		})
	}
}

func TestNoPlanUntilBothReferencesAreStated(t *testing.T) {
	text, err := os.ReadFile("testdata/bad/bench-no-counter-reference.toml")
	require.NoError(t, err)
	_, err = procedures.LoadBench("b.toml", text)
	require.ErrorContains(t, err, "counter.reference: is missing")
}

func TestDriftSinceCalibration(t *testing.T) {
	p, b := with(t, nil, []string{`uncertainty = "1e-10"`, "uncertainty = \"1e-10\"\ndrift_per_day = \"1e-12\""})
	// 327 days since 2026-01-02: 3.27e-10 rectangular, with 0.5e-10 standard.
	x := at(t, plan(t, p, b), "100 MHz")
	require.InEpsilon(t, 2*1e8*1.9536e-10, x.BenchU, 1e-3)
}

func TestWhatCannotBeShown(t *testing.T) {
	t.Run("source range", func(t *testing.T) {
		p, b := with(t, nil, []string{`range = ["1 Hz", "2 GHz"]`, `range = ["50 Hz", "30 MHz"]`})
		pl := plan(t, p, b)
		require.Equal(t, "50 Hz 100 Hz 1 kHz 10 kHz 100 kHz 1 MHz 10 MHz 30 MHz", strings.Join(frequencies(pl), " "))
		n := pl.Inputs[0].NotShown
		require.Len(t, n, 2)
		require.Equal(t, []string{"10 Hz", "50 Hz"}, []string{n[0].From.String(), n[0].To.String()})
		require.Contains(t, n[0].Reason, "below the range of source G1 (from 50 Hz)")
		require.Equal(t, []string{"30 MHz", "100 MHz"}, []string{n[1].From.String(), n[1].To.String()})
		require.InDelta(t, 5.778/7, pl.Inputs[0].Coverage.Share, 0.001)
		require.Len(t, pl.Inputs[1].NotShown, 1, "input B has no path")
		require.Contains(t, pl.Inputs[1].NotShown[0].Reason, "no path in the bench file")
		require.Zero(t, pl.Inputs[1].Coverage.Share)
	})
	t.Run("path loss unknown", func(t *testing.T) {
		p, b := with(t, nil, []string{`["2 GHz", "1 dB"]`, `["50 MHz", "1 dB"]`})
		n := plan(t, p, b).Inputs[0].NotShown
		require.Len(t, n, 1)
		require.Equal(t, "path loss unknown (cable)", n[0].Reason)
	})
	t.Run("level beyond the source", func(t *testing.T) {
		p, b := with(t, nil, []string{`level = ["-100 dBm", "13 dBm"]`, `level = ["-100 dBm", "-20 dBm"]`})
		require.Contains(t, plan(t, p, b).Inputs[0].NotShown[0].Reason, "level above the source's range")
	})
	t.Run("damage margin", func(t *testing.T) {
		// 100 mV at an open 1 MΩ end need -13 dBm; damage at 0.15 V less 3 dB
		// less the source's uncertainty leaves less than that.
		p, b := with(t, []string{`damage = "5 V"`, `damage = "0.15 V"`}, []string{`level_uncertainty = "0.5 dB"`, `level_uncertainty = "1 dB"`})
		require.Contains(t, plan(t, p, b).Inputs[0].NotShown[0].Reason, "level too near to the damage level")
	})
	t.Run("limit that shows nothing", func(t *testing.T) {
		p, b := with(t, []string{`gate = "10 s"`, `gate = "0.1 s"`}, nil)
		n := plan(t, p, b).Inputs[0].NotShown
		require.Contains(t, n[0].Reason, "more than a tenth of the frequency")
	})
}

func TestCoverage(t *testing.T) {
	p, _ := with(t, []string{`max_gap = "1 octave"`, "max_gap = \"1 octave\"\ncrossovers = [\"200 MHz\"]"}, nil)
	i, _ := p.Input("B") // 50 MHz to 1 GHz
	for _, c := range []struct {
		name, shown string
		share       float64
		complete    bool
	}{
		{"all, crossover on both sides", "50 MHz,100 MHz,198 MHz,202 MHz,400 MHz,800 MHz,1 GHz", 1, true},
		{"crossover on one side only", "50 MHz,100 MHz,198 MHz,390 MHz,700 MHz,1 GHz", 0.7737, false},
		{"lowest edge missing", "100 MHz,198 MHz,202 MHz,400 MHz,800 MHz,1 GHz", 0.7686, false},
		{"a gap of more than an octave", "50 MHz,100 MHz,198 MHz,202 MHz,800 MHz,1 GHz", 0.5406, false},
		{"nothing", "", 0, false},
	} {
		var shown []quantity.Frequency
		for _, f := range strings.Split(c.shown, ",") {
			if f != "" {
				shown = append(shown, hz(f))
			}
		}
		got := i.Coverage(shown)
		require.InDelta(t, c.share, got.Share, 0.001, c.name)
		require.Equal(t, c.complete, got.Complete, c.name)
		require.Equal(t, c.complete, len(got.Open) == 0, c.name)
	}
}

// Showing more never covers less.
func TestCoverageGrows(t *testing.T) {
	text, err := os.ReadFile("testdata/procedure.toml")
	require.NoError(t, err)
	p, err := procedures.LoadProcedure("p", text)
	require.NoError(t, err)
	i, _ := p.Input("B")
	rapid.Check(t, func(t *rapid.T) {
		var shown []quantity.Frequency
		last := 0.0
		for range rapid.IntRange(1, 20).Draw(t, "points") {
			shown = append(shown, quantity.Of[quantity.Hertz](rapid.Int64Range(50, 1000).Draw(t, "MHz"), 6))
			share := i.Coverage(shown).Share
			if share < last-1e-12 || share > 1 {
				t.Fatalf("%v covers %v, one point fewer %v", shown, share, last)
			}
			last = share
		}
	})
}

// Loss of coaxial cable between table entries goes with the root of the
// frequency (common practice, skin effect): 2 dB at 100 MHz is 4 dB at 400 MHz
// and 6.3246 dB at 1 GHz, so at 225 MHz it is 3 dB.
func TestLossAgainstRootOfFrequency(t *testing.T) {
	p, b := with(t, []string{"per_octave = 1", "points = [\"225 MHz\"]\nfrom = \"100 MHz\"\nto = \"400 MHz\""},
		[]string{`input = "A"`, `input = "B"`, `[["1 Hz", "0 dB"], ["2 GHz", "1 dB"]]`, `[["100 MHz", "2 dB"], ["400 MHz", "4 dB"]]`})
	x := at(t, plan(t, p, b), "225 MHz")
	require.Equal(t, "-11.0 dBm", x.Levels.Source.String()) // -20 dBm + 6 dB + 3 dB
	require.Equal(t, "-14.00 dBm", x.Levels.Input.String())
	// Other parts: linear against frequency.
	b.Paths[0].Parts[0].Coax = false
	x = at(t, plan(t, p, b), "225 MHz")
	require.Equal(t, "-11.1 dBm", x.Levels.Source.String()) // 2 + 2·125/300 = 2.833 dB, set in steps of 0.1 dB
}

// An open high-impedance input sees twice the matched voltage: 100 mV need
// 50 mV matched, -13.01 dBm (definition of dBm across 50 Ω).
func TestOpenEndDoublesTheVoltage(t *testing.T) {
	p, b := with(t, nil, nil)
	x := at(t, plan(t, p, b), "10 Hz")
	require.Equal(t, "-13.0 dBm", x.Levels.Source.String())
	require.InDelta(t, 0.1001, x.Levels.Input.Volts(quantity.Dbm50()), 0.0001)
	b.Paths[0].Termination = true
	x = at(t, plan(t, p, b), "10 Hz")
	require.Equal(t, "-6.9 dBm", x.Levels.Source.String())
}

// The interlock counts on nothing that a person could have left out.
func TestCeiling(t *testing.T) {
	p, b := with(t, nil, []string{`input = "A"`, `input = "B"`, `name = "cable"`, "name = \"pad\"\nuncertainty = \"0.5 dB\"", `[["1 Hz", "0 dB"], ["2 GHz", "1 dB"]]`, `[["1 Hz", "10 dB"], ["2 GHz", "10 dB"]]`})
	i, _ := p.Input("B")
	f := hz("1 GHz")
	// 20 dBm damage - 3 dB margin - 0.5 dB uncertainty of the source
	require.InDelta(t, 16.5, procedures.Ceiling(p.Unit, i, b.Paths[0], b.Sources[0], f), 1e-9)
	b.Paths[0].Parts[0].Fixed = true
	require.InDelta(t, 26, procedures.Ceiling(p.Unit, i, b.Paths[0], b.Sources[0], f), 1e-9)
	require.InDelta(t, 16.5, procedures.Ceiling(p.Unit, i, b.Paths[0], b.Sources[0], hz("3 GHz")), 1e-9, "outside the table")
}

func TestCablesAreMovedOnceEach(t *testing.T) {
	p, b := with(t, nil, nil)
	other := b.Paths[0]
	other.Name, other.Input = "P2", "B"
	b.Paths = append([]procedures.Path{other}, b.Paths...)
	pl := plan(t, p, b)
	require.Equal(t, 2, pl.Moves)
	require.Equal(t, "A-001", pl.Points[0].ID)
	require.Greater(t, pl.Minutes, 4.0)
	b.Paths[0].Fixed = true
	require.Equal(t, 1, plan(t, p, b).Moves)
}

func TestPlanPicksTheBetterTUR(t *testing.T) {
	p, b := with(t, nil, nil)
	poor := b.Sources[0]
	poor.Name, poor.Reference = "poor", "own"
	own := quantity.MustParse[quantity.One]("1e-7")
	poor.OwnTimebase = &own
	b.Sources = append([]procedures.Source{poor}, b.Sources...)
	path := b.Paths[0]
	path.Name, path.Source = "P0", "poor"
	b.Paths = append([]procedures.Path{path}, b.Paths...)
	require.Equal(t, "G1", at(t, plan(t, p, b), "100 MHz").Source)
}

func TestWarnings(t *testing.T) {
	p, b := with(t, nil, []string{`uncertainty = "1e-10"`, `uncertainty = "4e-7"`, `due = "2099-01-02"`, `due = "2026-06-01"`})
	text := strings.Join(plan(t, p, b).Warnings, "\n")
	require.Contains(t, text, "TUR below 4")
	require.Contains(t, text, "reference standard: calibration was due on 2026-06-01")
	require.Contains(t, text, "standing wave")
}

// A sweep that can't be shown is named even where another one shows the same
// frequencies at another level.
func TestRefusedSweepIsNamed(t *testing.T) {
	p, b := with(t, nil, nil)
	p.Sweeps = append(p.Sweeps, p.Sweeps[0])
	p.Sweeps[0].Name, p.Sweeps[2].Name = "A, loud", "A, faint"
	faint := quantity.MustLevel("-120 dBm")
	p.Sweeps[2].Level = &faint
	n := plan(t, p, b).Inputs[0].NotShown
	require.Len(t, n, 1)
	require.Equal(t, "A, faint", n[0].Sweep)
	require.Contains(t, n[0].Reason, "level below the source's range")
}

func TestTheSweepThatReadsMoreOftenHolds(t *testing.T) {
	p, b := with(t, nil, nil)
	p.Sweeps = append(p.Sweeps, p.Sweeps[0])
	p.Sweeps[2].Readings = 30
	pl := plan(t, p, b)
	require.Len(t, pl.Points, 8)
	require.Equal(t, 30, pl.Points[3].Readings)
}

// A source with coarse steps: points stay within the input's range, and what
// lies between the edge and the nearest step is named.
func TestCoarseSteps(t *testing.T) {
	p, b := with(t, []string{`range = ["10 Hz", "100 MHz"]`, `range = ["10.4 Hz", "99.6 MHz"]`, "from = \"10 Hz\"\nto", "from = \"10.4 Hz\"\nto", `to = "100 MHz"`, `to = "99.6 MHz"`},
		[]string{`range = ["1 Hz", "2 GHz"]`, "resolution = \"1 Hz\"\nrange = [\"1 Hz\", \"2 GHz\"]"})
	pl := plan(t, p, b)
	require.Equal(t, "11 Hz", pl.Points[0].Frequency.String())
	require.Equal(t, "99.6 MHz", pl.Points[len(pl.Points)-1].Frequency.String())
	n := pl.Inputs[0].NotShown
	require.Len(t, n, 1)
	require.Equal(t, "10.4 Hz to 11 Hz: source G1 can't be set to it exactly", n[0].From.String()+" to "+n[0].To.String()+": "+n[0].Reason)
	b.Sources[0].Resolution = hz("10 MHz")
	p.Sweeps[0].PerDecade, p.Sweeps[0].Points = 0, []quantity.Frequency{hz("44 MHz"), hz("46 MHz")}
	require.Equal(t, "10 MHz 40 MHz 50 MHz 90 MHz", strings.Join(frequencies(plan(t, p, b)), " "))
}

func TestWhatNoPlanIsMadeOf(t *testing.T) {
	t.Run("adjusted tomorrow", func(t *testing.T) {
		p, b := with(t, nil, nil)
		_, err := procedures.NewPlan(p, b, procedures.Options{Now: now, Adjusted: procedures.Date{Time: now.AddDate(0, 0, 2)}})
		require.ErrorContains(t, err, "a day that has not come yet")
	})
	t.Run("procedure and profile differ on the gate", func(t *testing.T) {
		p, b := with(t, nil, nil)
		_, err := procedures.NewPlan(p, b, procedures.Options{Now: now, Capabilities: map[string]procedures.Capability{"": {GateLengthened: true}}})
		require.ErrorContains(t, err, "accuracy.gate_lengthened is false, the counter's profile says true")
	})
	t.Run("neither has a timebase", func(t *testing.T) {
		text, err := os.ReadFile("testdata/bench.toml")
		require.NoError(t, err)
		loop := strings.Replace(strings.Replace(string(text), `reference = "own"`, `reference = "G1"`, 1), `reference = "standard"`, `reference = "unit"`, 1)
		_, err = procedures.LoadBench("b.toml", []byte(loop))
		require.ErrorContains(t, err, "neither would have a timebase")
	})
}

func TestUnitFedByOneSourceMeasuringAnother(t *testing.T) {
	p, b := with(t, nil, nil)
	feeder := b.Sources[0]
	own, offset := quantity.MustParse[quantity.One]("3e-9"), quantity.MustParse[quantity.One]("1e-9")
	feeder.Name, feeder.Reference, feeder.OwnTimebase, feeder.OwnOffset = "G0", "own", &own, offset
	b.Sources = append(b.Sources, feeder)
	b.Counter.Reference = "G0"
	top := plan(t, p, b).Topology["G1"]
	require.Equal(t, "two references", top.Name)
	require.Equal(t, "1000000000/1000000001", top.Factor.String())
	require.Len(t, top.Relative, 2)
	require.True(t, plan(t, p, b).Topology["G0"].Coherent)
}
