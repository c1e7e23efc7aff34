package profiles

import (
	"fmt"
	"path/filepath"
	"strings"

	"bandproof/drivers/profile"
)

// File is the text of a profile and where it stood.
type File struct{ Name, Text string }

// Shelf finds profiles as Open does, and keeps the text of each, with those that
// it inherits from, so that they can be found again when the files are gone.
type Shelf struct {
	dir  string
	kept map[string]File // by who asked (a file; "" for a bench) and the name
	only bool
}

// NewShelf looks for files in dir.
func NewShelf(dir string) *Shelf { return &Shelf{dir: dir, kept: map[string]File{}} }

// OldShelf has what another one has kept, and nothing else.
func OldShelf(kept map[string]File) *Shelf { return &Shelf{kept: kept, only: true} }

// Kept is every text that was asked for.
func (s *Shelf) Kept() map[string]File { return s.kept }

// Open returns a profile by the name that a bench file gives it.
func (s *Shelf) Open(name string) (*profile.Profile, error) {
	file, text, err := s.find("", s.dir)(name)
	if err != nil {
		return nil, err
	}
	return profile.LoadWith(file, text, s.find(file, filepath.Dir(file)))
}

// Find returns a profile's text by the key under which Kept has it.
func (s *Shelf) Find(key string) (File, error) {
	asker, name, inherited := strings.Cut(key, inherits)
	find := s.find("", s.dir)
	if inherited {
		find = s.find(asker, filepath.Dir(asker))
	} else {
		name = key
	}
	file, text, err := find(name)
	return File{file, string(text)}, err
}

// inherits stands in a key between a profile's file and the name that it asks for.
const inherits = " > "

// find finds profiles as they are named by asker, which stands in dir.
func (s *Shelf) find(asker, dir string) func(name string) (file string, text []byte, err error) {
	return func(name string) (string, []byte, error) {
		key := name
		if asker != "" {
			key = asker + inherits + name
		}
		if f, ok := s.kept[key]; ok {
			return f.Name, []byte(f.Text), nil
		}
		if s.only {
			return "", nil, fmt.Errorf("%w: %q was not kept", ErrUnknown, key)
		}
		file, text, err := finder{dir}.find(name)
		if err == nil {
			s.kept[key] = File{file, string(text)}
		}
		return file, text, err
	}
}
