package profile

import (
	"errors"
	"testing"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
)

// Whatever a device answers: a level reads back as what it was printed, a mark
// or ErrUnreadable; a position is one that there is.
func FuzzDeviceReply(f *testing.F) {
	for _, seed := range []string{"-20.134", "-2.0134E+01", "1E-5", "-9.9E37", "9.91E37", "LOW", "0", "@2", "+1", "\xff", "1e9999"} {
		f.Add(seed, "dBm")
		f.Add(seed, "W")
	}
	f.Fuzz(func(t *testing.T, answer, unit string) {
		if levelUnit(unit) != nil {
			return // Load refuses it
		}
		m := &Measure{Query: "?", Reply: &Reply{Unit: unit}, UnderRange: []string{"LOW"}}
		level, mark, err := m.level(answer)
		switch {
		case err != nil && !errors.Is(err, drivers.ErrUnreadable):
			t.Fatalf("answer %q: %v is not ErrUnreadable", answer, err)
		case err == nil && mark == drivers.None:
			if back, err := quantity.ParseLevel(level.String()); err != nil || back.String() != level.String() {
				t.Fatalf("answer %q became %s, which does not read back: %v", answer, level, err)
			}
		}
		p := &Position{Closed: []string{"1"}, Open: []string{"0"}, Map: map[string]string{"@2": "two", "@": wordNone}}
		if closed, err := p.isClosed(answer); err == nil && closed != sameAnswer(answer, "1") {
			t.Fatalf("answer %q is closed: %v", answer, closed)
		}
		if name, err := p.named(answer); err == nil && name != "two" && name != "" {
			t.Fatalf("answer %q names %q", answer, name)
		}
	})
}
