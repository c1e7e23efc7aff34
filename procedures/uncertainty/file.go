package uncertainty

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"bandproof/procedures/quantity/tomlfile"
)

// FileSchema names the version of the budget file.
const FileSchema = "bandproof budget 1"

// mostLines bounds a budget file: nobody follows a longer one.
const mostLines = 500

// File is a free-standing budget.
type File struct {
	Schema       string        `toml:"schema" jsonschema:"const=bandproof budget 1" jsonschema_description:"Version of the file format."`
	Name         string        `toml:"name" jsonschema_description:"What is measured."`
	Unit         string        `toml:"unit" jsonschema_description:"Unit of the result, such as Hz; for print only."`
	Lines        []FileLine    `toml:"contribution" jsonschema_description:"The contributions, one each."`
	Correlations []Correlation `toml:"correlation,omitempty" jsonschema_description:"Pairs of contributions that move together, such as those that share one reference."`
}

// FileLine is one contribution of a budget file.
type FileLine struct {
	Name         string       `toml:"name" jsonschema_description:"Name, different from all others."`
	Value        float64      `toml:"value" jsonschema:"minimum=0" jsonschema_description:"Half-width; for normal the expanded or the standard uncertainty, for t the scale s/√n. In the unit of the input."`
	Distribution Distribution `toml:"distribution" jsonschema:"enum=normal,enum=rectangular,enum=triangular,enum=U-shaped,enum=t" jsonschema_description:"Shape."`
	K            *float64     `toml:"k,omitempty" jsonschema:"exclusiveMinimum=0" jsonschema_description:"Of normal: coverage factor that the value was stated with."`
	Standard     bool         `toml:"standard,omitempty" jsonschema_description:"Of normal: the value is a standard uncertainty."`
	Degrees      *float64     `toml:"degrees_of_freedom,omitempty" jsonschema:"minimum=1" jsonschema_description:"Degrees of freedom; infinitely many unless stated."`
	Sensitivity  *float64     `toml:"sensitivity,omitempty" jsonschema_description:"Change of the result by change of the input; 1 unless stated."`
	Source       string       `toml:"source" jsonschema_description:"Where the value comes from."`
}

// JSONSchema returns the JSON Schema of the budget file.
func JSONSchema() ([]byte, error) {
	return tomlfile.JSONSchema(&File{}, "urn:bandproof:budget:1", "bandproof budget file")
}

// Load reads a budget file. The error, if any, is a *tomlfile.Mistakes that
// lists all that is wrong, with file, line and key.
func Load(file string, text []byte) (*File, error) {
	f := &File{}
	d := tomlfile.Decode(file, text, f)
	if got := d.Text("schema"); d.Has("schema") && got != FileSchema {
		d.Only("schema", "is %q; this is read as a budget file, %q", got, FileSchema)
		return f, d.Err()
	}
	for _, key := range []string{"name", "unit"} {
		if d.Sound(key) && strings.TrimSpace(d.Text(key)) == "" {
			d.Add(key, "is empty")
		}
	}
	if n := len(f.Lines); d.Sound("contribution") && (n == 0 || n > mostLines) {
		d.Only("contribution", "has %d entries; expected 1 to %d", n, mostLines)
		return f, d.Err()
	}
	names := map[string]bool{}
	for k, x := range f.Lines {
		at := fmt.Sprintf("contribution[%d]", k)
		x.check(d, at)
		if names[x.Name] && d.Sound(at+".name") {
			d.Add(at+".name", "%q is given to an earlier contribution already", x.Name)
		}
		names[x.Name] = true
	}
	f.checkCorrelations(d, names)
	if d.Err() == nil {
		if _, err := f.Budget().CombineCorrelated(f.Correlations); err != nil {
			key := "contribution"
			if len(f.Correlations) > 0 {
				key = "correlation"
			}
			d.Add(key, "%v", err)
		}
	}
	return f, d.Err()
}

// check adds what is wrong with one contribution.
func (x FileLine) check(d *tomlfile.Document, at string) {
	add := func(key, format string, args ...any) {
		if d.Sound(at + "." + key) {
			d.Add(at+"."+key, format, args...)
		}
	}
	if strings.TrimSpace(x.Name) == "" {
		add("name", "is empty")
	}
	if strings.TrimSpace(x.Source) == "" {
		add("source", "is empty; say where the value comes from")
	}
	if !finite(x.Value) || x.Value < 0 {
		add("value", "is %v; expected a finite number of at least zero", x.Value)
	}
	if x.Sensitivity != nil && !finite(*x.Sensitivity) {
		add("sensitivity", "is %v; expected a finite number", *x.Sensitivity)
	}
	switch {
	case x.Degrees == nil:
	case math.IsInf(*x.Degrees, 1):
		add("degrees_of_freedom", "is inf; leave the key out for infinitely many")
	case !(*x.Degrees >= 1):
		add("degrees_of_freedom", "is %v; expected at least 1", *x.Degrees)
	}
	if x.K != nil && !(finite(*x.K) && *x.K > 0) {
		add("k", "is %v; expected a finite number above zero", *x.K)
	}
	x.checkShape(d, at, add)
}

// checkShape adds where the other keys don't fit the distribution.
func (x FileLine) checkShape(d *tomlfile.Document, at string, add func(key, format string, args ...any)) {
	if !slices.Contains(Distributions(), x.Distribution) {
		add("distribution", "is %q; expected one of normal, rectangular, triangular, U-shaped, t", x.Distribution)
		return
	}
	hasK, hasStandard := d.Has(at+".k"), d.Has(at+".standard")
	switch x.Distribution {
	case Normal:
		if hasK && x.Standard {
			add("standard", "contradicts k: the value is either a standard uncertainty or k times one")
		}
		if !hasK && !x.Standard {
			add("distribution", "is normal; then k must be given, or standard = true where the value is a standard uncertainty")
		}
	case StudentT:
		if !d.Has(at + ".degrees_of_freedom") {
			add("distribution", "is t; then degrees_of_freedom must be given")
		}
		fallthrough
	default:
		if hasK {
			add("k", "belongs to distribution normal; of %s it has no meaning", x.Distribution)
		}
		if hasStandard {
			add("standard", "belongs to distribution normal; of %s it has no meaning", x.Distribution)
		}
	}
}

func (f *File) checkCorrelations(d *tomlfile.Document, names map[string]bool) {
	pairs := map[[2]string]bool{}
	for k, x := range f.Correlations {
		at := fmt.Sprintf("correlation[%d]", k)
		sound := true
		for _, end := range [][2]string{{"a", x.A}, {"b", x.B}} {
			key, name := at+"."+end[0], end[1]
			if d.Sound(key) && !names[name] {
				d.Add(key, "is %q; there is no contribution of that name", name)
			}
			sound = sound && d.Sound(key)
		}
		pair := [2]string{min(x.A, x.B), max(x.A, x.B)}
		switch {
		case sound && x.A == x.B:
			d.Add(at, "is of %q with itself; expected two contributions", x.A)
		case sound && pairs[pair]:
			d.Add(at, "of %q and %q is stated already", x.A, x.B)
		}
		pairs[pair] = true
		if d.Sound(at+".r") && !(x.R >= -1 && x.R <= 1) {
			d.Add(at+".r", "is %v; expected -1 to 1", x.R)
		}
	}
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// Budget returns the contributions of the file.
func (f *File) Budget() Budget {
	b := make(Budget, len(f.Lines))
	for k, x := range f.Lines {
		dof := 0.0
		if x.Degrees != nil {
			dof = *x.Degrees
		}
		if x.K != nil {
			b[k] = Stated(x.Name, x.Value, *x.K, dof, x.Source)
		} else {
			b[k] = Line(x.Name, x.Value, x.Distribution, dof, x.Source)
		}
		b[k].Sensitivity = x.Sensitivity
	}
	return b
}
