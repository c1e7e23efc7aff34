package runner

import (
	"fmt"
	"sync"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
)

// Interlock stands between the run and the level of every source: a driver
// asks it before it sends any level. Until it is armed for a path it refuses
// all of them. It is safe for concurrent use.
type Interlock struct {
	unit procedures.Unit

	mu      sync.Mutex
	source  procedures.Source // armed for; empty name: for none
	path    procedures.Path
	input   procedures.Input
	ceiling float64 // dBm
}

// NewInterlock returns an interlock that refuses everything.
func NewInterlock(u procedures.Unit) *Interlock { return &Interlock{unit: u} }

// arm lets the source of a path be set up to what its input stands at all the
// given frequencies (the present one and the next).
func (k *Interlock) arm(s procedures.Source, p procedures.Path, i procedures.Input, at ...quantity.Frequency) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.source, k.path, k.input = s, p, i
	for n, f := range at {
		if c := procedures.Ceiling(k.unit, i, p, s, f); n == 0 || c < k.ceiling {
			k.ceiling = c
		}
	}
}

// disarm refuses everything again, before a cable is moved.
func (k *Interlock) disarm() {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.source = procedures.Source{}
}

// Permit refuses a level that could come too near to the damage level of the
// connected input, and any level while no path is armed.
func (k *Interlock) Permit(source string, level quantity.Level) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.source.Name == "" || source != k.source.Name {
		return fmt.Errorf("%w: source %s is not connected to any input of this run", drivers.ErrInterlock, source)
	}
	if dbm := level.DBm(quantity.Dbm50()); !(dbm <= k.ceiling) {
		return fmt.Errorf("%w: %s at source %s could bring input %s (destroyed at %s) nearer than %g dB to damage; at most %.1f dBm on path %s",
			drivers.ErrInterlock, level, source, k.input.Name, k.input.Damage, k.unit.Margin(), k.ceiling, k.path.Name)
	}
	return nil
}
