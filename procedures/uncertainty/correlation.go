package uncertainty

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// ErrCorrelation marks correlations that can't be: a name that no line has or
// that two have, a coefficient beyond ±1, a pair stated twice, or coefficients
// that no set of quantities can have together.
var ErrCorrelation = errors.New("correlation")

// Correlation states that two lines move together, as lines do that share one
// reference. Pairs that are not stated are independent.
type Correlation struct {
	A string  `toml:"a" json:"a" jsonschema_description:"Name of a contribution."`
	B string  `toml:"b" json:"b" jsonschema_description:"Name of another contribution."`
	R float64 `toml:"r" json:"r" jsonschema:"minimum=-1,maximum=1" jsonschema_description:"Correlation coefficient, -1 to 1."`
}

// leastEigenvalue is how far below zero an eigenvalue may lie by rounding of
// float64 alone.
const leastEigenvalue = -1e-9

// group is a set of lines that correlation ties together; most have one line.
type group struct {
	lines []int
	r     *mat.SymDense // nil for a line that stands alone
	// root times independent standard deviates has correlations r.
	root *mat.Dense
}

// groups checks all lines and correlations and splits the budget into sets
// that are independent of each other, in the order of the budget.
func (b Budget) groups(list []Correlation) ([]group, error) {
	at, twice := map[string]int{}, map[string]bool{}
	for k, c := range b {
		if err := c.check(); err != nil {
			return nil, err
		}
		_, seen := at[c.Name]
		twice[c.Name] = twice[c.Name] || seen
		at[c.Name] = k
	}
	first := make([]int, len(b)) // the least line that a line is tied to
	for k := range first {
		first[k] = k
	}
	stated := map[[2]int]float64{}
	for _, x := range list {
		for _, name := range []string{x.A, x.B} {
			if _, ok := at[name]; !ok {
				return nil, fmt.Errorf("%w of %q and %q: there is no contribution %q", ErrCorrelation, x.A, x.B, name)
			} else if twice[name] {
				return nil, fmt.Errorf("%w of %q and %q: more than one contribution is called %q", ErrCorrelation, x.A, x.B, name)
			}
		}
		i, j := min(at[x.A], at[x.B]), max(at[x.A], at[x.B])
		switch _, again := stated[[2]int{i, j}]; {
		case i == j:
			return nil, fmt.Errorf("%w of %q with itself; expected two contributions", ErrCorrelation, x.A)
		case again:
			return nil, fmt.Errorf("%w of %q and %q is stated twice", ErrCorrelation, x.A, x.B)
		case !(x.R >= -1 && x.R <= 1):
			return nil, fmt.Errorf("%w of %q and %q is %v; expected -1 to 1", ErrCorrelation, x.A, x.B, x.R)
		}
		stated[[2]int{i, j}] = x.R
		if x.R != 0 {
			join(first, i, j)
		}
	}
	return b.gather(first, stated)
}

// join makes two sets of lines one; the least line of each stands for it.
func join(first []int, i, j int) {
	into, from := min(first[i], first[j]), max(first[i], first[j])
	for k := range first {
		if first[k] == from {
			first[k] = into
		}
	}
}

// gather makes the groups and takes the root of each correlation matrix.
func (b Budget) gather(first []int, stated map[[2]int]float64) ([]group, error) {
	var groups []group
	where := map[int]int{}
	for k, f := range first {
		if _, ok := where[f]; !ok {
			where[f] = len(groups)
			groups = append(groups, group{})
		}
		g := &groups[where[f]]
		g.lines = append(g.lines, k)
	}
	for k := range groups {
		if err := groups[k].correlate(b, stated); err != nil {
			return nil, err
		}
	}
	return groups, nil
}

// correlate fills in the matrix and its root, and refuses one that is not
// positive semi-definite.
func (g *group) correlate(b Budget, stated map[[2]int]float64) error {
	n := len(g.lines)
	if n < 2 {
		return nil
	}
	g.r = mat.NewSymDense(n, nil)
	for i := range n {
		g.r.SetSym(i, i, 1)
		for j := i + 1; j < n; j++ {
			g.r.SetSym(i, j, stated[[2]int{g.lines[i], g.lines[j]}])
		}
	}
	var e mat.EigenSym
	if !e.Factorize(g.r, true) {
		return fmt.Errorf("%w of %s: the matrix has no eigenvalues that can be computed", ErrCorrelation, g.names(b))
	}
	values := e.Values(nil)
	if values[0] < leastEigenvalue {
		return fmt.Errorf("%w of %s: no quantities can be correlated like this (the matrix is not positive semi-definite, its least eigenvalue is %.3g); "+
			"pairs that are not stated count as 0, and coefficients near ±1 need all their digits", ErrCorrelation, g.names(b), values[0])
	}
	g.root = mat.NewDense(n, n, nil)
	e.VectorsTo(g.root)
	for j, v := range values {
		for i := range n {
			g.root.Set(i, j, g.root.At(i, j)*math.Sqrt(math.Max(v, 0)))
		}
	}
	return nil
}

func (g *group) names(b Budget) string {
	text := ""
	for k, i := range g.lines {
		if k == 4 && len(g.lines) > 5 {
			return text + fmt.Sprintf(" and %d more", len(g.lines)-k)
		}
		switch {
		case k > 0 && k == len(g.lines)-1:
			text += " and "
		case k > 0:
			text += ", "
		}
		text += fmt.Sprintf("%q", b[i].Name)
	}
	return text
}

// variance is that of the lines together, over scale².
func (g *group) variance(b Budget, scale float64) float64 {
	sum := 0.0
	for i, p := range g.lines {
		x := b[p].Output() / scale
		sum += x * x
		for j, q := range g.lines[:i] {
			sum += 2 * x * (b[q].Output() / scale) * g.r.At(i, j)
		}
	}
	return math.Max(sum, 0)
}

// degrees is the smallest of the lines' degrees of freedom, 0 for infinitely
// many; lines that add nothing don't count.
func (g *group) degrees(b Budget) float64 {
	least := 0.0
	for _, i := range g.lines {
		if dof := b[i].DegreesOfFreedom; dof > 0 && b[i].Output() != 0 && (least == 0 || dof < least) {
			least = dof
		}
	}
	return least
}
