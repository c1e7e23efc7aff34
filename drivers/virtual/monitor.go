package virtual

// tap is where a monitor gets its signal: a splitter at a source.
type tap struct {
	source *source
	table  []lossPoint
}

// sees is what an input of a counter sees now: the unit through its cables, a
// monitor through its splitter, whatever its cables are plugged into.
func (c *counter) sees(in *input) signal {
	if c.tap == nil {
		return c.b.signal(in)
	}
	s := c.b.emitted(c.tap.source, in, func(f float64) float64 { return lossAt(c.tap.table, f) })
	if s.tracks { // the source runs from the unit, of which the monitor knows nothing
		y, _ := c.b.counter.y(signal{}, c.b.gateMods(c.b.counter.occasion(signal{}, c.b.counter.inputs[0])))
		s.f, s.tracks, s.coherent = s.f*(1+y), false, ""
	}
	return s
}
