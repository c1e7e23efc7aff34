package virtual

import (
	"fmt"

	"bandproof/procedures/quantity/tomlfile"
)

// tryInside lets a signal pass from each input, at the ends of its range and of
// the ranges of control lines, and wants it at the reply as that kind of input
// counts it.
func (b *Bench) tryInside(doc *tomlfile.Document) {
	c := b.counter
	if c.inside == nil {
		return
	}
	for i, in := range c.inputs {
		for _, f := range c.inside.edges(in) {
			w := c.walk(gateMods{}, in, draw{})
			w.shows = func(*fault) bool { return false }
			w.sees = func(x *input) signal { return signal{present: x == in, f: f, set: f, level: in.max} }
			x := w.run().out()
			want := in.counts(f, w.ownY())
			switch {
			case !x.on || x.origin != in.sc.Name:
				doc.Add("counter.stage", "a signal of %s at input %q does not get to the reply; follow fed_by and ways, or leave all stages out", hertzText(f), in.sc.Name)
			case x.nominal < want*(1-1e-9)-1e-3 || x.nominal > want*(1+1e-9)+1e-3:
				doc.Add(fmt.Sprintf("counter.input[%d].kind", i), "by the stages a signal of %s is counted as %s, by the kind of the input as %s; change the stages, too, or leave them all out",
					hertzText(f), hertzText(x.nominal), hertzText(want))
			default:
				continue
			}
			return
		}
	}
}

// edges are the frequencies at which an input's way may change.
func (n *inside) edges(in *input) []float64 {
	low, high := in.sc.Range[0].Float(), in.sc.Range[1].Float()
	list := []float64{low, high}
	for _, s := range n.stages {
		for _, v := range s.sc.Values {
			if v.Range == nil || v.Input != in.sc.Name {
				continue
			}
			for _, f := range []float64{v.Range[0].Float() * 1.001, v.Range[1].Float() * 0.999} {
				if f > low && f < high {
					list = append(list, f)
				}
			}
		}
	}
	return list
}

// counts is the frequency that an input of its kind counts, with a timebase
// that is off by y.
func (in *input) counts(f, y float64) float64 {
	switch in.sc.Kind {
	case Prescaled:
		return f / float64(in.sc.Prescale)
	case DownConverted:
		return f - in.harmonic(f)*in.sc.Oscillator.Float()*(1+y)
	}
	return f
}
