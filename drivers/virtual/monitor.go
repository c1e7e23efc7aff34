package virtual

import "math"

// tap is where a monitor gets its signals: a splitter at a source, and the
// unit's timebase output.
type tap struct {
	source   *source
	table    []lossPoint
	timebase string  // input that is on the unit's timebase output; "" for none
	level    float64 // that arrives there, dBm
}

// sees is what an input of a counter sees now: the unit through its cables, a
// monitor through its splitter, whatever its cables are plugged into.
func (c *counter) sees(in *input) signal {
	if c.tap == nil {
		return c.b.signal(in)
	}
	if c.tap.timebase == in.sc.Name {
		return c.b.timebaseOutput(c.tap.level + in.gain(c.b.counter.timebase.frequency))
	}
	s := c.b.emitted(c.tap.source, in, func(f float64) float64 { return lossAt(c.tap.table, f) })
	if s.tracks { // the source runs from the unit, of which the monitor knows nothing
		y, _ := c.b.counter.y(signal{}, c.b.gateMods(c.b.counter.occasion(signal{}, c.b.counter.inputs[0])))
		s.f, s.tracks, s.coherent = s.f*(1+y), false, ""
	}
	return s
}

// timebaseOutput is the signal at the unit's timebase output: that of the
// reference it runs from. A gate that is open sees it as it was at its start.
func (b *Bench) timebaseOutput(level float64) signal {
	c := b.counter
	m := b.gateMods(c.occasion(signal{}, c.inputs[0]))
	y, _ := c.y(signal{}, m)
	f := c.timebase.frequency
	return signal{present: !math.IsInf(level, -1) && !m.silent, f: f * (1 + y), set: f, level: level, setting: "timebase output"}
}
