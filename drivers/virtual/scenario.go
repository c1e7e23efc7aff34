package virtual

import "bandproof/procedures/quantity"

// Schema is the version of the scenario format that this package reads.
const Schema = "bandproof scenario 1"

// Scenario describes a virtual bench as its TOML file states it. It is data
// only; [LoadScenario] checks it, [New] builds the bench.
type Scenario struct {
	Schema     string                `toml:"schema"`
	Title      string                `toml:"title"`
	Seed       int                   `toml:"seed,omitempty"`
	Follow     bool                  `toml:"follow,omitempty"`       // a virtual technician moves the cables
	AgeByClock bool                  `toml:"age_by_clock,omitempty"` // drift, ageing and warm-up go on by the clock; by gates and settling unless stated, so that one seed gives one record
	Ambient    *quantity.Temperature `toml:"ambient,omitempty"`
	References []ReferenceScenario   `toml:"reference,omitempty"`
	Counter    CounterScenario       `toml:"counter"`
	Sources    []SourceScenario      `toml:"source"`
	Wires      []WireScenario        `toml:"wire,omitempty"`
	Faults     []Fault               `toml:"fault,omitempty"`

	Humidity     *quantity.Ratio       `toml:"humidity,omitempty"` // of the room
	Switches     []SwitchScenario      `toml:"switch,omitempty"`
	PowerMeters  []PowerMeterScenario  `toml:"power_meter,omitempty"`
	Thermometers []ThermometerScenario `toml:"thermometer,omitempty"`
	Monitor      *MonitorScenario      `toml:"monitor,omitempty"`
}

// ReferenceScenario is a frequency standard that instruments can run from.
type ReferenceScenario struct {
	Name   string         `toml:"name"`
	Offset quantity.Ratio `toml:"offset"` // (actual − nominal)/nominal
}

// Identity is what the instrument answers to *IDN?.
type Identity struct {
	Maker    string `toml:"maker"`
	Model    string `toml:"model"`
	Serial   string `toml:"serial"`
	Firmware string `toml:"firmware"`
}

// LinkScenario says how an instrument talks.
type LinkScenario struct {
	TCP        string `toml:"tcp,omitempty"`         // host:port that virtualbench listens on
	Clients    int    `toml:"clients,omitempty"`     // TCP clients served at a time; 1 unless stated
	Terminator string `toml:"terminator,omitempty"`  // lf, crlf or cr; lf unless stated
	Numbers    string `toml:"numbers,omitempty"`     // nr2 or nr3; nr2 unless stated
	WhileBusy  string `toml:"while_busy,omitempty"`  // a message during a pending answer: interrupt (IEEE 488.2) or queue
	Baud       int    `toml:"baud,omitempty"`        // pace on serial links; 0 is as fast as the link carries
	DataBits   int    `toml:"data_bits,omitempty"`   // 7 masks the top bit on serial links; 8 unless stated
	ErrorQueue int    `toml:"error_queue,omitempty"` // length of the error queue; 16 unless stated
	Dialect    string `toml:"dialect,omitempty"`     // scpi, letters or, for a counter, talk-only; scpi unless stated
	Comma      bool   `toml:"comma,omitempty"`       // letters and talk-only: readings have a decimal comma
	Suppress   bool   `toml:"suppress,omitempty"`    // letters and talk-only: leading zeros of readings are blanks
}

// TimebaseScenario is an instrument's own frequency standard.
type TimebaseScenario struct {
	Frequency   *quantity.Frequency `toml:"frequency,omitempty"`               // nominal; 10 MHz unless stated
	Offset      quantity.Ratio      `toml:"offset"`                            // when last adjusted, warm, at 23 °C
	Ageing      *quantity.Ratio     `toml:"ageing_per_day,omitempty"`          // since the last adjustment
	Adjusted    *quantity.Duration  `toml:"adjusted,omitempty"`                // how long ago
	PoweredFor  *quantity.Duration  `toml:"powered_for,omitempty"`             // how long it has been warm; long unless stated
	WarmUp      *quantity.Ratio     `toml:"warm_up,omitempty"`                 // offset on top when just switched on
	WarmUpTime  *quantity.Duration  `toml:"warm_up_time,omitempty"`            // time constant of the exponential
	Temperature *quantity.Ratio     `toml:"temperature_coefficient,omitempty"` // per °C away from 23 °C
}

// CounterScenario is the unit.
type CounterScenario struct {
	Name      string           `toml:"name"`
	Identity  Identity         `toml:"identity"`
	Link      LinkScenario     `toml:"link,omitempty"`
	Timebase  TimebaseScenario `toml:"timebase"`
	Reference string           `toml:"reference,omitempty"` // in use at power-on: own, external or auto; own unless stated
	External  string           `toml:"external,omitempty"`  // name of the reference plugged in, if any
	NoSignal  string           `toml:"no_signal,omitempty"` // zero, nan or timeout; zero unless stated

	Gate        [2]quantity.Duration `toml:"gate"`         // shortest and longest
	DefaultGate quantity.Duration    `toml:"default_gate"` // after *RST
	Inputs      []InputScenario      `toml:"input"`

	Stages     []StageScenario     `toml:"stage,omitempty"`      // what is inside; faults can sit there
	TestPoints []TestPointScenario `toml:"test_point,omitempty"` // where a probe can look
}

// The ways in which an input counts.
const (
	Direct        = "direct"
	Prescaled     = "prescaled"
	Reciprocal    = "reciprocal"
	DownConverted = "down-converted"
)

// InputScenario is one input of the unit.
type InputScenario struct {
	Name        string                `toml:"name"`
	Channel     int                   `toml:"channel"`
	Range       [2]quantity.Frequency `toml:"range"`
	Kind        string                `toml:"kind"`
	Impedance   quantity.Resistance   `toml:"impedance"`
	Capacitance *quantity.Capacitance `toml:"capacitance,omitempty"`
	Terminated  bool                  `toml:"terminated,omitempty"` // a 50 Ω feed-through is fitted

	Prescale       int                 `toml:"prescale,omitempty"`
	GateLengthened bool                `toml:"gate_lengthened,omitempty"`
	TimeResolution *quantity.Duration  `toml:"time_resolution,omitempty"`
	Oscillator     *quantity.Frequency `toml:"local_oscillator,omitempty"`
	LowestIF       *quantity.Frequency `toml:"lowest_if,omitempty"`
	OwnOscillator  *quantity.Ratio     `toml:"oscillator_offset,omitempty"` // a local oscillator not scaled from the timebase, with this offset

	Sensitivity []SensitivityScenario `toml:"sensitivity"`
	Window      *quantity.Gain        `toml:"miscount_window,omitempty"` // below the threshold, where counts are lost; 3 dB unless stated
	Max         quantity.Level        `toml:"max"`
	Damage      quantity.Level        `toml:"damage"`
}

// SensitivityScenario is a sub-range: what the specification promises there,
// and by how much this unit's true threshold is better.
type SensitivityScenario struct {
	Range     [2]quantity.Frequency `toml:"range"`
	Specified quantity.Level        `toml:"specified"`
	BetterBy  quantity.Gain         `toml:"better_by"`
}

// SourceScenario is one source.
type SourceScenario struct {
	Name       string                `toml:"name"`
	Identity   Identity              `toml:"identity"`
	Link       LinkScenario          `toml:"link,omitempty"`
	Timebase   TimebaseScenario      `toml:"timebase"`
	Reference  string                `toml:"reference,omitempty"` // own, counter (the unit's timebase output) or a reference's name
	Range      [2]quantity.Frequency `toml:"range"`
	Level      [2]quantity.Level     `toml:"level"`
	Resolution quantity.Frequency    `toml:"frequency_resolution"`
	LevelStep  quantity.Gain         `toml:"level_resolution"`
	Settle     quantity.Duration     `toml:"settle"`
	LevelError *quantity.Gain        `toml:"level_error,omitempty"` // largest, either way; the same at each setting of the frequency
	Transient  *quantity.Gain        `toml:"transient,omitempty"`   // overshoot of the level while it switches
	LockFails  []LockScenario        `toml:"lock_failure,omitempty"`
}

// LockScenario is a range in which the source does not lock: always, or at the
// first tries of each setting, or with a probability at each try.
type LockScenario struct {
	Range       [2]quantity.Frequency `toml:"range"`
	Tries       int                   `toml:"tries,omitempty"`
	Probability *quantity.Ratio       `toml:"probability,omitempty"`
}

// WireScenario is a cable from a source to an input.
type WireScenario struct {
	Source string         `toml:"source"`
	Input  string         `toml:"input"`
	Loss   []LossScenario `toml:"loss"`
	Pad    *quantity.Gain `toml:"pad,omitempty"`
	// Over a switch the wire is plugged in while its position is closed.
	Switch   string `toml:"switch,omitempty"`
	Position int    `toml:"position,omitempty"`
}

// LossScenario is one entry of a loss table, also written ["100 MHz", "0.4 dB"].
type LossScenario struct {
	At   quantity.Frequency `toml:"at"`
	Loss quantity.Gain      `toml:"loss"`
}

// TOMLList lets an entry be written as a list.
func (*LossScenario) TOMLList() {}
