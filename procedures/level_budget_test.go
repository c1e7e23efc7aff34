package procedures_test

import (
	"math"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// names of a budget's lines with their standard uncertainty, and U.
func levelBudget(t *testing.T, b *procedures.Bench, i procedures.Input, p procedures.Point) (map[string]float64, float64) {
	t.Helper()
	budget, err := b.LevelBudget(i, p)
	require.NoError(t, err)
	lines := map[string]float64{}
	for _, c := range budget {
		lines[c.Name] = c.Standard
	}
	u, err := budget.Combine()
	require.NoError(t, err)
	require.Equal(t, 2.0, u.CoverageFactor)
	require.InDelta(t, u.Expanded, p.LevelU, 1e-12, "the plan says the same")
	return lines, u.Expanded
}

// TestLevelBudget adds up by hand (JCGM 100:2008, 4.3 and 5.1.2): source
// ±0.8 dB rectangular, half a step of 0.1 dB rectangular, cable U = 0.3 dB,
// mismatch of VSWR 1.5 and 2 (|Γ| 1/5 and 1/3) through the loss, U-shaped.
func TestLevelBudget(t *testing.T) {
	p, b := switched(t)
	for k := range b.Sources {
		b.Sources[k].VSWR = procedures.VSWR{{UpTo: hz("18 GHz"), VSWR: quantity.MustParse[quantity.One]("1.5")}}
	}
	for k := range p.Inputs {
		p.Inputs[k].VSWR = procedures.VSWR{{UpTo: hz("18 GHz"), VSWR: quantity.MustParse[quantity.One]("2")}}
	}
	for k := range b.Paths {
		b.Paths[k].Meter = nil
	}
	in, _ := p.Input("C")
	for _, x := range plan(t, p, b).Points {
		if x.Input != "C" {
			continue
		}
		lines, u := levelBudget(t, b, in, x)
		require.Len(t, lines, 4, "%v", lines)
		loss := x.Levels.Source.DBm(quantity.Dbm50()) - x.Levels.Connector.DBm(quantity.Dbm50())
		mismatch := -20 * math.Log10(1-math.Pow(10, -loss/10)/15) / math.Sqrt2
		want := 2 * math.Sqrt(0.8*0.8/3+0.05*0.05/3+0.15*0.15+mismatch*mismatch)
		require.InDelta(t, want, u, 1e-3)
	}
}

// Where a power meter measures, its own uncertainty, that of its offset and the
// mismatch behind the splitter are all there is.
func TestLevelBudgetByMeter(t *testing.T) {
	p, b := switched(t)
	for k := range b.Paths {
		if m := b.Paths[k].Meter; m != nil {
			m.VSWR = procedures.VSWR{{UpTo: hz("18 GHz"), VSWR: quantity.MustParse[quantity.One]("1.25")}}
		}
	}
	for k := range p.Inputs {
		p.Inputs[k].VSWR = procedures.VSWR{{UpTo: hz("18 GHz"), VSWR: quantity.MustParse[quantity.One]("2")}}
	}
	in, _ := p.Input("C")
	n := 0
	for _, x := range plan(t, p, b).Points {
		if !x.Metered {
			continue
		}
		n++
		lines, u := levelBudget(t, b, in, x)
		require.Len(t, lines, 3, "%v", lines)
		mismatch := -20 * math.Log10(1-1.0/27) / math.Sqrt2 // |Γ| 1/9 and 1/3
		require.InDelta(t, 2*math.Sqrt(0.1*0.1+0.05*0.05+mismatch*mismatch), u, 1e-9)
		require.InDelta(t, u, b.LevelBy(in, x, quantity.DBmLevel(-24, 2)).Uncertainty, 1e-12)
	}
	require.Positive(t, n)
}

// The spread of R ∥ C: at 100 MHz the 35 pF of input A are 45 Ω; 10 % less
// of them move 2·|Zin/(Zin + 50 Ω)| = 2/|1 + j·1.10| by 0.48 dB.
func TestSpreadOfAHighImpedance(t *testing.T) {
	p, b := with(t, nil, nil)
	c, tolerance := quantity.MustParse[quantity.Farad]("35 pF"), quantity.MustParse[quantity.One]("10 %")
	p.Inputs[0].Impedance, p.Inputs[0].Capacitance = quantity.MustParse[quantity.Ohm]("1 MΩ"), &c
	p.Inputs[0].Damage = quantity.MustLevel("5 V")
	const spread = "impedance of input A"
	without, _ := levelBudget(t, b, p.Inputs[0], at(t, plan(t, p, b), "100 MHz"))
	require.NotContains(t, without, spread)
	p.Inputs[0].CapacitanceTolerance = &tolerance
	pl := plan(t, p, b)
	lines, _ := levelBudget(t, b, p.Inputs[0], at(t, pl, "100 MHz"))
	x := func(part float64) float64 { return 2 * math.Pi * 1e8 * 35e-12 * 50 * part }
	want := 20 * math.Log10(math.Hypot(1, x(1))/math.Hypot(1, x(0.9)))
	require.InDelta(t, want/math.Sqrt(3), lines[spread], 1e-3)
	lines, _ = levelBudget(t, b, p.Inputs[0], at(t, pl, "10 Hz"))
	require.Less(t, lines[spread], 1e-6)
}

func TestAnEntryMayHaveItsOwnUncertainty(t *testing.T) {
	p, b := with(t, nil, []string{`["1 Hz", "0 dB"], ["2 GHz", "1 dB"]]`, `["1 Hz", "0 dB"], ["1 MHz", "0.1 dB", "0.3 dB"], ["2 GHz", "1 dB"]]` + "\nuncertainty = \"0.1 dB\""})
	pl := plan(t, p, b)
	in := p.Inputs[0]
	for f, want := range map[string]float64{"10 Hz": 0.3, "1 MHz": 0.3, "100 MHz": 0.3} {
		lines, _ := levelBudget(t, b, in, at(t, pl, f))
		require.InDelta(t, want/2, lines["loss of cable"], 1e-12, f)
	}
}

// The ceiling of the interlock falls by what reflections may add.
func TestCeilingHeedsVSWR(t *testing.T) {
	p, b := with(t, nil, nil)
	s, i, path := b.Sources[0], p.Inputs[0], b.Paths[0]
	i.Impedance = quantity.Dbm50()
	f := hz("100 MHz")
	without := procedures.Ceiling(p.Unit, i, path, s, f)
	s.VSWR = procedures.VSWR{{UpTo: f, VSWR: quantity.MustParse[quantity.One]("1.5")}}
	require.InDelta(t, without, procedures.Ceiling(p.Unit, i, path, s, f), 1e-12, "a VSWR of the input is missing")
	i.VSWR = procedures.VSWR{{UpTo: f, VSWR: quantity.MustParse[quantity.One]("3")}}
	require.InDelta(t, without+20*math.Log10(1-0.1), procedures.Ceiling(p.Unit, i, path, s, f), 1e-9)
	// A pad that is fitted for good masks the source; one that a person fits is not counted on.
	path.Parts = []procedures.Part{{Name: "pad", Loss: []procedures.LossEntry{{At: f, Loss: quantity.MustParse[quantity.Decibel]("10 dB")}}}}
	require.InDelta(t, without+20*math.Log10(1-0.1), procedures.Ceiling(p.Unit, i, path, s, f), 1e-9)
	path.Parts[0].Fixed = true
	require.InDelta(t, without+10+20*math.Log10(1-0.01), procedures.Ceiling(p.Unit, i, path, s, f), 1e-9)
}

func TestPlanWarnsOfLevels(t *testing.T) {
	p, b := with(t, nil, nil)
	pl := plan(t, p, b)
	warned := func(pl *procedures.Plan, text string) bool {
		for _, w := range pl.Warnings {
			if strings.Contains(w, text) {
				return true
			}
		}
		return false
	}
	require.True(t, warned(pl, "path P1: no VSWR is stated for source G1"), "%q", pl.Warnings)
	zero := quantity.MustParse[quantity.Decibel]("0 dB")
	p.Sweeps[0].Level, p.Sweeps[0].AboveSensitivity = nil, &zero
	require.True(t, warned(plan(t, p, b), "the level may lie outside what the unit promises to count at"))
	ten := quantity.MustParse[quantity.Decibel]("10 dB")
	p.Sweeps[0].AboveSensitivity = &ten
	require.False(t, warned(plan(t, p, b), "the level may lie outside"))
}
