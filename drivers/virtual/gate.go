package virtual

import (
	"math"
	"math/big"
	"strconv"
	"strings"
	"time"
)

// gateRun is one measurement from its start to its end. Its reading is worked
// out when the bench next looks at the clock after the end, from what the
// input saw in between.
type gateRun struct {
	owner   *session // whose loss of connection stops it
	input   *input
	start   time.Time
	end     time.Time
	parts   []part
	waiting bool          // for a signal, and without one for ever
	changed chan struct{} // closed when end or waiting have changed
}

// part is what the input saw from one moment on.
type part struct {
	from time.Time
	signal
}

// begin opens the gate. The caller has made sure that none is open.
func (c *counter) begin(owner *session) *gateRun {
	r := &gateRun{owner: owner, input: c.inputs[c.selected], changed: make(chan struct{})}
	c.run, c.last = r, ""
	c.open(r)
	return r
}

func (c *counter) open(r *gateRun) {
	now := c.b.clock.Now()
	s := c.sees(r.input)
	r.start, r.waiting, r.parts = now, false, []part{{now, s}}
	r.end = now.Add(seconds(c.takes(r.input, c.b.gateMods(c.occasion(s, r.input)), s.f)))
}

// lasts is how long the gate is, s, with what faults make of the one that is set.
func (c *counter) lasts(m gateMods) float64 {
	if gate := c.gate.Float(); m.most == 0 || gate <= m.most {
		return gate
	}
	return m.most
}

// takes is how long a measurement of f takes, s.
func (c *counter) takes(in *input, m gateMods, f float64) float64 {
	return in.seconds(c.lasts(m), f) * orOne(m.lasts)
}

// abort stops an open gate. It uses up no ordinal and ages nothing, so that
// the next gate at the same setting draws the same.
func (c *counter) abort() {
	c.catchUp()
	if c.run != nil {
		c.run.signalChange()
		c.run = nil
	}
}

func (r *gateRun) signalChange() {
	close(r.changed)
	r.changed = make(chan struct{})
}

// catchUp completes a gate whose time is over.
func (c *counter) catchUp() {
	if r := c.run; r != nil && !r.waiting && !c.b.clock.Now().Before(r.end) {
		c.complete(r)
	}
}

// noteChange tells an open gate that its signal may have changed; one that
// waits for a signal begins anew.
func (c *counter) noteChange() {
	r := c.run
	if r == nil {
		return
	}
	if r.waiting {
		c.open(r)
	} else if s := c.sees(r.input); s != r.parts[len(r.parts)-1].signal {
		r.parts = append(r.parts, part{c.b.clock.Now(), s})
	}
	r.signalChange()
}

// complete works out the reading. Only here is an ordinal used up.
func (c *counter) complete(r *gateRun) {
	s, counted := r.average()
	o := c.occasion(s, r.input)
	m := c.b.gateMods(o)
	reply, digits, any := c.reading(r.input, s, counted, o, m)
	if !any && c.sc.NoSignal == noSignalTimeout {
		r.waiting = true
		r.signalChange()
		return
	}
	if c.b.rewinds {
		c.b.gates = append(c.b.gates, gateDone{c, c.setting(s, r.input), c.b.age})
	}
	c.ordinals[c.setting(s, r.input)]++
	c.b.pass(c.takes(r.input, m, s.f))
	if digits != "" {
		c.display = digits
	}
	c.last, c.run = reply, nil
	r.signalChange()
	c.status.complete()
}

// average is the signal over the whole gate: frequency weighted by time, lowest
// and highest level; counted is the share of the gate with a signal.
func (r *gateRun) average() (s signal, counted float64) {
	s = r.parts[0].signal
	total := r.end.Sub(r.start).Seconds()
	if total <= 0 || len(r.parts) == 1 && !r.start.Before(s.settled) {
		if !s.present {
			return s, 0
		}
		return s, 1
	}
	sum := 0.0
	for i, p := range r.parts {
		until := r.end
		if i+1 < len(r.parts) {
			until = r.parts[i+1].from
		}
		if !p.present || !until.After(p.from) {
			continue
		}
		share := until.Sub(p.from).Seconds() / total
		unsettled := math.Min(1, math.Max(0, p.settled.Sub(p.from).Seconds()/until.Sub(p.from).Seconds()))
		sum += share * (p.f + unsettled*settlingShare*(p.before-p.f))
		counted += share
		if s.present {
			s.level = math.Max(s.level, p.level)
		} else {
			setting := s.setting
			s = p.signal
			s.setting = setting
		}
	}
	if counted > 0 {
		s.f, s.coherent = sum/counted, ""
	}
	if counted > 1-1e-12 {
		counted = 1
	}
	return s, counted
}

// reading makes the reply of a gate. digits is what the display shows, "" for
// markers; any is false where nothing was counted.
func (c *counter) reading(in *input, s signal, counted float64, o occasion, m gateMods) (reply, digits string, any bool) {
	stray := m.stray > 0
	if m.overflow || !stray && s.present && !in.dead && s.level > in.max-m.overload {
		return replyOver, "", true
	}
	margin := in.margin(s.f, s.level) - m.deaf
	if stray {
		counted, margin = 1, math.Inf(1)
	}
	if !stray && (!s.present || in.dead) || m.dead || margin <= -in.window {
		return c.nothing(in, s, m)
	}
	shot := shot{
		f: s.f, set: s.set, gate: c.gate.Rat(), lost: 1 - counted, draw: o.draw, mods: m,
		frozen: newDraw(c.b.seed, c.sc.Name, c.setting(s, in), -1),
	}
	shot.y, shot.coherent = c.y(s, m)
	if s.tracks {
		shot.f *= 1 + shot.y
		shot.coherent = s.coherentWithCounter(c)
	}
	if margin < 0 {
		shot.lost = 1 - counted*(1+margin/in.window*o.draw.uniform("lost"))
	}
	if m.island > 0 && margin >= m.island && margin <= m.island+islandWidth {
		shot.lost = 1 - (1-shot.lost)*(1-islandLoss*(1+o.draw.uniform("island")))
	}
	v := in.count(shot)
	if gate := c.lasts(m); gate < c.gate.Float() {
		shot.gate = new(big.Rat).SetFloat64(gate)
		v.value = in.count(shot).value // and the places stay those of the gate that is set
	}
	digits = c.digits(v, m)
	return number(digits, c.sc.Link.Numbers), digits, true
}

// An island of miscounts, as of an input whose hysteresis fails at some level.
const (
	islandWidth = 3.0  // dB
	islandLoss  = 0.01 // share of the cycles, up to twice that
)

// y is the offset of what the counter runs from, and whether the signal shares it.
func (c *counter) y(s signal, m gateMods) (y float64, coherent bool) {
	if used := c.inUse(m); used != ownReference {
		return c.b.references[used], s.coherent == used
	}
	return c.timebase.y(c.b.now(), c.b.ambient) + m.y, false
}

// coherentWithCounter: a source locked to the counter is coherent with it
// unless its own synthesis is off.
func (s signal) coherentWithCounter(c *counter) bool {
	return math.Abs(s.f/s.set-1) < 1e-12
}

// nothing is the reply where nothing was counted.
func (c *counter) nothing(in *input, s signal, m gateMods) (reply, digits string, any bool) {
	if m.held && c.display != "" {
		return number(c.display, c.sc.Link.Numbers), "", true
	}
	if c.sc.NoSignal == noSignalNaN {
		return replyNaN, "", false
	}
	zero := in.count(shot{f: in.sc.Range[0].Float(), gate: c.gate.Rat(), mods: gateMods{factor: 1}})
	text := new(big.Rat).FloatString(zero.decimals)
	return number(text, c.sc.Link.Numbers), "", false
}

// digits is the display: a fixed number of decimals for the gate.
func (c *counter) digits(v shown, m gateMods) string {
	x := v.value
	if m.factor != 1 {
		x.Mul(x, new(big.Rat).SetFloat64(m.factor))
	}
	if m.shift != 0 {
		x.Add(x, new(big.Rat).SetFloat64(m.shift))
	}
	if x.Sign() < 0 {
		x.SetInt64(0) // a register has no sign
	}
	text := x.FloatString(v.decimals)
	if m.stuck {
		text = stick(text, m.place, m.digit)
	}
	if m.blind && digitAt(text, m.blindPlace) == m.blindTo {
		text = stick(text, m.blindPlace, (m.blindTo+9)%10)
	}
	return text
}

// digitAt is the digit at a place, 0 being the last; -1 where there is none.
func digitAt(text string, place int) int {
	digits := strings.ReplaceAll(text, ".", "")
	if place >= len(digits) {
		return -1
	}
	return int(digits[len(digits)-1-place] - '0')
}

// stick overwrites the digit at a place, 0 being the last.
func stick(text string, place, digit int) string {
	out := []byte(text)
	for i := len(out) - 1; i >= 0; i-- {
		if out[i] < '0' || out[i] > '9' {
			continue
		}
		if place == 0 {
			out[i] = byte('0' + digit)
			return string(out)
		}
		place--
	}
	// A place to the left of the number shows too.
	return strconv.Itoa(digit) + strings.Repeat("0", place) + text
}
