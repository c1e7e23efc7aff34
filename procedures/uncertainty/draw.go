package uncertainty

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// ErrJoint marks correlated lines whose joint distribution is not known, so
// that nothing can be drawn from it.
var ErrJoint = errors.New("joint distribution not known")

// generator is one seeded stream of random numbers.
type generator struct {
	source rand.Source
	*rand.Rand
}

func newGenerator(seed uint64) generator {
	s := rand.NewPCG(seed, 0x9e3779b97f4a7c15) // any fixed second half: one seed, one stream
	return generator{s, rand.New(s)}
}

// draw writes one deviation of each of its lines from their estimates into x.
type draw func(g generator, x []float64)

// draws makes the ways in which the deviations of all lines are drawn.
func (b Budget) draws(groups []group) ([]draw, error) {
	list := make([]draw, 0, len(groups))
	for _, g := range groups {
		if g.r == nil {
			list = append(list, b[g.lines[0]].draw(g.lines[0]))
			continue
		}
		d, err := g.draw(b)
		if err != nil {
			return nil, err
		}
		list = append(list, d)
	}
	return list, nil
}

// draw of a line that stands alone. Finite degrees of freedom make a normal
// line a scaled t (JCGM 101 6.4.9) and a half-width an inexactly known one: it
// lies evenly within ± a/√(2ν) of the stated a, by GUM G.4.2 (curvilinear
// trapezoid, JCGM 101 6.4.3 and its use in 9.5, from memory).
func (c Contribution) draw(k int) draw {
	u, nu := c.Standard, c.DegreesOfFreedom
	if !c.Distribution.bounded() {
		if nu == 0 {
			return func(g generator, x []float64) { x[k] = u * g.NormFloat64() }
		}
		return func(g generator, x []float64) { x[k] = u * student(g, nu) }
	}
	shape, half, inexact := unitShape(c.Distribution), u*c.Distribution.Divisor(), 0.0
	if nu > 0 {
		inexact = 1 / math.Sqrt(2*nu)
	}
	if inexact == 0 {
		return func(g generator, x []float64) { x[k] = half * shape(g) }
	}
	return func(g generator, x []float64) { x[k] = half * (1 + inexact*even(g)) * shape(g) }
}

// even is evenly distributed over -1 to 1.
func even(g generator) float64 { return 2*g.Float64() - 1 }

// unitShape draws from a bounded distribution of half-width 1.
func unitShape(d Distribution) func(generator) float64 {
	switch d {
	case Triangular:
		return func(g generator) float64 { return g.Float64() - g.Float64() }
	case UShaped:
		return func(g generator) float64 { return math.Cos(math.Pi * g.Float64()) }
	}
	return even
}

// student draws from Student's t by the polar method (Bailey 1994, from memory).
func student(g generator, nu float64) float64 {
	for {
		u, v := even(g), even(g)
		if w := u*u + v*v; w > 0 && w <= 1 {
			return u * math.Sqrt(nu*math.Expm1(-2/nu*math.Log(w))/w)
		}
	}
}

// draw of correlated lines. Two cases have a known joint distribution: all are
// normal with the same degrees of freedom (jointly normal, JCGM 101 6.4.8, or
// jointly t, JCGM 102 5.3.2, from memory), or all are one and the same
// quantity up to scale and sign (r = ±1 and one shape).
func (g group) draw(b Budget) (draw, error) {
	lines, first := g.lines, b[g.lines[0]]
	normal, same := true, true
	for i, k := range lines {
		alike := b[k].DegreesOfFreedom == first.DegreesOfFreedom
		normal = normal && alike && !b[k].Distribution.bounded()
		same = same && alike && b[k].Distribution == first.Distribution && math.Abs(g.r.At(0, i)) == 1
	}
	switch {
	case same:
		return g.together(b), nil
	case normal:
		return g.jointly(b), nil
	}
	return nil, fmt.Errorf("%w: correlated contributions %s; Monte Carlo needs all of them normal with the same degrees of freedom, or r = ±1 between equal distributions",
		ErrJoint, g.names(b))
}

// together draws one deviation and scales it for each line.
func (g group) together(b Budget) draw {
	lines := g.lines
	one := b[lines[0]]
	one.Standard = 1
	drawn := one.draw(lines[0])
	scale := make([]float64, len(lines))
	for i, k := range lines {
		scale[i] = b[k].Standard * g.r.At(0, i)
	}
	return func(gen generator, x []float64) {
		drawn(gen, x)
		z := x[lines[0]]
		for i, k := range lines {
			x[k] = z * scale[i]
		}
	}
}

// jointly draws from the multivariate normal or t.
func (g group) jointly(b Budget) draw {
	lines, nu := g.lines, b[g.lines[0]].DegreesOfFreedom
	n := len(lines)
	root := make([]float64, n*n)
	for i, k := range lines {
		for j := range n {
			root[i*n+j] = g.root.At(i, j) * b[k].Standard
		}
	}
	z := make([]float64, n)
	return func(gen generator, x []float64) {
		common := 1.0
		if nu > 0 {
			common = math.Sqrt(nu / distuv.ChiSquared{K: nu, Src: gen.source}.Rand())
		}
		for j := range z {
			z[j] = gen.NormFloat64() * common
		}
		for i, k := range lines {
			sum := 0.0
			for j, f := range root[i*n : i*n+n] {
				sum += f * z[j]
			}
			x[k] = sum
		}
	}
}
