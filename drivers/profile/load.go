package profile

import (
	"errors"
	"regexp"
	"slices"

	"bandproof/procedures/quantity/tomlfile"
)

// Profile is a description that has been read and checked.
type Profile struct {
	file     File
	document *tomlfile.Document // tells where things stand
	// gates are the only gate times a counter has, shortest first; empty
	// where any is taken.
	gates []coded
}

var nameForm = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// Load reads and checks a profile. The error is a *tomlfile.Mistakes that
// lists everything that is wrong, each with line and key; file is only used to
// name the text in it. A profile that inherits needs [LoadWith].
func Load(file string, text []byte) (*Profile, error) { return LoadWith(file, text, nil) }

// LoadWith is Load for profiles that may inherit from others, which find gives.
func LoadWith(file string, text []byte, find Finder) (*Profile, error) {
	p := &Profile{}
	d, whole := inherit(file, text, find)
	if !whole {
		return nil, d.Err()
	}
	p.document = d
	d.Into(&p.file)
	unread := keysOf(d.Err())
	c := &checker{Document: d, file: &p.file}
	if p.file.Schema != Schema && d.Has("schema") {
		d.Add("schema", "is %q; expected %q", p.file.Schema, Schema)
	}
	c.head()
	switch p.file.Role {
	case RoleCounter:
		c.counter()
	case RoleSource:
		c.source()
	default:
		if !c.device() && d.Has("role") {
			d.Add("role", "is %q; expected %q, %q, %q, %q or %q", p.file.Role, RoleCounter, RoleSource, RoleSwitch, RolePowerMeter, RoleThermometer)
		}
	}
	c.both()
	c.examples()
	p.gates = c.gates
	if err := d.Err(); err != nil {
		return nil, withoutConsequences(err, unread)
	}
	return p, nil
}

// keysOf tells at which keys the text could not be read.
func keysOf(err error) map[string]bool {
	keys := map[string]bool{}
	var m *tomlfile.Mistakes
	if errors.As(err, &m) {
		for _, x := range m.List {
			keys[x.Key] = true
		}
	}
	return keys
}

// withoutConsequences drops what was found wrong at a key that could not even
// be read: the zero value that was checked is not what the file says.
func withoutConsequences(err error, unread map[string]bool) error {
	var m *tomlfile.Mistakes
	if !errors.As(err, &m) {
		return err
	}
	told := map[string]bool{}
	kept := slices.DeleteFunc(slices.Clone(m.List), func(x tomlfile.Mistake) bool {
		drop := unread[x.Key] && told[x.Key]
		told[x.Key] = true
		return drop
	})
	return &tomlfile.Mistakes{File: m.File, List: kept}
}

// Name is the name by which a bench file calls the profile.
func (p *Profile) Name() string { return p.file.Name }

// File is the file in which the profile stands, as it was named to Load.
func (p *Profile) File() string {
	file, _, _ := p.document.Where("")
	return file
}

// Role is RoleCounter, RoleSource, RoleSwitch, RolePowerMeter or RoleThermometer.
func (p *Profile) Role() string { return p.file.Role }

// Description says what the profile is for.
func (p *Profile) Description() string { return p.file.Description }

// Source says where the profile's facts come from.
func (p *Profile) Source() string { return p.file.Source }

// Examples returns the conversation that the profile carries, in order.
func (p *Profile) Examples() []Example { return slices.Clone(p.file.Examples) }
