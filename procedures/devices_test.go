package procedures_test

import (
	"os"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// switched reads the bench that needs nobody; pairs of old and new text.
func switched(t *testing.T, pairs ...string) (*procedures.Procedure, *procedures.Bench) {
	t.Helper()
	text, err := os.ReadFile("../testdata/switched/procedure.toml")
	require.NoError(t, err)
	p, err := procedures.LoadProcedure("procedure.toml", text)
	require.NoError(t, err)
	text, err = os.ReadFile("../testdata/switched/bench.toml")
	require.NoError(t, err)
	edited := string(text)
	for k := 0; k < len(pairs); k += 2 {
		require.Contains(t, edited, pairs[k])
		edited = strings.Replace(edited, pairs[k], pairs[k+1], 1)
	}
	b, err := procedures.LoadBench("bench.toml", []byte(edited))
	require.NoError(t, err)
	return p, b
}

func TestPlanOverASwitchMovesNothing(t *testing.T) {
	p, b := switched(t)
	pl := plan(t, p, b)
	require.Zero(t, pl.Moves)
	require.NotEmpty(t, pl.Points)
	for _, x := range pl.Points {
		require.True(t, x.Watched, x.ID)
		require.Equal(t, x.Input == "C", x.Metered, x.ID)
	}
	for _, path := range b.Paths {
		require.True(t, path.HandsFree())
	}
	byHand := 0
	p, b = switched(t, "switch = \"SW\"\nposition = \"1\"", "")
	for _, path := range b.Paths {
		if !path.HandsFree() {
			byHand++
		}
	}
	require.Equal(t, 1, byHand)
	require.Equal(t, 1, plan(t, p, b).Moves)
}

func TestPlanCountsTheMonitorsTime(t *testing.T) {
	p, b := switched(t)
	o := procedures.Options{Now: now, Capabilities: map[string]procedures.Capability{procedures.MonitorName: {Discard: 1}}}
	with, err := procedures.NewPlan(p, b, o)
	require.NoError(t, err)
	b.Monitor = nil
	without, err := procedures.NewPlan(p, b, o)
	require.NoError(t, err)
	// One gate of 10 s that is thrown away and one that counts.
	require.InDelta(t, without.Points[0].Seconds+20, with.Points[0].Seconds, 1e-9)
}

func TestPlanSaysWhatIsOutOfReachOfMonitorAndMeter(t *testing.T) {
	p, b := switched(t, `range = ["100 kHz", "18 GHz"]
level = ["-30 dBm", "10 dBm"]`, `range = ["100 kHz", "5 GHz"]
level = ["-30 dBm", "10 dBm"]`, `range = ["10 MHz", "18 GHz"]
level = ["-50 dBm", "20 dBm"]`, `range = ["10 MHz", "10 GHz"]
level = ["-50 dBm", "20 dBm"]`)
	pl := plan(t, p, b)
	require.Contains(t, pl.Warnings, "input C: source SG not watched by the monitor at 3 points: outside the monitor's range")
	require.Contains(t, pl.Warnings, "input C, path SG to C: level not measured at 2 points: outside the range of power meter PM")
}

// A level that meter or monitor would not stand is no level to plan.
func TestPlanSparesMonitorAndMeter(t *testing.T) {
	for _, pairs := range [][]string{
		{`level = ["-30 dBm", "10 dBm"]`, `level = ["-60 dBm", "-25 dBm"]`},
		{`level = ["-50 dBm", "20 dBm"]`, `level = ["-90 dBm", "-40 dBm"]`},
	} {
		p, b := switched(t, pairs...)
		pl := plan(t, p, b)
		said := ""
		for _, in := range pl.Inputs {
			for _, n := range in.NotShown {
				said += n.Reason + "\n"
			}
		}
		require.Contains(t, said, "level above what the ")
	}
}

// What the monitor may be off: one count, and U of what is not common to both.
func TestMonitorAllowance(t *testing.T) {
	f := hz("10 GHz")
	for _, row := range []struct {
		name       string
		pairs      []string
		factorLess string // 1 − factor
		allowed    float64
	}{
		// Same reference: its offset cancels; one count of 0.1 Hz and half a
		// setting step of 10 mHz, rectangular: 2·0.005/√3.
		{"same reference", nil, "0", 0.1 + 2*0.005/1.7320508},
		// The monitor's own timebase of 0.1 ppm, rectangular, on 10 GHz: 2·1000/√3,
		// and the reference of the source: U = 2e-11, 0.2 Hz; offset 2e-12.
		{"own timebase", []string{"resolution = \"0.1 Hz\"\nreference = \"house standard\"\n\n[[switch]]", "resolution = \"0.1 Hz\"\nreference = \"own\"\nown_timebase = \"0.1 ppm\"\n\n[[switch]]"}, "-2e-12", 0.1 + 1154.71},
		{"known offset of its own", []string{"resolution = \"0.1 Hz\"\nreference = \"house standard\"\n\n[[switch]]", "resolution = \"0.1 Hz\"\nreference = \"own\"\nown_timebase = \"0.1 ppm\"\nown_offset = \"2e-12\"\n\n[[switch]]"}, "0", 0.1 + 1154.71},
		// The source runs from the unit, of which only what it promises is known:
		// 0.8 ppm, rectangular, on 10 GHz: 2·8000/√3; the monitor's reference is as before.
		{"source driven by the unit", []string{"resolution = \"10 mHz\"\nreference = \"house standard\"", "resolution = \"10 mHz\"\nreference = \"unit\""}, "2e-12", 0.1 + 9237.6},
	} {
		t.Run(row.name, func(t *testing.T) {
			p, b := switched(t, row.pairs...)
			pl := plan(t, p, b)
			allowed, err := pl.Allowed(b, f)
			require.NoError(t, err)
			require.InEpsilon(t, row.allowed, allowed.Float(), 1e-4)
			want := quantity.MustParse[quantity.One](row.factorLess)
			require.InDelta(t, want.Float(), quantity.ExactInt(1).Sub(pl.Monitor.Factor).Float(), 1e-15)
		})
	}
}

// The level at the input is the meter's reading and the offset of its coupler;
// U is that of both (root of the sum of squares, JCGM 100:2008, 5.1.2).
func TestLevelByMeter(t *testing.T) {
	p, b := switched(t)
	pl := plan(t, p, b)
	in, _ := p.Input("C")
	for _, x := range pl.Points {
		if !x.Metered {
			continue
		}
		l := b.LevelBy(in, x, quantity.DBmLevel(-24.2, 2))
		share := (x.Frequency.Float() - 1e9) / 17e9
		require.InDelta(t, -24.2+10+0.4*share, l.Connector.DBm(quantity.Dbm50()), 0.006)
		require.Equal(t, l.Connector, l.Input)
		require.InDelta(t, 0.2236, l.Uncertainty, 1e-4, "√(0.2² + 0.1²) dB")
		require.InDelta(t, 0.8+0.05+0.2+0.1+0.3, b.LevelTolerance(in, x), 1e-9)
	}
}

func TestOutside(t *testing.T) {
	r := [2]quantity.Temperature{quantity.MustParse[quantity.Celsius]("18 °C"), quantity.MustParse[quantity.Celsius]("28 °C")}
	for text, want := range map[string]string{"18 °C": "", "28 °C": "", "23 °C": "", "17.9 °C": "17.9 °C, outside 18 °C to 28 °C"} {
		require.Equal(t, want, procedures.Outside(quantity.MustParse[quantity.Celsius](text), r))
	}
	require.Empty(t, procedures.Outside(quantity.MustParse[quantity.Celsius]("99 °C"), [2]quantity.Temperature{}), "no range is stated")
}

func TestPlanSaysWhereTheMonitorIsTooCoarse(t *testing.T) {
	p, b := switched(t)
	require.NotContains(t, strings.Join(plan(t, p, b).Warnings, "\n"), "the monitor sees less than the limit")
	p, b = switched(t, "gate = \"10 s\"\nresolution = \"0.1 Hz\"", "gate = \"1 s\"\nresolution = \"1 Hz\"")
	require.Contains(t, strings.Join(plan(t, p, b).Warnings, "\n"), "input A: at 2 points the monitor sees less than the limit")
}

// A level is too much for monitor and meter already where the source may bring
// it: its uncertainty of 0.8 dB and its transient of 0.5 dB count.
func TestMonitorAndMeterStandWhatTheSourceMayBeOver(t *testing.T) {
	p, b := switched(t)
	var x procedures.Point
	for _, q := range plan(t, p, b).Points {
		if q.Frequency.Cmp(hz("18 GHz")) == 0 {
			x = q
		}
	}
	r := quantity.Dbm50()
	atMonitor := x.Levels.Source.DBm(r) - 6.8   // splitter at 18 GHz
	atMeter := x.Levels.Connector.DBm(r) - 10.4 // offset there
	for over, want := range map[float64]bool{1.2: false, 1.4: true} {
		b.Monitor.Level[1] = quantity.DBmLevel(atMonitor+over, 2)
		b.PowerMeters[0].Level[1] = quantity.DBmLevel(atMeter+over, 2)
		watched, why := b.Watched(x)
		require.Equal(t, want, watched, why)
		metered, why := b.Metered(x)
		require.Equal(t, want, metered, why)
	}
}

// Only a monitor on another reference than its source's sees an error of it.
func TestMonitorSharesTheReferenceOfItsSource(t *testing.T) {
	_, b := switched(t)
	for _, row := range []struct {
		monitor, source string
		shares          bool
	}{{"house standard", "house standard", true}, {"own", "own", false}, {"own", "house standard", false}, {"house standard", "own", false},
		{"SG", "own", true}, {"SG", "house standard", true}, {"house standard", "unit", false}} {
		b.Monitor.Reference, b.Sources[0].Reference = row.monitor, row.source
		require.Equal(t, row.shares, b.Monitor.SharesReference(b), row)
	}
}

// A display that a person reads and that is coarser than a count is warned of.
func TestPlanWarnsOfACoarseDisplay(t *testing.T) {
	p, b := switched(t)
	b.Counter.Profile = procedures.Manual
	for step, want := range map[string]int{"0.1 Hz": 0, "1 Hz": 1} { // input A: direct, gate 10 s, one count 0.1 Hz
		b.Counter.Panel = &procedures.Panel{Gates: []procedures.PanelGate{{Time: quantity.MustParse[quantity.Second]("10 s"), Resolution: hz(step)}}}
		n := 0
		for _, w := range plan(t, p, b).Warnings {
			if strings.Contains(w, "input A: at 4 points the display shows fewer digits than one count") {
				n++
			}
		}
		require.Equal(t, want, n)
	}
}
