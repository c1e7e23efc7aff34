package profile

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
)

// owners says which role has a table that not every role may have.
var owners = map[string]string{
	"input": RoleCounter, "gate": RoleCounter, "read": RoleCounter, "self_test": RoleCounter,
	"rf_off": RoleSource, "rf_on": RoleSource, "frequency": RoleSource, "level": RoleSource, "settle": RoleSource, "lock": RoleSource,
	"route": RoleSwitch, "position": RoleSwitch,
	"correction": RolePowerMeter, "measure": RolePowerMeter, "zero": RolePowerMeter,
	"temperature": RoleThermometer, "humidity": RoleThermometer,
}

// devices are the roles whose tables are checked here.
var devices = []string{RoleSwitch, RolePowerMeter, RoleThermometer}

// elsewhere reports the tables that belong to another role.
func (c *checker) elsewhere() {
	role := c.file.Role
	if !slices.Contains(devices, role) {
		return
	}
	for _, key := range sortedKeys(owners) {
		if c.Has(key) && owners[key] != role {
			c.Add(key, "belongs to a %s; this profile's role is %q", owners[key], role)
		}
	}
	if c.Has("reference") {
		c.Add("reference", "belongs to a counter or a source; this profile's role is %q", role)
	}
}

// noDevice reports the tables of devices at a counter or a source.
func (c *checker) noDevice() {
	for _, key := range sortedKeys(owners) {
		if c.Has(key) && slices.Contains(devices, owners[key]) {
			c.Add(key, "belongs to a %s; this profile's role is %q", owners[key], c.file.Role)
		}
	}
}

// device checks the tables of the role and tells whether it is one of those
// that this file knows.
func (c *checker) device() bool {
	c.elsewhere()
	switch c.file.Role {
	case RoleSwitch:
		c.router()
	case RolePowerMeter:
		c.powerMeter()
	case RoleThermometer:
		c.thermometer()
	default:
		return false
	}
	return true
}

func (c *checker) router() {
	c.need("route", "a source is routed by it")
	c.need("position", "a switch that can't say where it stands proves no path")
	f := c.file
	if r := f.Route; r != nil {
		c.commands("route", r.Commands, 1, holdPosition)
		c.holds("route", r.Commands, holdPosition)
		c.notNegative("route.wait", r.Wait)
		c.positions(r.Map)
	}
	if p := f.Position; p != nil {
		c.query("position.query", p.Query, true, holdPosition)
		c.position(p)
	}
}

func (c *checker) positions(m map[string]string) {
	if c.Has("route.map") && len(m) == 0 {
		c.Add("route.map", "is empty; expected the positions that there are")
	}
	seen := map[string]string{}
	for _, name := range sortedKeys(m) {
		at := "route.map." + name
		switch {
		case name == wordNone:
			c.Add(at, "%q stands for no position; choose another name", name)
		case strings.TrimSpace(m[name]) == "" || strings.ContainsFunc(m[name], isControl):
			c.Add(at, "is %q; expected what {position} stands for", m[name])
		case seen[m[name]] != "":
			c.Add(at, "is the same as %q; a read-back could not tell them apart", seen[m[name]])
		}
		seen[m[name]] = name
	}
}

// position checks that the answers can be read: each position by closed and
// open, or one answer for all by map.
func (c *checker) position(p *Position) {
	each := strings.Contains(p.Query, "{"+holdPosition+"}")
	for key, list := range map[string][]string{"position.closed": p.Closed, "position.open": p.Open} {
		switch {
		case each && !c.Has(key):
			c.Add("position", "asks for each position, but %s is missing", key)
		case !each && c.Has(key):
			c.Add(key, "has no meaning where the question holds no {%s}; use map", holdPosition)
		case each:
			c.answers(key, list)
		}
	}
	for _, s := range p.Closed {
		if isAnswer(s, p.Open) {
			c.Add("position.open", "holds %q, which stands for closed too", s)
		}
	}
	switch {
	case each && c.Has("position.map"):
		c.Add("position.map", "has no meaning where the question holds {%s}; use closed and open", holdPosition)
	case !each && !c.Has("position.map"):
		c.Add("position", "has no map; it must tell which answer stands for which position")
	case !each && c.file.Route != nil:
		c.wordMap("position.map", p.Map, append(sortedKeys(c.file.Route.Map), wordNone)...)
	}
}

func (c *checker) powerMeter() {
	c.need("measure", "a level is measured by it")
	f := c.file
	if k := f.Correction; k != nil {
		allowed := []string{holdHertz, holdKilohertz, holdMegahertz}
		c.commands("correction", k.Commands, 1, allowed...)
		c.holds("correction", k.Commands, allowed...)
		c.notNegative("correction.wait", k.Wait)
	}
	if m := f.Measure; m != nil {
		c.commands("measure", m.Commands, 0)
		c.query("measure.query", m.Query, true)
		c.reply("measure", m.Query, m.Reply, levelUnit, true)
		if c.Has("measure.under_range") {
			c.answers("measure.under_range", m.UnderRange)
		}
		c.positive("measure.timeout", m.Timeout)
	}
	if z := f.Zero; z != nil {
		c.commands("zero", z.Commands, 0)
		c.query("zero.query", z.Query, true)
		c.expect("zero", z.Query, z.Expect)
		c.positive("zero.timeout", z.Timeout)
	}
	if f.Abort != nil {
		c.commands("abort", f.Abort.Commands, 1)
		c.notNegative("abort.wait", f.Abort.Wait)
	}
}

func levelUnit(name string) error {
	if !slices.Contains([]string{unitDBm, unitWatt, unitMilliwatt}, name) {
		return fmt.Errorf("is %q; expected dBm, W or mW", name)
	}
	return nil
}

func (c *checker) thermometer() {
	c.need("temperature", "a thermometer is asked by it")
	if c.Has("abort") {
		c.Add("abort", "belongs to a counter or a power meter; this profile's role is %q", c.file.Role)
	}
	if t := c.file.Temperature; t != nil {
		c.ambient("temperature", t, func(name string) error { return unitError[quantity.Celsius](name) })
	}
	if h := c.file.Humidity; h != nil {
		c.ambient("humidity", h, func(name string) error { return unitError[quantity.One](name) })
	}
}

func (c *checker) ambient(action string, a *Ambient, unit unitCheck) {
	c.query(action+".query", a.Query, true)
	c.reply(action, a.Query, a.Reply, unit, false)
	c.positive(action+".timeout", a.Timeout)
}
