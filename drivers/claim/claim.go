// Package claim gives the instruments of a bench to one process at a time.
//
// Each address has a lock file that the operating system holds for the process
// (flock, LockFileEx): it is free again once the process is gone, however it
// ended. Beside it stands who holds it, for the message to the next one. It
// holds among the runs of one user on one computer; what keeps other programs
// away is the business of the links.
package claim

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"bandproof/drivers/link"

	"github.com/gofrs/flock"
)

// ErrTaken: another process holds an instrument.
var ErrTaken = errors.New("in use by another run")

// Holder is who holds the instruments.
type Holder struct {
	PID   int       `json:"pid"`
	Since time.Time `json:"since"`
	What  string    `json:"what"` // such as "run 0193…"
}

// Instrument is one by the name and address that the bench file gives it.
type Instrument struct {
	Name, Address, Via string
}

// Claim holds instruments until it is released.
type Claim struct{ locks []*flock.Flock }

// Folder is where lock files are kept unless the caller says otherwise: below
// the user's cache, else with the temporary files.
func Folder() string {
	dir, err := os.UserCacheDir()
	if err != nil {
		dir = os.TempDir()
	}
	return filepath.Join(dir, "bandproof", "claims")
}

// Take takes all instruments or none; it does not wait. An error wraps ErrTaken
// and says who holds which, or names the file that could not be made.
func Take(folder string, h Holder, list ...Instrument) (*Claim, error) {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return nil, fmt.Errorf("lock files of the bench: %w", err)
	}
	names := map[string]string{} // by key
	for _, i := range list {
		if i.Via == "" {
			names[key(canonical(i.Address))] = i.Name + " at " + i.Address
			continue
		}
		names[key(link.LoggedAs(i.Address, i.Via))] = i.Name + " at " + i.Address
		names[key(canonical(i.Via))] = "the adapter of " + i.Name + " at " + i.Via
	}
	keys := slices.Collect(maps.Keys(names))
	slices.Sort(keys)
	c := &Claim{}
	for _, k := range keys {
		if err := c.take(filepath.Join(folder, k), h, names[k]); err != nil {
			return nil, errors.Join(err, c.Release())
		}
	}
	return c, nil
}

func (c *Claim) take(file string, h Holder, name string) error {
	lock := flock.New(file+".lock", flock.SetPermissions(0o644))
	ok, err := lock.TryLock()
	switch {
	case err != nil:
		return fmt.Errorf("lock file of %s: %w", name, err)
	case !ok:
		return fmt.Errorf("%s is %w%s", name, ErrTaken, held(file+".json"))
	}
	c.locks = append(c.locks, lock)
	say(file+".json", h)
	return nil
}

// say writes down who holds a lock, only for the message. It takes the place of
// what is there, and never follows a link to a file of somebody else.
func say(file string, h Holder) {
	text, err := json.Marshal(h)
	if err != nil {
		return
	}
	tmp, err := os.CreateTemp(filepath.Dir(file), ".holder-*")
	if err != nil {
		return
	}
	_, err = tmp.Write(text)
	if errors.Join(err, tmp.Chmod(0o644), tmp.Close()) != nil || os.Rename(tmp.Name(), file) != nil {
		_ = os.Remove(tmp.Name())
	}
}

// held says who holds a lock, as far as it can be told.
func held(file string) string {
	var h Holder
	text, err := os.ReadFile(file)
	if err != nil || json.Unmarshal(text, &h) != nil {
		return ""
	}
	return fmt.Sprintf(": %s, process %d, since %s", h.What, h.PID, h.Since.Local().Format("2006-01-02 15:04"))
}

// Release gives the instruments back.
func (c *Claim) Release() error {
	var errs []error
	for _, l := range c.locks {
		errs = append(errs, l.Unlock())
	}
	c.locks = nil
	return errors.Join(errs...)
}

// key is the name of an address's files.
func key(address string) string {
	sum := sha256.Sum256([]byte(address))
	return hex.EncodeToString(sum[:12])
}

// canonical is one spelling of an address: that of the resource name, with the
// device itself where a serial port is named by a link to it.
func canonical(address string) string {
	r, err := link.ParseResource(address)
	if err != nil {
		return address
	}
	if r.Kind == link.Serial && r.Device != "" {
		if device, err := filepath.EvalSymlinks(r.Device); err == nil {
			r.Device = device
		}
	}
	return r.String()
}
