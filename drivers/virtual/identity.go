package virtual

// Identity is what an instrument answers to *IDN?.
func (b *Bench) Identity(instrument string) (Identity, error) {
	d, err := b.device(instrument)
	if err != nil {
		return Identity{}, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	return d.identity(), nil
}
