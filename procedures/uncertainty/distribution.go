package uncertainty

import "math"

// Distribution names the shape from which a standard uncertainty was derived.
type Distribution string

// Distributions with their divisors (GUM 4.3; triangular for the asynchronous
// gate of a counter, whose ±1 count error is the difference of two
// rectangular ones). StudentT is the scaled and shifted t of a mean of few
// observations (JCGM 101 6.4.9): the value is its scale, s/√n, which is what
// GUM 4.2.3 calls the standard uncertainty; its degrees of freedom must be
// stated. Normal with finite degrees of freedom is the same thing.
const (
	Normal      Distribution = "normal"
	Rectangular Distribution = "rectangular"
	Triangular  Distribution = "triangular"
	UShaped     Distribution = "U-shaped"
	StudentT    Distribution = "t"
)

// Distributions lists them all.
func Distributions() []Distribution {
	return []Distribution{Normal, Rectangular, Triangular, UShaped, StudentT}
}

// Divisor returns half-width over standard uncertainty; of Normal and StudentT
// it is 1 (the value is a standard uncertainty already).
func (d Distribution) Divisor() float64 {
	switch d {
	case Rectangular:
		return math.Sqrt(3)
	case Triangular:
		return math.Sqrt(6)
	case UShaped:
		return math.Sqrt2
	}
	return 1
}

// bounded tells whether the value is a half-width.
func (d Distribution) bounded() bool { return d == Rectangular || d == Triangular || d == UShaped }
