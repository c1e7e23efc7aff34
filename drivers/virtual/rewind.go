package virtual

import "fmt"

// gateDone is what a completed gate has used up.
type gateDone struct {
	counter *counter
	setting string
	age     float64 // of the bench before it
}

// Rewind sets the bench back to how it stood when each counter, by name, had
// completed so many gates and no more: model time and the noise of what comes
// next are as they were then. It is how a run that was killed, and whose
// last gates nobody kept, can be compared with one that was not. Only a bench
// that was made with Options.Rewinds can; instruments keep their settings. The
// caller makes sure that nobody talks to the counters meanwhile.
func (b *Bench) Rewind(gates map[string]int) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	devices, _ := b.devices()
	for _, d := range devices {
		if c, ok := d.(*counter); ok {
			c.abort()
		}
	}
	done := map[string]int{}
	for _, g := range b.gates {
		done[g.counter.sc.Name]++
	}
	for name, n := range gates {
		if done[name] < n {
			return fmt.Errorf("virtual bench: %s has completed %d gates, not %d", name, done[name], n)
		}
	}
	for k := len(b.gates) - 1; k >= 0; k-- {
		g := b.gates[k]
		name := g.counter.sc.Name
		if done[name] == gates[name] {
			continue
		}
		if k != len(b.gates)-1 {
			return fmt.Errorf("virtual bench: gate %d of %s was not among the last ones", done[name], name)
		}
		g.counter.ordinals[g.setting]--
		b.age, done[name], b.gates = g.age, done[name]-1, b.gates[:k]
	}
	return nil
}
