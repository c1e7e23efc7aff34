package virtual

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
)

// Options are what a caller may choose beyond the scenario.
type Options struct {
	Seed   int           // 0 takes the scenario's
	Clock  drivers.Clock // nil is the wall clock
	Log    *slog.Logger  // nil logs nothing
	Follow bool          // a virtual technician moves the cables, also if the scenario does not say so
	// Heard, if not nil, is told of each message that an instrument has carried
	// out and of its reply before that is sent; empty where it gives none. It
	// is called by the instruments' own goroutines and must return soon.
	Heard func(instrument, message, reply string)
	// Rewinds keeps account of each gate, for Bench.Rewind.
	Rewinds bool
}

// Bench is a virtual bench. All methods are safe for concurrent use.
type Bench struct {
	seed   int
	clock  drivers.Clock
	log    *slog.Logger
	follow bool
	heard  func(instrument, message, reply string)

	mu         sync.Mutex // guards all below, and all instruments
	age        float64    // seconds of model time since power-on of the bench, see now
	born       time.Time  // power-on by the clock; the zero time where gates make the time
	ambient    float64    // °C
	references map[string]float64
	counter    *counter
	sources    []*source
	wires      []*wire
	aids
	faults  []fault
	replies map[string]int  // ordinal of the next reply of each instrument
	remote  map[string]bool // under remote control, by instrument
	events  []Event
	rewinds bool
	gates   []gateDone // where rewinds

	life   context.Context // ends with Close; bounds the in-process links
	end    context.CancelFunc
	dialed sync.WaitGroup
}

// EventKind says what happened at the bench that nobody asked for.
type EventKind string

const (
	// Damage: an input saw more than its damage level and is dead from now on.
	Damage EventKind = "damage"
	// HotMove: a cable was moved while its source's RF was on.
	HotMove EventKind = "hot cable move"
)

// Event is something that a careful run never causes.
type Event struct {
	Kind   EventKind
	Source string
	Input  string
	At     time.Time // on the bench's clock
	Text   string
}

// New builds the bench of a scenario that LoadScenario has passed.
func New(s Scenario, o Options) (*Bench, error) {
	b := &Bench{
		seed: s.Seed, clock: o.Clock, log: o.Log, follow: s.Follow || o.Follow, heard: o.Heard, rewinds: o.Rewinds,
		ambient: 23, references: map[string]float64{}, replies: map[string]int{}, remote: map[string]bool{},
	}
	if o.Seed != 0 {
		b.seed = o.Seed
	}
	if b.clock == nil {
		b.clock = drivers.WallClock{}
	}
	if b.log == nil {
		b.log = slog.New(slog.DiscardHandler)
	}
	if s.AgeByClock {
		b.born = b.clock.Now()
	}
	if s.Ambient != nil {
		b.ambient = s.Ambient.Float()
	}
	for _, r := range s.References {
		b.references[r.Name] = r.Offset.Float()
	}
	b.counter = newCounter(b, s.Counter)
	for _, x := range s.Sources {
		b.sources = append(b.sources, newSource(b, x))
	}
	b.equip(s)
	if err := b.string(s.Wires); err != nil {
		return nil, err
	}
	if err := b.SetFaults(s.Faults); err != nil {
		return nil, err
	}
	b.life, b.end = context.WithCancel(context.Background())
	return b, nil
}

// Close ends the in-process links and waits for them. Links that Serve
// functions run end by their own contexts.
func (b *Bench) Close() error {
	b.end()
	b.dialed.Wait()
	return nil
}

// Instrument is what a caller may know of an instrument without talking to it.
type Instrument struct {
	Name string
	Role string // RoleCounter, RoleSource, …
	TCP  string // host:port that the scenario gives, or empty
}

// The roles of instruments on the bench.
const (
	RoleCounter = "counter"
	RoleSource  = "source"
)

// Instruments lists the instruments, the counter first.
func (b *Bench) Instruments() []Instrument {
	devices, roles := b.devices()
	list := make([]Instrument, len(devices))
	for i, d := range devices {
		list[i] = Instrument{d.name(), roles[i], d.link().TCP}
	}
	return list
}

// device finds an instrument by name.
func (b *Bench) device(name string) (device, error) {
	devices, _ := b.devices()
	names := make([]string, len(devices))
	for i, d := range devices {
		if names[i] = d.name(); names[i] == name {
			return d, nil
		}
	}
	return nil, fmt.Errorf("virtual bench has no instrument %q; it has %s", name, strings.Join(names, ", "))
}

// now is the model time since power-on, in seconds: what gates and settling have
// added up to, or what the clock says where the scenario asks for that.
func (b *Bench) now() float64 {
	if b.born.IsZero() {
		return b.age
	}
	return b.age + b.clock.Now().Sub(b.born).Seconds()
}

// pass lets the time of a gate or of settling pass.
func (b *Bench) pass(seconds float64) {
	if b.born.IsZero() {
		b.age += seconds
	}
}

// Advance lets model time pass: drift, ageing and warm-up go on, as in "two
// weeks later". It takes no process time.
func (b *Bench) Advance(d quantity.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.age += max(d.Float(), 0)
}

// SetAmbient changes the temperature of the room.
func (b *Bench) SetAmbient(t quantity.Temperature) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.ambient = t.Float()
}

// PlugReference connects a reference of the scenario to the counter's
// reference input; an empty name unplugs what is there.
func (b *Bench) PlugReference(name string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if _, ok := b.references[name]; !ok && name != "" {
		return fmt.Errorf("virtual bench has no reference %q", name)
	}
	b.counter.external = name
	return nil
}

// Repair clears all faults and damage and adjusts the counter's timebase to
// the given offset, which ageing starts from anew.
func (b *Bench) Repair(timebase quantity.Ratio) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.change(func() {
		b.faults = nil
		for _, in := range b.counter.inputs {
			in.dead = false
		}
		b.counter.timebase.adjust(timebase.Float(), b.now())
		b.counter.display = ""
	})
}

// Events lists what happened, oldest first.
func (b *Bench) Events() []Event {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]Event(nil), b.events...)
}

func (b *Bench) note(kind EventKind, source, input, format string, args ...any) {
	e := Event{kind, source, input, b.clock.Now(), fmt.Sprintf(format, args...)}
	b.events = append(b.events, e)
	b.log.Warn(e.Text, "kind", string(kind), "source", source, "input", input)
}

// change is the one way to change what an input sees or how it counts: a gate
// that has ended is evaluated before, one that is open notes the change after.
// The caller holds mu.
func (b *Bench) change(do func()) {
	b.catchUp()
	do()
	b.technician()
	b.stress(0)
	b.noteChange()
}
