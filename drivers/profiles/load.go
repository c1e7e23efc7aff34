package profiles

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"bandproof/drivers/profile"
)

// Get returns a ready profile.
func Get(name string) (*profile.Profile, error) {
	text, err := Text(name)
	if err != nil {
		return nil, err
	}
	return Load(embedded(name), text)
}

// embedded is the file by which a ready profile is named in messages.
func embedded(name string) string { return "profiles/" + name + ".toml" }

// Load reads and checks a profile that stands in a file. What it inherits from
// is a ready profile, or a file beside it; file says where that is.
func Load(file string, text []byte) (*profile.Profile, error) {
	return profile.LoadWith(file, text, finder{filepath.Dir(file)}.find)
}

// Open returns a ready profile by its name, else the one in a file, which is
// looked for in dir unless its name is absolute.
func Open(dir, name string) (*profile.Profile, error) {
	file, text, err := finder{dir}.find(name)
	if err != nil {
		return nil, err
	}
	return Load(file, text)
}

// finder finds profiles by name, seen from a directory.
type finder struct{ dir string }

func (f finder) find(name string) (file string, text []byte, err error) {
	if slices.Contains(Names(), name) {
		text, err = Text(name)
		return embedded(name), text, err
	}
	file = name
	if !filepath.IsAbs(file) {
		file = filepath.Join(f.dir, name)
	}
	if text, err = os.ReadFile(file); err != nil {
		hint := ""
		if near := nearest(name); near != "" {
			hint = fmt.Sprintf("; did you mean %q?", near)
		}
		return "", nil, fmt.Errorf("%q is neither a ready profile (%s) nor a file that can be read: %w%s", name, strings.Join(Names(), ", "), errors.Unwrap(err), hint)
	}
	return file, text, nil
}

// nearest is the ready profile whose name a misspelt one probably means, "" for
// none: the one that shares all but two letters, in order.
func nearest(name string) string {
	best, least := "", 3
	for _, ready := range Names() {
		if n := len(name) + len(ready) - 2*common(name, ready); n < least {
			best, least = ready, n
		}
	}
	return best
}

// common is the length of the longest common subsequence.
func common(a, b string) int {
	row := make([]int, len(b)+1)
	for i := range len(a) {
		before := 0
		for j := range len(b) {
			old := row[j+1]
			if a[i] == b[j] {
				row[j+1] = before + 1
			} else {
				row[j+1] = max(row[j+1], row[j])
			}
			before = old
		}
	}
	return row[len(b)]
}
