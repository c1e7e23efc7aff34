package virtual

import (
	"testing"

	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// at is what a probe finds, as a line.
func (d *desk) at(point string) string {
	d.t.Helper()
	p, err := d.b.Probe(point)
	require.NoError(d.t, err)
	return p.String()
}

// What a probe finds, computed by hand (common practice, no source). 400 MHz is at input B, or 9.137 GHz at C.
func TestProbesByHand(t *testing.T) {
	for _, row := range []struct {
		fault, input, point, want string
	}{
		{"", "B", "TP1", "TP1 (after timebase): 10 MHz"},
		{"", "B", "TP3", "TP3 (after gate control): pulse of 100 ms"},
		{"", "B", "TP8", "TP8 (after B amplifier): 400 MHz"},
		{"", "B", "TP9", "TP9 (after B prescaler): 12.5 MHz"},
		{"", "B", "TP6", "TP6 (after A trigger): nothing"},
		{"", "B", "TP20", "TP20 (after input control): B"},
		{"", "B", "TP21", "TP21 (after input selector): 12.5 MHz"},
		{"", "B", "TP23", "TP23 (after counting chain): 12.5 MHz"},
		{"", "C", "TP11", "TP11 (after band control): mid"},
		{"", "C", "TP12", "TP12 (after C low filter): nothing"},
		{"", "C", "TP13", "TP13 (after C mid amplifier): 9.137 GHz"},
		{"", "C", "TP16", "TP16 (after LO multiplier): 9 GHz"},
		{"", "C", "TP17", "TP17 (after C mixer): 137 MHz"},
		{"", "C", "TP9", "TP9 (after B prescaler): nothing"},

		{"stage:stage=B amplifier,mode=weak,amount=6 dB", "B", "TP7", "TP7 (after B limiter): 400 MHz"},
		{"stage:stage=B amplifier,mode=weak,amount=6 dB", "B", "TP8", "TP8 (after B amplifier): 400 MHz, -6 dB"},
		{"stage:stage=B amplifier,mode=weak,amount=6 dB", "B", "TP9", "TP9 (after B prescaler): 12.5 MHz"},
		{"stage:stage=B amplifier,mode=weak,amount=40 dB", "B", "TP9", "TP9 (after B prescaler): nothing"},
		{"stage:stage=B amplifier,mode=rolls-off,amount=200 MHz", "B", "TP8", "TP8 (after B amplifier): 400 MHz, -36.1 dB"}, // 10 lg(1 + 2^12)
		{"stage:stage=B amplifier,mode=noisy", "B", "TP9", "TP9 (after B prescaler): 12.5 MHz, noisy"},
		{"stage:stage=B amplifier,mode=intermittent,amount=30 %", "B", "TP9", "TP9 (after B prescaler): 12.5 MHz, 70 % of the time"},
		{"stage:stage=B limiter,mode=dead,probability=100 %", "B", "TP7", "TP7 (after B limiter): nothing"},
		{"stage:stage=B limiter,mode=leaky,amount=6 dB,probability=90 %", "B", "TP7", "TP7 (after B limiter): 400 MHz, -6 dB, 90 % of the time"},
		{"stage:stage=B prescaler,mode=ratio,amount=31", "B", "TP9", "TP9 (after B prescaler): 12.9032258 MHz"},
		{"stage:stage=B prescaler,mode=misses,amount=10 %", "B", "TP9", "TP9 (after B prescaler): 11.25 MHz, distorted"},
		{"stage:stage=B amplifier,mode=oscillates,amount=640 MHz", "B", "TP8", "TP8 (after B amplifier): 400 MHz, -6 dB, distorted"},
		{"stage:stage=B amplifier,mode=oscillates,amount=640 MHz", "C", "TP8", "TP8 (after B amplifier): 640 MHz, distorted"},
		{"stage:stage=B amplifier,mode=oscillates,amount=640 MHz", "B", "TP9", "TP9 (after B prescaler): 20 MHz, distorted"},
		{"stage:stage=timebase,mode=pulled,amount=20 Hz", "B", "TP2", "TP2 (after reference buffer): 10.00002 MHz"},
		{"stage:stage=reference buffer,mode=weak,amount=4 dB", "B", "TP2", "TP2 (after reference buffer): 10 MHz, -4 dB"},
		{"stage:stage=reference buffer,mode=weak,amount=10 dB", "B", "TP3", "TP3 (after gate control): nothing"},
		{"stage:stage=reference buffer,mode=dead", "C", "TP15", "TP15 (after local oscillator): nothing"},
		{"stage:stage=gate control,mode=wrong-length,amount=1/10", "B", "TP3", "TP3 (after gate control): pulse of 10 ms"},
		{"stage:stage=gate control,mode=stays,amount=20 ms", "B", "TP3", "TP3 (after gate control): pulse of 20 ms"},
		{"stage:stage=gate,mode=stuck-open", "B", "TP22", "TP22 (after gate): 12.5 MHz, open"},
		{"stage:stage=gate,mode=stuck-closed", "B", "TP22", "TP22 (after gate): nothing"},
		{"stage:stage=local oscillator,mode=pulled,amount=5 kHz", "C", "TP16", "TP16 (after LO multiplier): 9.000225 GHz"},
		{"stage:stage=local oscillator,mode=pulled,amount=5 kHz", "C", "TP17", "TP17 (after C mixer): 136.775 MHz"},
		{"stage:stage=LO multiplier,mode=weak,amount=6 dB", "C", "TP17", "TP17 (after C mixer): 137 MHz, -6 dB"},
		{"stage:stage=band control,mode=stuck,amount=low", "C", "TP11", "TP11 (after band control): low"},
		{"stage:stage=band control,mode=stuck,amount=low", "C", "TP13", "TP13 (after C mid amplifier): nothing"},
		{"stage:stage=band control,mode=stuck,amount=low", "C", "TP12", "TP12 (after C low filter): 9.137 GHz, -18.9 dB"}, // 10 lg(1 + (9.137/6)^12) - 3.01
		{"stage:stage=band control,mode=intermittent,amount=30 %", "C", "TP11", "TP11 (after band control): mid, 70 % of the time"},
	} {
		t.Run(row.fault+" "+row.input+" "+row.point, func(t *testing.T) {
			d := failing(t)
			if row.fault != "" {
				fail(t, d, row.fault)
			}
			f := map[string]string{"B": "400 MHZ", "C": "9.137 GHZ"}[row.input]
			d.unit.ask("FUNC \"FREQ %d\";*OPC?", int(row.input[0]-'A')+1)
			set(d.mw, f, "-10")
			require.Equal(t, row.want, d.at(row.point))
		})
	}
}

// Two that come and go in a row are both there in 0.7 × 0.5 of the time.
func TestProbeOfTwoThatComeAndGo(t *testing.T) {
	d := failing(t, "stage:stage=B amplifier,mode=intermittent,amount=30 %", "stage:stage=B prescaler,mode=dead,probability=50 %")
	d.unit.ask("FUNC \"FREQ 2\";*OPC?")
	set(d.mw, "400 MHZ", "-10")
	p, err := d.b.Probe("TP9")
	require.NoError(t, err)
	require.True(t, p.Present)
	require.InDelta(t, 0.35, p.Share.Float(), 1e-9)
}

// A path that is not selected works all the same, where a cable is.
func TestProbeOfAPathThatIsNotSelected(t *testing.T) {
	d := newDesk(t, Options{}, quietTimebase)
	require.NoError(t, d.b.Connect("MW", "B"))
	set(d.mw, "400 MHZ", "-10")
	require.Equal(t, "1", d.unit.ask("FUNC \"FREQ 1\";*OPC?"))
	require.Equal(t, "TP9 (after B prescaler): 12.5 MHz", d.at("TP9"))
	require.Equal(t, "TP21 (after input selector): nothing", d.at("TP21"))
	d.mw.ask("OUTP OFF;*OPC?")
	require.Equal(t, "TP9 (after B prescaler): nothing", d.at("TP9"))
}

// Faults after a time, and in the warm only, show at the probe as well.
func TestProbeSeesWhenAFaultBegins(t *testing.T) {
	d := failing(t, "stage:stage=timebase,mode=dead,after=366 d")
	require.Equal(t, "TP2 (after reference buffer): 10 MHz", d.at("TP2")) // powered for 365 d
	d.b.Advance(quantity.MustParse[quantity.Second]("2 d"))
	require.Equal(t, "TP2 (after reference buffer): nothing", d.at("TP2"))
}

// Probing draws nothing and uses nothing up.
func TestProbingChangesNoReading(t *testing.T) {
	take := func(probes bool) (list []string) {
		d := failing(t, "stage:stage=A amplifier,mode=intermittent,amount=50 %", "stage:stage=timebase,mode=unstable")
		set(d.lf, "10 MHZ", "-10")
		for range 20 {
			list = append(list, d.read(1, "0.1"))
			if probes {
				for _, p := range d.b.TestPoints() {
					d.at(p.Name)
				}
			}
		}
		return list
	}
	require.Equal(t, take(false), take(true))
}

func TestProbeMistakes(t *testing.T) {
	_, err := newBench(t, Options{}, nil).Probe("TP99")
	require.ErrorContains(t, err, `no test point is called "TP99"; there are TP1, TP2, `)
	b := newBench(t, Options{}, func(s *Scenario) { s.Counter.Stages, s.Counter.TestPoints = nil, nil })
	_, err = b.Probe("TP1")
	require.ErrorContains(t, err, "states no test points")
	require.Empty(t, b.Stages())
	require.Empty(t, b.TestPoints())
	require.ErrorContains(t, b.SetFaults([]Fault{{Name: StageFault, Stage: "gate", Mode: "dead"}}), "states no stages")
}
