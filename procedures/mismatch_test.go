package procedures

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"bandproof/procedures/quantity"
	"bandproof/testdata/checks/checktable"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

func one(x float64) quantity.Ratio { return quantity.MustParse[quantity.One](fmt.Sprint(x)) }
func db(x float64) quantity.Gain {
	return quantity.MustParse[quantity.Decibel](fmt.Sprintf("%g dB", x))
}

var gigahertz = quantity.Of[quantity.Hertz](1, 9)

// flat is a VSWR up to 1 GHz by |Γ|.
func flat(gamma float64) VSWR { return VSWR{{gigahertz, one((1 + gamma) / (1 - gamma))}} }

type rfCheck struct {
	ID     string
	Source string
	Inputs struct {
		DBm         []float64 `toml:"dbm"`
		VSWR        []float64 `toml:"vswr"`
		Gamma1      float64   `toml:"gamma1"`
		Gamma2      float64   `toml:"gamma2"`
		A0          float64   `toml:"A0_db"`
		F0          float64   `toml:"f0_hz"`
		F           []float64 `toml:"f_hz"`
		SourceDBm   float64   `toml:"source_dbm"`
		Cable       float64   `toml:"cable_loss_db"`
		Pad         float64   `toml:"pad_db"`
		GammaSource float64   `toml:"gamma_source"`
		GammaLoad   float64   `toml:"gamma_load"`
		S11, S22    []float64
		S21         []float64
	}
	Expect struct {
		Volts     []float64 `toml:"v_rms"`
		Gamma     []float64 `toml:"gamma"`
		Max       float64   `toml:"max_db"`
		Min       float64   `toml:"min_db"`
		URelative float64   `toml:"u_rel_power"`
		Loss      []float64 `toml:"loss_db"`
		DBm       float64   `toml:"dbm"`
		V50       float64   `toml:"v_rms_50"`
		UdB       float64   `toml:"u_db"`
	}
	Tol struct{ Abs float64 }
}

// TestPublishedLevels compares with testdata/checks/rf.toml, each value with
// its source there.
func TestPublishedLevels(t *testing.T) {
	table := checktable.New(t, "../testdata/checks", "rf")
	seen := map[string]bool{}
	for _, c := range checktable.Load[rfCheck](t, "../testdata/checks/rf.toml") {
		row := func(what string, want, got, tolerance float64) {
			t.Helper()
			require.InDelta(t, want, got, tolerance, "%s: %s", c.ID, what)
			table.Row(c.ID, c.Source, what, want, got)
		}
		in, want := c.Inputs, c.Expect
		seen[c.ID] = true
		switch c.ID {
		case "dbm-volts-50ohm":
			for k, dbm := range in.DBm {
				row(fmt.Sprintf("%g dBm, V", dbm), want.Volts[k], quantity.DBmLevel(dbm, 0).Volts(quantity.Dbm50()), 1e-9*want.Volts[k])
			}
		case "vswr-table":
			for k, s := range in.VSWR {
				gamma, ok := VSWR{{gigahertz, one(s)}}.reflection(gigahertz)
				require.True(t, ok)
				row(fmt.Sprintf("reflection of VSWR %g", s), want.Gamma[k], gamma, 1e-9)
			}
		case "mismatch-0.2-0.2", "mismatch-0.05-0.2":
			list, missing, err := Path{}.mismatches(Source{VSWR: flat(in.Gamma1)}, Input{Impedance: quantity.Dbm50(), VSWR: flat(in.Gamma2)}, gigahertz, part(gigahertz))
			require.NoError(t, err)
			require.Empty(t, missing)
			require.Len(t, list, 1)
			below, above := list[0].Limits()
			row("upper limit, dB", want.Max, above, 1e-9)
			row("lower limit, dB", want.Min, -below, 1e-9)
			// The published u is of first order; ours, from the larger limit, is
			// above it by no more than the second order.
			u := mismatchLines(list)[0].Standard * math.Ln10 / 10
			require.GreaterOrEqual(t, u, want.URelative)
			row("u, relative power", want.URelative, u, want.URelative*in.Gamma1*in.Gamma2)
		case "coax-sqrt-f":
			cable := Part{Name: "cable", Coax: true, Loss: []LossEntry{{At: quantity.Of[quantity.Hertz](0, 0)}, {At: gigahertz, Loss: db(in.A0 * math.Sqrt(1e9/in.F0))}}}
			for k, f := range in.F {
				loss, err := cable.at(quantity.Significant(f, 9))
				require.NoError(t, err)
				row(fmt.Sprintf("loss at %g Hz, dB", f), want.Loss[k], loss, 1e-9)
			}
		case "cable-chain-level":
			p := Path{Parts: []Part{{Name: "cable", Loss: []LossEntry{{At: gigahertz, Loss: db(in.Cable)}}}, {Name: "pad", Loss: []LossEntry{{At: gigahertz, Loss: db(in.Pad)}}}}}
			l, err := levelsFor(Input{Impedance: quantity.Dbm50()}, p, Source{}, gigahertz, quantity.DBmLevel(want.DBm, 1))
			require.NoError(t, err)
			row("source, dBm", in.SourceDBm, l.Source.DBm(quantity.Dbm50()), 1e-9)
			row("input, dBm", want.DBm, l.Input.DBm(quantity.Dbm50()), 1e-9)
			row("input, V", want.V50, l.Input.Volts(quantity.Dbm50()), 1e-9)
		case "mismatch-attenuator-s7":
			sum := 0.0
			for k := range in.S11 {
				attenuator := Path{SourceEnd: flat(in.S11[k]), InputEnd: flat(in.S22[k]), Parts: []Part{{Loss: []LossEntry{{At: gigahertz, Loss: db(-20 * math.Log10(in.S21[k]))}}}}}
				list, _, err := attenuator.mismatches(Source{VSWR: flat(in.GammaSource)}, Input{Impedance: quantity.Dbm50(), VSWR: flat(in.GammaLoad)}, gigahertz, part(gigahertz))
				require.NoError(t, err)
				require.Len(t, list, 3)
				for _, m := range list {
					sum += m.HalfWidth() * m.HalfWidth() / 2
				}
			}
			row("u of mismatch, dB", want.UdB, math.Sqrt(sum), c.Tol.Abs)
		default:
			delete(seen, c.ID)
		}
	}
	require.Len(t, seen, 7, "every check above is in the file")
	table.Done()
}

// TestMismatchAgainstScattering draws the phases of all reflections and takes
// the exact transmission between source, one part and load,
// 1/|(1 − Γs·S11)(1 − Γl·S22) − Γs·Γl·S21²|: the spread of its level must be
// what the budget says, and its extremes within the limits.
func TestMismatchAgainstScattering(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	phase := func(x float64) complex128 { return cmplx.Rect(x, 2*math.Pi*r.Float64()) }
	for _, row := range []struct{ source, part, load, loss float64 }{
		{0.2, 0, 0.3, 0}, {0.2, 0, 0.3, 6}, {0.2, 0.1, 0.3, 1}, {0.33, 0.05, 0.2, 10}, {0.1, 0.1, 1, 3}, {0.3, 0, 1, 0.3},
	} {
		p := Path{Parts: []Part{{Name: "part", VSWR: flat(row.part), Loss: []LossEntry{{At: gigahertz, Loss: db(row.loss)}}}}}
		list, _, err := p.mismatches(Source{VSWR: flat(row.source)}, Input{Impedance: quantity.Dbm50(), VSWR: flat(math.Min(row.load, 0.999))}, gigahertz, part(gigahertz))
		require.NoError(t, err)
		var levels []float64
		for range 40_000 {
			s, l, s21 := phase(row.source), phase(row.load), phase(math.Pow(10, -row.loss/20))
			levels = append(levels, -20*math.Log10(cmplx.Abs((1-s*phase(row.part))*(1-l*phase(row.part))-s*l*s21*s21)))
		}
		u, err := mismatchLines(list).Combine()
		require.NoError(t, err)
		spread := stat.StdDev(levels, nil)
		// A reflection that comes close to 1 makes the larger limit, and u, larger.
		require.InEpsilon(t, spread, u.Standard, 0.25, "%+v", row)
		require.Greater(t, u.Standard, spread*0.99, "%+v", row)
		for _, x := range levels {
			require.LessOrEqual(t, math.Abs(x), least(list)*1.05+0.01, "%+v", row) // higher orders
		}
	}
}

// A pad of a dB takes two from what comes back.
func TestAPadMasksTheSource(t *testing.T) {
	x := func(loss float64) float64 {
		p := Path{Parts: []Part{{Name: "pad", Loss: []LossEntry{{At: gigahertz, Loss: db(loss)}}}}}
		list, _, err := p.mismatches(Source{VSWR: flat(0.4)}, Input{Impedance: quantity.Dbm50(), VSWR: flat(0.3)}, gigahertz, part(gigahertz))
		require.NoError(t, err)
		return list[0].X
	}
	require.InEpsilon(t, 0.12, x(0), 1e-9)
	require.InEpsilon(t, 0.012, x(10), 1e-9)
}

// At a matched source the voltage at a high impedance is that of an open end,
// wherever the cable ends: |1 + Γ| is the gain (identity).
func TestReflectionAndGainAgree(t *testing.T) {
	c := quantity.MustParse[quantity.Farad]("35 pF")
	i := Input{Impedance: quantity.MustParse[quantity.Ohm]("1 MΩ"), Capacitance: &c}
	for _, f := range []string{"10 Hz", "1 MHz", "100 MHz", "1 GHz"} {
		for _, terminated := range []bool{false, true} {
			hz := quantity.MustParse[quantity.Hertz](f)
			g, b := i.admittance(hz, terminated)
			y := complex(50*g, 50*b)
			gamma := (1 - y) / (1 + y)
			size, ok := i.reflection(hz, terminated)
			require.True(t, ok)
			require.InDelta(t, cmplx.Abs(gamma), size, 1e-12)
			require.InDelta(t, cmplx.Abs(1+gamma), i.gain(hz, terminated), 1e-12)
		}
	}
}

func TestVSWRHoldsWithinItsSubRangesOnly(t *testing.T) {
	v := VSWR{{gigahertz, one(1.5)}, {quantity.Of[quantity.Hertz](2, 9), one(3)}}
	for f, want := range map[string]float64{"1 Hz": 0.2, "1 GHz": 0.2, "1.001 GHz": 0.5, "2 GHz": 0.5} {
		got, ok := v.reflection(quantity.MustParse[quantity.Hertz](f))
		require.True(t, ok)
		require.InDelta(t, want, got, 1e-12, f)
	}
	_, ok := v.reflection(quantity.MustParse[quantity.Hertz]("2.001 GHz"))
	require.False(t, ok)
}
