// Package profiles holds the instrument profiles that come with the program,
// by name. What a profile means is the business of drivers/profile; a bench
// may as well name a file of its own.
package profiles

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"strings"
)

//go:embed *.toml
var files embed.FS

// ErrUnknown is wrapped where no profile has the name that was asked for.
var ErrUnknown = errors.New("no such profile")

// Names lists the ready profiles in alphabetical order.
func Names() []string {
	entries, err := files.ReadDir(".")
	if err != nil {
		return nil // cannot be: the root of an embedded tree is there
	}
	names := make([]string, len(entries))
	for i, e := range entries { // ReadDir sorts by file name
		names[i] = strings.TrimSuffix(e.Name(), path.Ext(e.Name()))
	}
	return names
}

// Text returns the TOML text of a ready profile, to be read or to begin a
// profile of one's own.
func Text(name string) ([]byte, error) {
	text, err := files.ReadFile(name + ".toml")
	if err != nil || strings.ContainsAny(name, `/\`) || !fs.ValidPath(name) {
		return nil, fmt.Errorf("%w: %q; there are %s", ErrUnknown, name, strings.Join(Names(), ", "))
	}
	return text, nil
}
