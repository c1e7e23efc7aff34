package virtual

import (
	_ "embed"
	"slices"

	"bandproof/procedures/quantity"
)

// SwitchedScenarioName is the file name of the bench that needs nobody.
const SwitchedScenarioName = "switched.toml"

//go:embed scenarios/switched.toml
var switchedScenario []byte

// SwitchedScenarioText returns the TOML of a bench with a switch, a power
// meter, a thermometer and a monitor.
func SwitchedScenarioText() []byte { return slices.Clone(switchedScenario) }

// SwitchScenario is a coaxial switch; the wires say which position is theirs.
type SwitchScenario struct {
	Name      string       `toml:"name"`
	Identity  Identity     `toml:"identity"`
	Link      LinkScenario `toml:"link,omitempty"`
	Positions int          `toml:"positions"` // channels 1 to this
}

// PowerMeterScenario is a power meter behind a coupler at an input.
type PowerMeterScenario struct {
	Name     string                `toml:"name"`
	Identity Identity              `toml:"identity"`
	Link     LinkScenario          `toml:"link,omitempty"`
	Input    string                `toml:"input"`           // at whose connector the coupler sits
	Coupling []LossScenario        `toml:"coupling"`        // what the meter sees less than the connector
	Range    [2]quantity.Frequency `toml:"range"`           // lowest and highest frequency
	Level    [2]quantity.Level     `toml:"level"`           // beyond which it shows its markers, dBm
	Error    *quantity.Gain        `toml:"error,omitempty"` // largest, either way; the same at each frequency
}

// ThermometerScenario is a thermometer and hygrometer in the room.
type ThermometerScenario struct {
	Name     string                `toml:"name"`
	Identity Identity              `toml:"identity"`
	Link     LinkScenario          `toml:"link,omitempty"`
	Error    *quantity.Temperature `toml:"error,omitempty"` // what it shows too much
}

// MonitorScenario is a second counter on a splitter at a source.
type MonitorScenario struct {
	CounterScenario
	Source string         `toml:"source"`
	Loss   []LossScenario `toml:"splitter_loss"` // from the source to the monitor
	// Timebase names an input that is on the unit's timebase output.
	Timebase *TimebaseOutputScenario `toml:"timebase_output,omitempty"`
}

// TimebaseOutputScenario is the cable from the unit's timebase output.
type TimebaseOutputScenario struct {
	Input string         `toml:"input"` // of the monitor
	Level quantity.Level `toml:"level"` // that arrives there
}

// The roles of the aids.
const (
	RoleSwitch      = "switch"
	RolePowerMeter  = "power meter"
	RoleThermometer = "thermometer"
	RoleMonitor     = "monitor"
)

// aids are the instruments beside the unit and its sources.
type aids struct {
	monitor      *counter // nil: none
	relays       []*relay
	powerMeters  []*powerMeter
	thermometers []*thermometer
	humidity     float64 // %
}

const usualHumidity = 45.0 // %

// equip builds the aids of a scenario; sources and inputs are there.
func (b *Bench) equip(s Scenario) {
	b.humidity = usualHumidity
	if s.Humidity != nil {
		b.humidity = 100 * s.Humidity.Float()
	}
	for _, x := range s.Switches {
		b.relays = append(b.relays, newRelay(b, x))
	}
	for _, x := range s.PowerMeters {
		b.powerMeters = append(b.powerMeters, newPowerMeter(b, x))
	}
	for _, x := range s.Thermometers {
		b.thermometers = append(b.thermometers, newThermometer(b, x))
	}
	if m := s.Monitor; m != nil {
		b.monitor = newCounter(b, m.CounterScenario)
		b.monitor.tap = &tap{source: b.sourceNamed(m.Source), table: tableOf(m.Loss)}
		if t := m.Timebase; t != nil {
			b.monitor.tap.timebase, b.monitor.tap.level = t.Input, t.Level.DBm(quantity.Dbm50())
		}
	}
}

// devices lists all instruments with their roles, the counter first.
func (b *Bench) devices() (list []device, roles []string) {
	add := func(d device, role string) { list, roles = append(list, d), append(roles, role) }
	add(b.counter, RoleCounter)
	for _, s := range b.sources {
		add(s, RoleSource)
	}
	if b.monitor != nil {
		add(b.monitor, RoleMonitor)
	}
	for _, r := range b.relays {
		add(r, RoleSwitch)
	}
	for _, m := range b.powerMeters {
		add(m, RolePowerMeter)
	}
	for _, t := range b.thermometers {
		add(t, RoleThermometer)
	}
	return list, roles
}

// catchUp completes gates whose time is over, at the unit and the monitor.
func (b *Bench) catchUp() {
	b.counter.catchUp()
	if b.monitor != nil {
		b.monitor.catchUp()
	}
}

func (b *Bench) noteChange() {
	b.counter.noteChange()
	if b.monitor != nil {
		b.monitor.noteChange()
	}
}
