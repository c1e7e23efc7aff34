package virtual

import (
	"fmt"
	"strings"
	"time"
)

// Kind is an entry of the catalogue of faults.
type Kind struct {
	Name    string
	Role    string // RoleCounter (also of a monitor), RoleSource, …, or empty for the conversation of either
	About   string // the symptom, in a sentence
	Amount  string // what amount means, empty where there is none
	Default string // the amount unless stated
	Needs   string // a parameter that must be given: from or to
}

// kind is a Kind with what it does: exactly one of the functions or stage.
type kind struct {
	Kind
	unit    amountUnit
	counter func(m *gateMods, a amount, d draw, purpose string)
	source  func(m *sourceMods, a amount)
	talk    func(m *talkMods, a amount)
	relay   func(m *relayMods)
	meter   func(m *meterMods, a amount)
	stage   bool // what it does is said by the mode of the stage
}

// gateMods is what faults do to one gate of the counter. Zero is healthy.
type gateMods struct {
	dead       bool
	deaf       float64 // dB more that the input needs
	y          float64 // added to the timebase's offset
	short      float64 // share of the gate that is missing
	missing    float64 // share of the cycles that are not counted
	double     float64 // share of the cycles that are counted twice
	factor     float64 // shown over counted, 0 is 1
	shift      float64 // Hz added to what is shown
	scatter    float64 // standard deviation, counts
	stuck      bool
	place      int // of the stuck digit, 0 is the last
	digit      int
	blind      bool // a digit of the display that never takes one value: it shows the one below
	blindPlace int
	blindTo    int
	most       float64 // the gate is never longer than this, s; 0 is as long as set
	failsTest  int     // answer of the self-test
	held       bool
	overload   float64 // dB by which the over-range marker comes too early
	island     float64 // dB above the least level from which on counts are lost, over islandWidth; 0 is nowhere
	noExternal bool

	// By faults of stages.
	mixed    float64 // Hz added to what is counted
	lasts    float64 // true length of the gate over the one that is set, 0 is 1
	pulses   float64 // pulses over what they should be, 0 is 1
	stray    float64 // Hz of what is counted in place of the signal; 0 is the signal
	overflow bool    // the count overflows
	silent   bool    // there is no reference, at the timebase output neither
	decade   *amount // a decade of the count that stays
}

// sourceMods is what faults do to a source. Zero is healthy.
type sourceMods struct {
	unlock   bool
	slow     int     // tries at a setting that do not lock
	y        float64 // fractional error of the output
	readback float64 // Hz added to the frequency that is reported
	noOutput bool
	low      float64 // dB
}

// talkMods is what faults do to one reply. Zero is healthy.
type talkMods struct {
	silent, garbage, crlf, extra bool
	late, split                  time.Duration
}

// Catalogue lists every fault that there is, in the order of the signal's way.
func Catalogue() []Kind {
	list := make([]Kind, 0, 32)
	for _, k := range kinds() {
		k.Kind.Amount = k.unit.what
		list = append(list, k.Kind)
	}
	return list
}

func kindNamed(name string) (kind, error) {
	var names []string
	for _, k := range kinds() {
		if k.Name == name {
			return k, nil
		}
		names = append(names, k.Name)
	}
	return kind{}, fmt.Errorf("no fault is called %q; the catalogue has %s", name, strings.Join(names, ", "))
}

func kinds() []kind {
	list := append(inputKinds(), countingKinds()...)
	list = append(list, stageKind)
	return append(append(append(list, sourceKinds()...), aidKinds()...), talkKinds()...)
}

func counterKind(name, about string, u amountUnit, normal string, do func(m *gateMods, a amount, d draw, purpose string)) kind {
	return kind{Kind: Kind{Name: name, Role: RoleCounter, About: about, Default: normal}, unit: u, counter: do}
}

func inputKinds() []kind {
	dead := func(m *gateMods, _ amount, _ draw, _ string) { m.dead = true }
	above := counterKind("dead-above", "The input counts nothing at and above a frequency.", amountUnit{}, "", dead)
	above.Needs = "from"
	below := counterKind("dead-below", "The input counts nothing at and below a frequency.", amountUnit{}, "", dead)
	below.Needs = "to"
	return []kind{
		counterKind("dead-input", "The input counts nothing.", amountUnit{}, "", dead),
		above, below,
		counterKind("deaf", "The input needs a higher level than it should.", inDecibel, "15 dB",
			func(m *gateMods, a amount, _ draw, _ string) { m.deaf += a.x }),
		counterKind("island", "Counts are lost from this far above the least level on, over 3 dB; below and above it counts.", inDecibel, "6 dB",
			func(m *gateMods, a amount, _ draw, _ string) { m.island = a.x }),
		counterKind("overload-at-low-level", "The over-range marker comes this far below the maximum level.", inDecibel, "20 dB",
			func(m *gateMods, a amount, _ draw, _ string) { m.overload += a.x }),
		counterKind("missing-counts", "Cycles are lost, about this share, another at each gate.", inShare, "0.1 %",
			func(m *gateMods, a amount, d draw, p string) { m.missing += min(0.99, 2*a.x*d.uniform(p+" share")) }),
		counterKind("double-counting", "This share of the cycles triggers twice.", inShare, "100 %",
			func(m *gateMods, a amount, _ draw, _ string) { m.double += a.x }),
		counterKind("wrong-prescale", "The prescaler divides wrongly: readings are p/q of the truth.", inRational, "32/31",
			func(m *gateMods, a amount, _ draw, _ string) { m.factor = orOne(m.factor) * a.x }),
		counterKind("wrong-harmonic", "The wrong harmonic is assumed: readings are off by a constant.", inHertz, "200 MHz",
			func(m *gateMods, a amount, _ draw, _ string) { m.shift += a.x }),
	}
}

func countingKinds() []kind {
	return []kind{
		counterKind("timebase-offset", "The timebase is off by this much more.", inRatio, "5 ppm",
			func(m *gateMods, a amount, _ draw, _ string) { m.y += a.x }),
		counterKind("timebase-wander", "The timebase scatters from gate to gate with this standard deviation.", inShare, "1 ppm",
			func(m *gateMods, a amount, d draw, p string) { m.y += a.x * d.normal(p+" wander") }),
		counterKind("no-external-reference", "The reference input is deaf: the counter stays on its own timebase.", amountUnit{}, "",
			func(m *gateMods, _ amount, _ draw, _ string) { m.noExternal = true }),
		counterKind("gate-short", "The gate is this share too short.", inShare, "1 %",
			func(m *gateMods, a amount, _ draw, _ string) { m.short += min(0.99, a.x) }),
		counterKind("noisy", "Readings scatter with this standard deviation in counts.", inCounts, "20",
			func(m *gateMods, a amount, _ draw, _ string) { m.scatter += a.x }),
		counterKind("stuck-digit", "A digit of the display and the reply always shows the same.", inDigit, "1:0",
			func(m *gateMods, a amount, _ draw, _ string) { m.stuck, m.place, m.digit = true, a.n, a.m }),
		counterKind("missing-digit", "A digit of the display and the reply never shows one value, but the one below it.", inDigit, "0:8",
			func(m *gateMods, a amount, _ draw, _ string) { m.blind, m.blindPlace, m.blindTo = true, a.n, a.m }),
		counterKind("gate-stays", "No gate is longer than this, whatever is set and read back.", inTime, "100 ms",
			func(m *gateMods, a amount, _ draw, _ string) { m.most = a.x }),
		counterKind("self-test-fails", "The self-test answers this number.", inCounts, "1",
			func(m *gateMods, a amount, _ draw, _ string) { m.failsTest = a.n }),
		counterKind("held-reading", "Without a signal the last reading stays.", amountUnit{}, "",
			func(m *gateMods, _ amount, _ draw, _ string) { m.held = true }),
	}
}

func sourceKind(name, about string, u amountUnit, normal string, do func(m *sourceMods, a amount)) kind {
	return kind{Kind: Kind{Name: name, Role: RoleSource, About: about, Default: normal}, unit: u, source: do}
}

func sourceKinds() []kind {
	return []kind{
		sourceKind("source-unlock", "The synthesis does not lock, and says so.", amountUnit{}, "",
			func(m *sourceMods, _ amount) { m.unlock = true }),
		sourceKind("source-slow-lock", "The first tries at each frequency do not lock.", inCounts, "2",
			func(m *sourceMods, a amount) { m.slow = max(m.slow, a.n) }),
		sourceKind("source-offset", "The frequency is off though the source reports it right.", inRatio, "1 ppm",
			func(m *sourceMods, a amount) { m.y += a.x }),
		sourceKind("source-readback", "The source reports another frequency than it gives, by this much.", inHertz, "1 kHz",
			func(m *sourceMods, a amount) { m.readback += a.x }),
		sourceKind("source-no-output", "There is no signal though RF is on.", amountUnit{}, "",
			func(m *sourceMods, _ amount) { m.noOutput = true }),
		sourceKind("source-level-low", "The level is lower than reported.", inDecibel, "10 dB",
			func(m *sourceMods, a amount) { m.low += a.x }),
	}
}

func talkKind(name, about string, u amountUnit, normal string, do func(m *talkMods, a amount)) kind {
	return kind{Kind: Kind{Name: name, About: about, Default: normal}, unit: u, talk: do}
}

func talkKinds() []kind {
	return []kind{
		talkKind("silent", "A reply does not come.", amountUnit{}, "", func(m *talkMods, _ amount) { m.silent = true }),
		talkKind("late", "A reply comes this much later.", inTime, "5 s", func(m *talkMods, a amount) { m.late += a.duration() }),
		talkKind("garbage", "A reply is bytes that are no text.", amountUnit{}, "", func(m *talkMods, _ amount) { m.garbage = true }),
		talkKind("split-reply", "A reply comes in two pieces with this pause between.", inTime, "50 ms", func(m *talkMods, a amount) { m.split += a.duration() }),
		talkKind("crlf", "A reply ends in carriage return and line feed.", amountUnit{}, "", func(m *talkMods, _ amount) { m.crlf = true }),
		talkKind("extra-line", "A second line follows a reply.", amountUnit{}, "", func(m *talkMods, _ amount) { m.extra = true }),
	}
}

func orOne(x float64) float64 {
	if x == 0 {
		return 1
	}
	return x
}

// gateMods gathers what the active counter faults do to one gate.
func (b *Bench) gateMods(o occasion) gateMods {
	var m gateMods
	for i := range b.faults {
		if f := &b.faults[i]; f.kind.counter != nil && f.active(o) {
			f.kind.counter(&m, f.amount, o.draw, f.purpose())
		}
	}
	b.insideMods(&m, o)
	m.factor = orOne(m.factor)
	return m
}

// sourceMods gathers what the active source faults do.
func (b *Bench) sourceMods(o occasion) sourceMods {
	var m sourceMods
	for i := range b.faults {
		if f := &b.faults[i]; f.kind.source != nil && f.active(o) {
			f.kind.source(&m, f.amount)
		}
	}
	return m
}

// talkMods gathers what the active faults do to one reply.
func (b *Bench) talkMods(o occasion) talkMods {
	var m talkMods
	for i := range b.faults {
		if f := &b.faults[i]; f.kind.talk != nil && f.active(o) {
			f.kind.talk(&m, f.amount)
		}
	}
	return m
}
