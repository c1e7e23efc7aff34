package profile

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
)

// coded is one of the gate times a counter has, with its code if it has one.
type coded struct {
	gate quantity.Duration
	code string
}

func (c *checker) counter() {
	c.foreign("rf_off", "rf_on", "frequency", "level", "settle", "lock")
	c.noDevice()
	f := c.file
	c.need("gate", "a reading's limit depends on it; a fixed gate is told by allowed with one entry")
	c.need("read", "a counter is read by it")
	if in := f.Input; in != nil {
		c.commands("input", in.Commands, 0, holdInput)
		switch {
		case in.ByHand && len(in.Commands) > 0:
			c.Add("input.by_hand", "is true, but there are commands; only one of them can select an input")
		case in.ByHand && len(in.Map) == 0:
			c.Add("input.by_hand", "needs map, which names the inputs")
		case !in.ByHand && len(in.Commands) == 0 && len(in.Map) != 1:
			c.Add("input", "has no commands; expected them, or map with the one input that there is, or by_hand")
		}
		c.notNegative("input.wait", in.Wait)
		c.inputMap(in.Map)
		c.inputQuery(in)
	}
	if f.Gate != nil {
		c.gate(f.Gate)
	}
	if f.Read != nil {
		c.read(f.Read)
	}
	if f.Abort != nil {
		c.commands("abort", f.Abort.Commands, 1)
		c.notNegative("abort.wait", f.Abort.Wait)
	}
	if t := f.SelfTest; t != nil {
		c.query("self_test.query", t.Query, true)
		c.answers("self_test.pass", t.Pass)
		c.positive("self_test.timeout", t.Timeout)
	}
}

func (c *checker) inputQuery(in *Input) {
	c.query("input.query", in.Query, false)
	c.expect("input", in.Query, in.Expect)
	for i, template := range in.Expect {
		if why := templateMistake(template, []string{holdInput}); why != "" {
			c.Add(fmt.Sprintf("input.expect[%d]", i), "%s", why)
		}
	}
	c.holds("input", in.Commands, holdInput)
	if len(in.Expect) > 0 && !slices.ContainsFunc(in.Expect, func(s string) bool { return strings.Contains(s, "{"+holdInput+"}") }) {
		c.Add("input.expect", "never says {input}; every input would do")
	}
}

func (c *checker) inputMap(m map[string]string) {
	if c.Has("input.map") && len(m) == 0 {
		c.Add("input.map", "is empty; expected input names, or leave the map out to use the name as it is")
	}
	for _, key := range sortedKeys(m) {
		if strings.TrimSpace(m[key]) == "" || strings.ContainsFunc(m[key], isControl) {
			c.Add("input.map."+key, "is %q; expected what {input} stands for", m[key])
		}
	}
}

func (c *checker) gate(g *Gate) {
	allowed := []string{holdSeconds, holdMilliseconds, holdInput}
	if g.Codes != nil || g.Resolutions != nil {
		allowed = append(allowed, holdCode)
	}
	c.commands("gate", g.Commands, 0, allowed...)
	switch {
	case g.ByHand && len(g.Commands) > 0:
		c.Add("gate.by_hand", "is true, but there are commands; only one of them can set the gate")
	case g.ByHand && len(g.Allowed) == 0:
		c.Add("gate.by_hand", "needs allowed, which lists the gate times that there are")
	case g.ByHand:
	case len(g.Commands) == 0 && len(g.Allowed) != 1:
		c.Add("gate", "has no commands; expected them, or allowed with the one gate time that there is, or by_hand")
	case len(g.Commands) > 0:
		c.holds("gate", g.Commands, slices.DeleteFunc(allowed, func(n string) bool { return n == holdInput })...)
	}
	c.query("gate.query", g.Query, false, holdInput)
	c.reply("gate", g.Query, g.Reply, secondUnit, false)
	if (g.Codes != nil || g.Resolutions != nil) && g.Reply != nil && g.Reply.Unit != "" {
		c.Add("gate.reply.unit", "has no meaning where codes are given: the answer is a code")
	}
	c.notNegative("gate.wait", g.Wait)
	if (g.Codes != nil || g.Resolutions != nil) && g.Allowed != nil {
		c.Add("gate.allowed", "is told twice: the codes list the gate times already")
	}
	if g.Codes != nil && g.Resolutions != nil {
		c.Add("gate.resolutions", "is told twice: codes lists the gate times already")
	}
	for i := range g.Allowed {
		c.positive(fmt.Sprintf("gate.allowed[%d]", i), &g.Allowed[i])
		c.oneGate(fmt.Sprintf("gate.allowed[%d]", i), coded{gate: g.Allowed[i]})
	}
	codes := map[string]string{}
	for _, key := range sortedKeys(g.Codes) {
		c.gateCode(key, g.Codes[key], codes)
	}
	for _, key := range sortedKeys(g.Resolutions) {
		c.gateResolution(key, g.Resolutions[key], codes)
	}
	slices.SortFunc(c.gates, func(a, b coded) int { return a.gate.Cmp(b.gate) })
}

// gateCode checks one entry of the map from gate time to code.
func (c *checker) gateCode(key, code string, seen map[string]string) {
	at := "gate.codes." + key
	gate, err := quantity.Parse[quantity.Second](key)
	if err != nil {
		c.Add(at, "%s", strings.TrimPrefix(err.Error(), "not a quantity: "))
		return
	}
	c.positive(at, &gate)
	c.code(at, key, code, seen)
	c.oneGate(at, coded{gate, strings.TrimSpace(code)})
}

// gateResolution checks one entry of the map from resolution to code.
func (c *checker) gateResolution(key, code string, seen map[string]string) {
	at := "gate.resolutions." + key
	q, err := quantity.Parse[quantity.Hertz](key)
	if err != nil {
		c.Add(at, "%s", strings.TrimPrefix(err.Error(), "not a quantity: "))
		return
	}
	gate, ok := reciprocal(q)
	if !ok {
		c.Add(at, "is no resolution whose gate time 1/resolution is a decimal; expected such as \"1 Hz\" or \"100 Hz\"")
		return
	}
	c.bounded(at, &gate)
	c.code(at, key, code, seen)
	c.oneGate(at, coded{gate, strings.TrimSpace(code)})
}

// reciprocal is the gate time of a direct count with the given resolution.
func reciprocal(q quantity.Frequency) (quantity.Duration, bool) {
	if q.Sign() <= 0 {
		return quantity.Duration{}, false
	}
	want := q.Rat()
	want.Inv(want)
	gate := quantity.FromRat[quantity.Second](want, 12)
	return gate, gate.Rat().Cmp(want) == 0
}

// code checks what {code} stands for, which must differ from all others.
func (c *checker) code(at, key, code string, seen map[string]string) {
	if strings.TrimSpace(code) == "" || strings.ContainsFunc(code, isControl) {
		c.Add(at, "is %q; expected what {code} stands for", code)
	}
	if before, twice := seen[fold(code)]; twice {
		c.Add(at, "has the code of %q; a read-back could not tell them apart", before)
	}
	seen[fold(code)] = key
}

// oneGate notes a gate time, once.
func (c *checker) oneGate(at string, g coded) {
	if slices.ContainsFunc(c.gates, func(h coded) bool { return h.gate.Cmp(g.gate) == 0 }) {
		c.Add(at, "names %s twice", g.gate)
		return
	}
	c.gates = append(c.gates, g)
}

func (c *checker) read(r *Read) {
	c.commands("read", r.Commands, 0, holdInput, holdSeconds, holdMilliseconds)
	c.ways(r)
	c.query("read.query", r.Query, false, holdInput, holdSeconds, holdMilliseconds)
	c.query("read.again", r.Again, false, holdInput)
	c.reply("read", "a reading comes without a question too", r.Reply, hertzUnit, true)
	c.notNegative("read.overhead", r.Overhead)
	if c.Has("read.margin") {
		c.positive("read.margin", &r.Margin)
	}
	if r.Safety != nil && (r.Safety.Sign() < 0 || r.Safety.Cmp(quantity.Of[quantity.One](10, 0)) > 0) {
		c.Add("read.safety", "is %s; expected 0 to 10, such as \"10 %%\"", r.Safety)
	}
	if r.Discard != nil && (*r.Discard < 0 || *r.Discard > 100) {
		c.Add("read.discard", "is %d; expected 0 to 100", *r.Discard)
	}
}

func (c *checker) source() {
	c.foreign("input", "gate", "read", "abort", "self_test")
	c.noDevice()
	f := c.file
	c.need("rf_off", "a source must be able to switch its signal off; give commands, or lowest level plus detune")
	c.need("rf_on", "the signal is switched on by it")
	c.need("frequency", "a source is set by it")
	c.need("level", "a source is set by it")
	c.need("settle", "without it a signal is trusted too early")
	c.rfSwitch("rf_off", f.RFOff)
	c.rfSwitch("rf_on", f.RFOn)
	if q := f.Frequency; q != nil {
		allowed := []string{holdHertz, holdKilohertz, holdMegahertz}
		c.commands("frequency", q.Commands, 1, allowed...)
		c.holds("frequency", q.Commands, allowed...)
		c.query("frequency.query", q.Query, false)
		c.reply("frequency", q.Query, q.Reply, hertzUnit, false)
		c.notNegative("frequency.wait", q.Wait)
		if c.Has("frequency.resolution") && q.Resolution.Sign() <= 0 {
			c.Add("frequency.resolution", "is %s; expected a step above zero", q.Resolution)
		}
	}
	if l := f.Level; l != nil {
		c.commands("level", l.Commands, 1, holdDBm)
		c.holds("level", l.Commands, holdDBm)
		c.query("level.query", l.Query, false)
		c.reply("level", l.Query, l.Reply, noUnit, false)
		c.notNegative("level.wait", l.Wait)
		if c.Has("level.resolution") && l.Resolution.Sign() <= 0 {
			c.Add("level.resolution", "is %s; expected a step above zero", l.Resolution)
		}
	}
	if s := f.Settle; s != nil {
		c.notNegative("settle.time", &s.Time)
		c.query("settle.query", s.Query, false)
		c.expect("settle", s.Query, s.Expect)
		c.notNegative("settle.margin", s.Margin)
	}
	if f.Lock != nil {
		c.lock(f.Lock)
	}
}

// longestSwitch is the longest pause after switching RF: RF off has a deadline
// of its own, rfOffTimeout, in which it may be sent three times.
var longestSwitch = quantity.Of[quantity.Second](2, 0)

func (c *checker) rfSwitch(action string, s *Switch) {
	if s == nil {
		return
	}
	c.commands(action, s.Commands, 1)
	c.query(action+".query", s.Query, false)
	c.expect(action, s.Query, s.Expect)
	c.notNegative(action+".wait", s.Wait)
	if s.Wait != nil && s.Wait.Cmp(longestSwitch) > 0 {
		c.Add(action+".wait", "is %s; expected at most %s, so that RF off ends in time", s.Wait, longestSwitch)
	}
}

func (c *checker) lock(l *Lock) {
	c.query("lock.query", l.Query, false)
	c.oneOf("lock.form", l.Form, []string{bitsDecimal, bitsHex, bitsByte})
	switch {
	case l.Poll && (l.Query != "" || l.Map != nil || l.Form != ""):
		c.Add("lock.poll", "is true: the status byte tells, so query, map and form have no meaning")
	case !l.Poll && l.Query == "" && !c.Has("lock.query"):
		c.Add("lock", "has neither query nor poll; one of them must ask")
	}
	switch {
	case l.Mask == nil && l.Map == nil:
		c.Add("lock", "has neither mask nor map; one of them must tell what the answer means")
	case l.Mask != nil && l.Map != nil:
		c.Add("lock", "has mask and map; only one of them can tell what the answer means")
	case l.Mask != nil && *l.Mask <= 0:
		c.Add("lock.mask", "is %d; expected the sum of the bits that tell, such as 32 for bit 5", *l.Mask)
	case l.Mask != nil && l.Expect&^*l.Mask != 0:
		c.Add("lock.expect", "is %d, which has bits outside mask %d: it could never be true", l.Expect, *l.Mask)
	}
	if l.Mask == nil && c.Has("lock.expect") {
		c.Add("lock.expect", "has no meaning without mask")
	}
	c.wordMap("lock.map", l.Map, wordLocked, wordUnlocked)
	if len(l.Map) > 0 && !slices.Contains(slices.Collect(maps.Values(l.Map)), wordLocked) {
		c.Add("lock.map", "has no answer that stands for %q; the source would never be trusted", wordLocked)
	}
}
