package sheet

import (
	"crypto/ed25519"
	"encoding/hex"

	"bandproof/reports/record"
)

// Sealed states the seals of the sheet's records, so that each page names them,
// and the head of the store's chain with its count; head "" where only the
// records themselves are at hand.
func (s *Sheet) Sealed(seals []record.Seal, head string, count int) *Sheet {
	c := *s
	if head != "" {
		c = *s.Chain(head, count)
	}
	c.seals = map[string]record.Seal{}
	for _, one := range seals {
		if one.ID != "" {
			c.seals[one.ID] = one
		}
	}
	return &c
}

// fingerprint is the hash of a record and the fingerprint of the key that signed
// it, in full and in short; "" where it is not sealed.
func (s *Sheet) fingerprint(r run) (hash, key string) {
	seal, ok := s.seals[r.ID]
	if !ok {
		return "", ""
	}
	public, err := hex.DecodeString(seal.Key)
	if err != nil {
		return seal.Record, ""
	}
	return seal.Record, record.Fingerprint(ed25519.PublicKey(public))
}
