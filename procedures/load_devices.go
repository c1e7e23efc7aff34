package procedures

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
)

// devices checks switches, power meters, thermometers and the monitor.
func (c checker) devices(b *Bench) {
	switches := names(b.Switches, func(s Switch) string { return s.Name })
	meters := names(b.PowerMeters, func(m PowerMeter) string { return m.Name })
	taken := append(sourceNames(b), "counter", MonitorName)
	for _, x := range []struct {
		table string
		list  []string
	}{{"switch", switches}, {"power_meter", meters}, {"thermometer", names(b.Thermometers, func(t Thermometer) string { return t.Name })}} {
		c.distinct(x.table, x.list)
		for k, name := range x.list {
			if slices.Contains(taken, name) {
				c.add(fmt.Sprintf("%s[%d].name", x.table, k), "%q is the name of another instrument; each needs a name of its own", name)
			}
		}
		taken = append(taken, x.list...)
	}
	for k, s := range b.Switches {
		at := fmt.Sprintf("switch[%d]", k)
		c.standard(at, s.Standard)
		c.connection(at, s.Connection)
	}
	for k, m := range b.PowerMeters {
		c.powerMeter(fmt.Sprintf("power_meter[%d]", k), m)
	}
	for k, t := range b.Thermometers {
		at := fmt.Sprintf("thermometer[%d]", k)
		c.standard(at, t.Standard)
		c.connection(at, t.Connection)
		rises(c, at+".temperature", t.Temperature)
		rises(c, at+".humidity", t.Humidity)
	}
	for k, p := range b.Paths {
		c.routed(fmt.Sprintf("path[%d]", k), p, b, switches)
		if p.Meter != nil {
			c.tap(fmt.Sprintf("path[%d].power_meter", k), *p.Meter, meters)
		}
	}
	if b.Monitor != nil {
		c.monitor(*b.Monitor, b)
	}
}

// rises checks a [lowest, highest] pair of conditions.
func rises[D quantity.Dimension](c checker, path string, r [2]quantity.Value[D]) {
	if c.given(path) && r[0].Cmp(r[1]) >= 0 {
		c.add(path, "is reversed: %s is not below %s; write [lowest, highest]", r[0], r[1])
	}
}

// powers checks a [lowest, highest] pair of levels in dBm.
func (c checker) powers(path string, l [2]quantity.Level) {
	if !c.given(path) {
		return
	}
	switch {
	case l[0].IsVoltage() || l[1].IsVoltage():
		c.add(path, "is a voltage; expected a level in dBm")
	case l[0].DBm(quantity.Dbm50()) >= l[1].DBm(quantity.Dbm50()):
		c.add(path, "is reversed: %s is not below %s; write [lowest, highest]", l[0], l[1])
	}
}

func (c checker) powerMeter(path string, m PowerMeter) {
	c.standard(path, m.Standard)
	c.connection(path, m.Connection)
	c.span(path+".range", m.Range[0], m.Range[1])
	c.powers(path+".level", m.Level)
	if c.given(path+".uncertainty") && m.Uncertainty.Sign() <= 0 {
		c.add(path+".uncertainty", "is %s; expected above zero", m.Uncertainty)
	}
}

// routed checks how a path runs over a switch: two paths can't share a
// position unless they are the same way.
func (c checker) routed(path string, p Path, b *Bench, switches []string) {
	switch {
	case p.Switch == "" && p.Position != "":
		c.add(path+".position", "has no meaning without switch")
	case p.Switch != "" && p.Position == "":
		c.add(path+".switch", "has no position; name the position that routes this path")
	case p.Switch != "" && p.Fixed:
		c.add(path+".fixed", "stands beside switch; a path that is switched is not always connected")
	}
	if p.Switch == "" {
		return
	}
	if c.given(path+".switch") && !slices.Contains(switches, p.Switch) {
		c.add(path+".switch", "is %q, which is no switch of this bench; there are %s", p.Switch, listed(switches))
	}
	for k, o := range b.Paths {
		if path == fmt.Sprintf("path[%d]", k) {
			return
		}
		if o.Switch == p.Switch && o.Position == p.Position && (o.Source != p.Source || o.Input != p.Input) {
			c.add(path+".position", "is that of path %q, which leads from %s to %s; one position is one way", o.Name, o.Source, o.Input)
		}
	}
}

func (c checker) tap(path string, t Tap, meters []string) {
	if c.given(path+".name") && !slices.Contains(meters, t.Name) {
		c.add(path+".name", "is %q, which is no power meter of this bench; there are %s", t.Name, listed(meters))
	}
	c.table(path+".offset", t.Offset)
	c.entries(path+".offset", t.Offset)
	c.vswr(path+".vswr", t.VSWR)
	if t.Uncertainty.Sign() < 0 {
		c.add(path+".uncertainty", "is %s; expected at least zero", t.Uncertainty)
	}
}

// table checks that a table is there and rises in frequency.
func (c checker) table(path string, list []LossEntry) {
	if len(list) == 0 && c.given(path) {
		c.add(path, "is empty; give frequency and dB, such as [[\"1 GHz\", \"6 dB\"]]")
	}
	for k := 1; k < len(list); k++ {
		if list[k].At.Cmp(list[k-1].At) <= 0 {
			c.add(fmt.Sprintf("%s[%d]", path, k), "%s does not rise above %s; the table rises in frequency", list[k].At, list[k-1].At)
		}
	}
}

func (c checker) monitor(m Monitor, b *Bench) {
	c.standard("monitor", m.Standard)
	c.connection("monitor", m.Connection)
	c.known("monitor.source", m.Source, sourceNames(b))
	c.span("monitor.range", m.Range[0], m.Range[1])
	c.powers("monitor.level", m.Level)
	c.table("monitor.splitter_loss", m.Splitter)
	for k, e := range m.Splitter {
		if e.Loss.Sign() < 0 {
			c.add(fmt.Sprintf("monitor.splitter_loss[%d]", k), "is %s; a loss can't be negative", e.Loss)
		}
		if e.Uncertainty != nil {
			c.add(fmt.Sprintf("monitor.splitter_loss[%d]", k), "states an uncertainty, which has no meaning here: the monitor measures no level")
		}
	}
	c.time("monitor.gate", m.Gate, "1 µs", "10000 s")
	if c.given("monitor.resolution") && m.Resolution.Sign() <= 0 {
		c.add("monitor.resolution", "is %s; expected above zero", m.Resolution)
	}
	c.known("monitor.reference", m.Reference, append(append([]string{runsOwn}, referenceNames(b)...), sourceNames(b)...))
	if m.Reference == runsOwn && m.OwnTimebase == nil {
		c.add("monitor.reference", "is own; then own_timebase must state the accuracy of the monitor's timebase")
	}
	if m.OwnTimebase != nil && (m.OwnTimebase.Sign() <= 0 || m.OwnTimebase.Float() > 0.01) {
		c.add("monitor.own_timebase", "is %s; expected above 0 and at most 1 %%", m.OwnTimebase)
	}
	if fed, ok := b.Source(m.Reference); ok && fed.Reference == runsUnit {
		c.add("monitor.reference", "is source %q, which runs from the unit: the monitor would show the unit to itself", fed.Name)
	}
	c.timebaseOutput(m)
}

func listed(list []string) string {
	if len(list) == 0 {
		return "none"
	}
	return strings.Join(list, ", ")
}
