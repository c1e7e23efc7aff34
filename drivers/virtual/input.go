package virtual

import (
	"math"
	"math/cmplx"
	"time"

	"bandproof/procedures/quantity"
)

// input is one input of the counter. Levels inside are in dBm as a voltage
// across the input would give in 50 Ω, so that a threshold in volts and one in
// dBm compare alike.
type input struct {
	sc        InputScenario
	threshold []threshold
	window    float64 // dB below the threshold in which counts are lost
	max       float64
	damage    float64
	dead      bool // destroyed
}

type threshold struct{ from, to, level float64 }

const defaultWindow = 3.0 // dB

// beyond is how far, relatively, an input works outside what is specified; a
// signal set to the very edge may lie a little over it.
const beyond = 0.01

func newInput(s InputScenario) *input {
	r := quantity.Dbm50()
	in := &input{sc: s, window: defaultWindow, max: s.Max.DBm(r), damage: s.Damage.DBm(r)}
	if s.Window != nil {
		in.window = s.Window.Float()
	}
	for _, x := range s.Sensitivity {
		in.threshold = append(in.threshold, threshold{x.Range[0].Float(), x.Range[1].Float(), x.Specified.DBm(r) - x.BetterBy.Float()})
	}
	return in
}

// gain is what the input's impedance makes of the matched level at f, in dB:
// 0 for 50 Ω, +6.02 for an impedance that is far higher.
func (in *input) gain(f float64) float64 {
	y := complex(1/in.sc.Impedance.Float(), 0)
	if in.sc.Capacitance != nil {
		y += complex(0, 2*math.Pi*f*in.sc.Capacitance.Float())
	}
	if in.sc.Terminated {
		y += 1.0 / 50
	}
	z := 1 / y
	return 20 * math.Log10(2*cmplx.Abs(z/(z+50)))
}

// margin is how many dB a level lies above what the input needs at f; it is
// -Inf where the input does not work at all. Where sub-ranges meet, the better
// one holds.
func (in *input) margin(f, level float64) float64 {
	best := math.Inf(-1)
	for _, t := range in.threshold {
		if f >= t.from*(1-beyond) && f <= t.to*(1+beyond) {
			best = math.Max(best, level-t.level)
		}
	}
	return best
}

// signal is what an input sees, from one moment on.
type signal struct {
	present  bool
	f        float64   // true frequency, Hz
	set      float64   // as the source is set, Hz
	level    float64   // at the input
	coherent string    // name of the reference that the source runs from, if any
	tracks   bool      // the source is locked to the counter: f is to be multiplied by 1 + y of the counter
	setting  string    // frequency and level as set, part of the key of each draw
	settled  time.Time // until then the source is off frequency
	before   float64   // on its way from this frequency, Hz
}
