package procedures

import (
	"fmt"

	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
)

// TimebaseOutput is where the monitor measures the unit's timebase output.
type TimebaseOutput struct {
	Input      string             `toml:"input" json:"input" jsonschema_description:"Input of the monitor that the unit's timebase output is connected to, by the name that its profile knows."`
	Frequency  quantity.Frequency `toml:"frequency" json:"frequency" jsonschema_description:"Nominal frequency of that output, such as 10 MHz."`
	Gate       quantity.Duration  `toml:"gate" json:"gate" jsonschema_description:"Gate time of the monitor there."`
	Resolution quantity.Frequency `toml:"resolution" json:"resolution" jsonschema_description:"One count of the monitor there at that gate time."`
}

// Output is what the monitor shows of the unit's timebase output.
type Output struct {
	TimebaseOutput
	// Expected is what it shows of a timebase without offset, in Hz, exactly.
	Expected quantity.Exact `json:"expected_hz"`
	// Relative is the budget of that, as fractions of the frequency.
	Relative  uncertainty.Budget `json:"relative_budget,omitempty"`
	Standards []string           `json:"standards"`
	// Drift is what the monitor's reference may drift, relative and per day.
	Drift float64 `json:"reference_drift_per_day"`
}

// Output finds how the monitor stands to the unit's timebase output; why tells
// what the bench lacks.
func (d *Draft) Output() (o Output, why string) {
	b, now := d.l.b, d.l.o.Now
	m := b.Monitor
	switch {
	case m == nil || m.TimebaseOutput == nil:
		return o, "the bench file has no [monitor.timebase_output], a counter that measures the unit's timebase output"
	case b.Counter.Reference != runsOwn:
		return o, fmt.Sprintf("the unit runs from %s, and its output shows that", b.Counter.Reference)
	}
	o = Output{TimebaseOutput: *m.TimebaseOutput, Standards: []string{MonitorName}}
	y := quantity.Exact{}
	from := m.Reference
	if s, ok := b.Source(from); ok {
		o.Standards = append(o.Standards, s.Name)
		if from = s.Reference; from == runsOwn {
			from = "source " + s.Name
		}
	}
	switch from {
	case runsUnit:
		return o, "the monitor runs from the unit itself"
	case runsOwn:
		y = m.OwnOffset.Exact()
		o.Relative = uncertainty.Budget{uncertainty.Line("timebase of the monitor", m.OwnTimebase.Float(), uncertainty.Rectangular, 0, "bench file")}
	default:
		var err error
		if y, o.Relative, err = offsetOf(b, from, now); err != nil {
			return o, err.Error()
		}
		if r, ok := b.Reference(from); ok {
			o.Standards, o.Drift = append(o.Standards, r.Name), r.Drift.Float()
		}
	}
	o.Expected = o.Frequency.Exact().Quo(onePlus(y))
	return o, ""
}

// timebaseOutput checks where the monitor measures the unit's timebase output.
func (c checker) timebaseOutput(m Monitor) {
	const at = "monitor.timebase_output"
	o := m.TimebaseOutput
	if o == nil {
		return
	}
	if c.given(at+".input") && o.Input == m.Input {
		c.add(at+".input", "is %q, which is the input on the splitter of source %s; name another one", o.Input, m.Source)
	}
	if c.given(at+".frequency") && o.Frequency.Sign() <= 0 {
		c.add(at+".frequency", "is %s; expected above zero", o.Frequency)
	}
	if c.given(at+".resolution") && (o.Resolution.Sign() <= 0 || c.given(at+".frequency") && o.Resolution.Scale(10, 0).Cmp(o.Frequency) > 0) {
		c.add(at+".resolution", "is %s; expected above zero and at most a tenth of the frequency", o.Resolution)
	}
	c.time(at+".gate", o.Gate, "1 ms", "10000 s")
}
