package procedures

import "bandproof/procedures/quantity"

// LinkPatience is how long a run waits for an instrument whose link is dead.
func (b *Bench) LinkPatience() quantity.Duration {
	if b.Patience != nil {
		return *b.Patience
	}
	return quantity.Of[quantity.Second](300, 0)
}
