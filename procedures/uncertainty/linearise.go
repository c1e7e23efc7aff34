package uncertainty

import (
	"fmt"
	"math"
)

// Function is a measurement model: the result for the values of its inputs. It
// must not keep or change the slice.
type Function func(x []float64) float64

// Linearise returns the result at the estimates of the inputs, one for each
// line of the budget, and the budget with the sensitivity coefficients of the
// function there, found by moving each input by its standard uncertainty both
// ways (JCGM 100:2008 5.1.3 note 2).
func Linearise(f Function, estimates []float64, b Budget) (y float64, linear Budget, err error) {
	if len(estimates) != len(b) {
		return 0, nil, fmt.Errorf("%d estimates for %d contributions; expected one each", len(estimates), len(b))
	}
	x := append([]float64(nil), estimates...)
	y = f(x)
	linear = append(Budget(nil), b...)
	for k, c := range b {
		if err := c.check(); err != nil {
			return 0, nil, err
		}
		if c.Standard == 0 {
			linear[k] = c.Times(0)
			continue
		}
		x[k] = estimates[k] + c.Standard
		above := f(x)
		x[k] = estimates[k] - c.Standard
		below := f(x)
		x[k] = estimates[k]
		slope := (above - below) / (2 * c.Standard)
		if math.IsNaN(slope) || math.IsInf(slope, 0) {
			return 0, nil, fmt.Errorf("the function is not finite within one standard uncertainty of input %q (%v ± %v)", c.Name, estimates[k], c.Standard)
		}
		linear[k] = c.Times(slope)
	}
	if math.IsNaN(y) || math.IsInf(y, 0) {
		return 0, nil, fmt.Errorf("the function is %v at the estimates; expected a finite number", y)
	}
	return y, linear, nil
}
