package procedures

import "bandproof/procedures/quantity"

// Switch routes sources to inputs without a person.
type Switch struct {
	Name string `toml:"name" json:"name" jsonschema_description:"Name by which paths refer to it."`
	Standard
	Connection
}

// PowerMeter measures the level at inputs, through a splitter or coupler.
type PowerMeter struct {
	Name string `toml:"name" json:"name" jsonschema_description:"Name by which paths refer to it."`
	Standard
	Connection
	Range       [2]quantity.Frequency `toml:"range" json:"range" jsonschema_description:"Lowest and highest frequency."`
	Level       [2]quantity.Level     `toml:"level" json:"level" jsonschema_description:"Lowest level that it measures and highest that it stands, in dBm."`
	Uncertainty quantity.Gain         `toml:"uncertainty" json:"uncertainty" jsonschema_description:"Expanded uncertainty (k = 2) of a measured level, mismatch included."`
}

// Thermometer tells the ambient conditions.
type Thermometer struct {
	Name string `toml:"name" json:"name" jsonschema_description:"Name of the thermometer."`
	Standard
	Connection
	Temperature [2]quantity.Temperature `toml:"temperature,omitempty" json:"temperature,omitzero" jsonschema_description:"Lowest and highest ambient temperature at which results hold; outside it the run warns."`
	Humidity    [2]quantity.Ratio       `toml:"humidity,omitempty" json:"humidity,omitzero" jsonschema_description:"Lowest and highest relative humidity; outside it the run warns."`
}

// Monitor is a second counter on a splitter at a source, so that what the
// source makes is checked by measurement.
type Monitor struct {
	Standard
	Connection
	Source      string                `toml:"source" json:"source" jsonschema_description:"Source at whose output the splitter sits."`
	Input       string                `toml:"input" json:"input" jsonschema_description:"Input of the monitor, by the name that its profile knows."`
	Range       [2]quantity.Frequency `toml:"range" json:"range" jsonschema_description:"Lowest and highest frequency that this input counts."`
	Level       [2]quantity.Level     `toml:"level" json:"level" jsonschema_description:"Lowest level that this input counts properly and highest that it stands, in dBm."`
	Splitter    []LossEntry           `toml:"splitter_loss" json:"splitter_loss" jsonschema_description:"Loss from the source to the monitor: frequency and loss, rising in frequency. The loss to the unit belongs to the path."`
	Gate        quantity.Duration     `toml:"gate" json:"gate" jsonschema_description:"Gate time of the monitor."`
	Resolution  quantity.Frequency    `toml:"resolution" json:"resolution" jsonschema_description:"One count of the monitor at that gate time."`
	Reference   string                `toml:"reference" json:"reference" jsonschema_description:"What the monitor runs from: own, the name of a reference, or the name of a source whose reference output it uses."`
	OwnTimebase *quantity.Ratio       `toml:"own_timebase,omitempty" json:"own_timebase,omitempty" jsonschema_description:"Accuracy of the monitor's own timebase; needed where reference is own."`
	OwnOffset   quantity.Ratio        `toml:"own_offset,omitempty" json:"own_offset,omitzero" jsonschema_description:"Known fractional offset of the monitor's own timebase."`
	// TimebaseOutput: another input of the monitor is on the unit's timebase output.
	TimebaseOutput *TimebaseOutput `toml:"timebase_output,omitempty" json:"timebase_output,omitempty" jsonschema_description:"Another input of the monitor, on the unit's timebase output."`
}

// Tap is where a power meter sits on a path.
type Tap struct {
	Name        string        `toml:"name" json:"name" jsonschema_description:"The power meter."`
	Offset      []LossEntry   `toml:"offset" json:"offset" jsonschema_description:"What is added to the meter's reading to have the level at the input's connector: frequency and dB, rising in frequency; negative where the meter sees more than the input."`
	Uncertainty quantity.Gain `toml:"uncertainty,omitempty" json:"uncertainty" jsonschema_description:"Uncertainty (k = 2) of the offset, where an entry states none."`
	VSWR        VSWR          `toml:"vswr,omitempty" json:"vswr,omitempty" jsonschema_description:"VSWR that splitter or coupler show the input, by sub-range: highest frequency of each and VSWR up to it."`
}

// MonitorName is what the monitor is called among the instruments.
const MonitorName = "monitor"

// HandsFree tells whether nobody has to move a cable for the path.
func (p Path) HandsFree() bool { return p.Fixed || p.Switch != "" }

// Switch returns the switch of that name.
func (b *Bench) Switch(name string) (Switch, bool) {
	return named(b.Switches, name, func(s Switch) string { return s.Name })
}

// PowerMeter returns the power meter of that name.
func (b *Bench) PowerMeter(name string) (PowerMeter, bool) {
	return named(b.PowerMeters, name, func(m PowerMeter) string { return m.Name })
}

// Thermometer returns the thermometer of that name.
func (b *Bench) Thermometer(name string) (Thermometer, bool) {
	return named(b.Thermometers, name, func(t Thermometer) string { return t.Name })
}

func named[T any](list []T, name string, of func(T) string) (found T, ok bool) {
	for _, x := range list {
		if of(x) == name {
			return x, true
		}
	}
	return found, false
}

// Outside says in words where a condition lies outside its range; "" where it
// does not, or where no range is stated.
func Outside[D quantity.Dimension](v quantity.Value[D], r [2]quantity.Value[D]) string {
	if r[0].Cmp(r[1]) == 0 || v.Cmp(r[0]) >= 0 && v.Cmp(r[1]) <= 0 {
		return ""
	}
	return v.String() + ", outside " + r[0].String() + " to " + r[1].String()
}
