package stability

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// fit is a linear least-squares solution.
type fit struct {
	value   []float64
	inverse mat.SymDense // of the normal matrix
	freedom int
	scatter float64 // standard deviation about the fit
}

func (f *fit) standard(k int) float64 { return f.scatter * math.Sqrt(f.inverse.At(k, k)) }

func (f *fit) at(a []float64) float64 {
	sum := 0.0
	for k, x := range a {
		sum += x * f.value[k]
	}
	return sum
}

// leastSquares fits n parameters to the rows that are there (row returns false
// for a gap). The basis must be of order one; the solution is improved once by
// fitting what it leaves, so that a large offset costs no digits.
func leastSquares(rows, n int, row func(i int, a []float64) (y float64, ok bool)) (*fit, error) {
	f := &fit{value: make([]float64, n)}
	a := make([]float64, n)
	var factor mat.Cholesky
	for pass := range 3 {
		normal, right := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
		used, square := 0, 0.0
		for i := range rows {
			y, ok := row(i, a)
			if !ok {
				continue
			}
			used++
			y -= f.at(a)
			square += y * y
			for j := range n {
				right.SetVec(j, right.AtVec(j)+a[j]*y)
				for k := j; pass == 0 && k < n; k++ {
					normal.SetSym(j, k, normal.At(j, k)+a[j]*a[k])
				}
			}
		}
		if pass == 0 {
			if used <= n {
				return nil, fmt.Errorf("%w: %d values for a fit of %d parameters; expected at least %d", ErrData, used, n, n+1)
			}
			if !factor.Factorize(normal) || factor.Cond() > 1e14 {
				return nil, fmt.Errorf("%w: %w", ErrData, errSingular)
			}
			if err := factor.InverseTo(&f.inverse); err != nil {
				return nil, fmt.Errorf("%w: %w: %w", ErrData, errSingular, err)
			}
		}
		f.freedom, f.scatter = used-n, math.Sqrt(square/float64(used-n))
		if pass == 2 {
			break
		}
		var step mat.VecDense
		if err := factor.SolveVecTo(&step, right); err != nil {
			return nil, fmt.Errorf("%w: %w: %w", ErrData, errSingular, err)
		}
		for k := range n {
			f.value[k] += step.AtVec(k)
		}
	}
	return f, nil
}
