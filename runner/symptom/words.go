package symptom

import (
	"fmt"
	"math"

	"bandproof/procedures/quantity"
)

// words says what a point showed.
func (l *look) words() string {
	var text string
	switch l.Kind {
	case Good:
		return "within tolerance, " + share(l.PPM)
	case None:
		if l.missing < l.all {
			return "no count"
		}
		return "no count at any reading"
	case Double, Half, Ratio:
		text = "reads " + times(l)
	case Constant:
		text = signed(l.Error) + " off"
	case Off:
		text = share(l.PPM) + " off"
	case Noisy:
		text = fmt.Sprintf("readings scatter over %s", hertz(l.spread()))
		if l.count > 0 {
			text += fmt.Sprintf(", %.3g counts", l.spread()/l.count)
		}
	case TooFew:
		text = fmt.Sprintf("all low, and differently at each reading: %s on average", share(l.PPM))
	default:
		text = fmt.Sprintf("%s off (%s)", signed(l.Error), share(l.PPM))
	}
	if l.shift && !l.steady {
		text += fmt.Sprintf(", and scatters over %s", hertz(l.spread()))
	}
	if l.missing > 0 {
		text += fmt.Sprintf("; %d of %d readings gave no count", l.missing, l.all)
	}
	return text
}

func times(l *look) string {
	switch l.Kind {
	case Double:
		return "twice the frequency"
	case Half:
		return "half the frequency"
	}
	if l.Ratio.IsInt() {
		return l.Ratio.Num().String() + " times the frequency"
	}
	return l.Ratio.String() + " of the frequency"
}

// hertz writes a frequency with three significant digits and its unit.
func hertz(f float64) string { return digits(f, 3) }

// digits writes a frequency with n significant digits and its unit.
func digits(f float64, n int) string {
	if f == 0 || math.IsNaN(f) || math.IsInf(f, 0) {
		return fmt.Sprintf("%g Hz", f)
	}
	return quantity.Significant(f, n).String()
}

// signed writes an error in Hz with its sign.
func signed(f float64) string {
	if f > 0 {
		return "+" + hertz(f)
	}
	return hertz(f)
}

// share writes a relative error, given in ppm.
func share(ppm float64) string {
	switch x := math.Abs(ppm); {
	case x >= 1000:
		return fmt.Sprintf("%+.4g %%", ppm/1e4)
	case x >= 1e-2 || x == 0:
		return fmt.Sprintf("%+.3g ppm", ppm)
	}
	return fmt.Sprintf("%+.2g ppb", ppm*1e3)
}
