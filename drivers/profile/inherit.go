package profile

import (
	"fmt"
	"slices"
	"strings"

	"bandproof/procedures/quantity/tomlfile"
)

// Finder gives a profile that another inherits from, by the name that stands
// there: its text, and the file in which it stands.
type Finder func(name string) (file string, text []byte, err error)

// ownKeys are not inherited: they say what this instrument is, and show it.
var ownKeys = []string{"schema", "name", "description", "source", "inherits", "without", "example"}

// longestLine bounds how many profiles may stand in one line of inheritance.
const longestLine = 10

// inherit reads a profile and lays it over those that it inherits from. whole
// is false where one of them is missing, so that what the document lacks is no
// mistake of its own.
func inherit(file string, text []byte, find Finder) (d *tomlfile.Document, whole bool) {
	d = tomlfile.Read(file, text)
	return d, lay(d, []string{file}, find)
}

// lay lays a document over its line of ancestors. line holds the files so far.
func lay(d *tomlfile.Document, line []string, find Finder) bool {
	if !d.Has("inherits") {
		if d.Has("without") {
			d.Add("without", "has no meaning without inherits")
		}
		return true
	}
	name := d.Text("inherits")
	if strings.TrimSpace(name) == "" {
		return true // told when it is decoded, or checked
	}
	if find == nil {
		d.Add("inherits", "is %q, but no other profile can be found from here", name)
		return false
	}
	file, text, err := find(name)
	if err != nil {
		d.Add("inherits", "%v", err)
		return false
	}
	if slices.Contains(line, file) {
		d.Add("inherits", "leads back to %s: a profile can't inherit from itself (%s)", file, strings.Join(append(line, file), " → "))
		return false
	}
	if len(line) >= longestLine {
		d.Add("inherits", "is one too many: at most %d profiles may stand in a line", longestLine)
		return false
	}
	base := tomlfile.Read(file, text)
	if err := base.Err(); err != nil {
		d.Add("inherits", "can't be read: %v", err)
		return false
	}
	if !lay(base, append(slices.Clone(line), file), find) {
		d.Add("inherits", "can't be used: %v", base.Err())
		return false
	}
	for _, key := range ownKeys {
		base.Drop(key)
	}
	for i := 0; d.Has(fmt.Sprintf("without[%d]", i)); i++ {
		at := fmt.Sprintf("without[%d]", i)
		if key := d.Text(at); !base.Drop(key) {
			d.Add(at, "is %q, which %s has not", key, file)
		}
	}
	d.Over(base)
	return true
}
