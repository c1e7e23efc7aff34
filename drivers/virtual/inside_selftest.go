package virtual

import "math/big"

// Answers of the self-test where stages are at fault.
const (
	testNoCount    = 2 // the internal signal gives no count
	testWrongCount = 3 // it counts wrong
)

// selfTest is the answer of *TST?: 0 where all is well. The unit counts its
// own reference through selector, gate and counting chain, where the scenario
// states stages; an error of the timebase cancels.
func (c *counter) selfTest() int {
	in := c.inputs[c.selected]
	o := c.occasion(signal{}, in)
	m := c.b.gateMods(o)
	if m.failsTest != 0 || c.inside == nil || c.tap != nil || !c.b.stagesFail() {
		return m.failsTest
	}
	w := c.walk(m, in, o.draw)
	w.test, w.shows = true, func(f *fault) bool { return f.active(o) }
	x := w.run().out()
	if !x.on {
		return testNoCount
	}
	gate := gateMods{short: w.end.short, decade: w.end.mods.decade, scatter: x.scatter, factor: 1}
	if d := w.end.mods.digit; d != nil {
		gate.stuck, gate.place, gate.digit = true, d.n, d.m
	}
	if d := w.end.mods.blind; d != nil {
		gate.blind, gate.blindPlace, gate.blindTo = true, d.n, d.m
	}
	y := w.ownY() + w.end.y
	direct := &input{sc: InputScenario{Kind: Direct}}
	v := direct.count(shot{f: x.frequency(), set: c.timebase.frequency, gate: c.gate.Rat(), y: y, draw: o.draw, mods: gate})
	shown, ok := new(big.Rat).SetString(c.digits(v, gate))
	want := new(big.Rat).SetFloat64(c.timebase.frequency)
	count := new(big.Rat).Inv(c.gate.Rat())
	if !ok || w.end.open || shown.Sub(shown, want).Abs(shown).Cmp(count) > 0 {
		return testWrongCount
	}
	return 0
}
