package record

import (
	"crypto/ed25519"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
)

// ErrNotSealed: the record was kept before there were seals, or its seal is gone.
var ErrNotSealed = errors.New("is not sealed")

// Verify proves the record: its bytes are canonical and those that the seal
// names, the seal is canonical, belongs to the record and is signed by the key
// it names, and the record follows from itself. It returns everything that is
// wrong, in words; nothing where all holds. Whose key it is, and whether the
// chain around it holds, it can't tell.
func (s Sealed) Verify() []Finding {
	list, _, _, _ := s.verify()
	return list
}

// verify also gives the record, or says why it can't be read, and tells whether the
// seal by itself is good.
func (s Sealed) verify() (wrong []Finding, r Record, seal bool, err error) {
	if !s.IsSealed() {
		return []Finding{{Text: ErrNotSealed.Error()}}, r, false, ErrNotSealed
	}
	form := checkCanonical(s.Bytes)
	changed := Hash(s.Bytes) != s.Seal.Record
	switch {
	case changed:
		wrong = append(wrong, s.where(form)...)
	case form != nil:
		wrong = append(wrong, Finding{Text: fmt.Sprintf("the record %v", form)})
	}
	if err := s.verifySeal(); err != nil {
		wrong = append(wrong, Finding{Text: err.Error()})
	} else {
		seal = true
	}
	r, err = s.Record()
	switch {
	case err != nil && changed && !json.Valid(s.Bytes): // it was said
	case err != nil:
		wrong = append(wrong, Finding{Text: err.Error()})
	case r.ID != s.Seal.ID:
		wrong = append(wrong, Finding{Text: fmt.Sprintf("the seal is of record %q, this is %q", s.Seal.ID, r.ID)})
	}
	return wrong, r, seal, err
}

func (s Sealed) verifySeal() error {
	if err := checkCanonical(s.SealBytes); err != nil {
		return fmt.Errorf("the seal %w", err)
	}
	if s.Seal.Schema != SealSchema {
		return fmt.Errorf("the seal's schema is %q; this program reads %q", s.Seal.Schema, SealSchema)
	}
	key, err := hex.DecodeString(s.Seal.Key)
	if err != nil || len(key) != ed25519.PublicKeySize {
		return fmt.Errorf("the seal's key %q is no Ed25519 public key of 64 hex digits", s.Seal.Key)
	}
	if !ed25519.Verify(key, s.SealBytes, s.Signature) {
		return errors.New("the signature is not that of the key which the seal names: seal or signature was changed")
	}
	return nil
}

// Follows makes sure that the record stands right behind another in its chain.
func (s Sealed) Follows(at Link) error {
	missing := func(n int) string {
		if n == 1 {
			return fmt.Sprintf("record number %d of the chain is missing", at.Number)
		}
		return fmt.Sprintf("records number %d to %d of the chain are missing", at.Number, at.Number+n-1)
	}
	switch {
	case s.Seal.Chain != at.Chain:
		return fmt.Errorf("is of chain %s, not %s", s.Seal.Chain, at.Chain)
	case s.Seal.Number > at.Number:
		return fmt.Errorf("%s: this one, number %d, follows on number %d", missing(s.Seal.Number-at.Number), s.Seal.Number, at.Number-1)
	case s.Seal.Number < at.Number:
		return fmt.Errorf("is number %d of its chain, but stands behind number %d: the chain forks here, or its place was changed", s.Seal.Number, at.Number-1)
	case s.Seal.Previous != at.Previous && at.Previous != anyPrevious:
		return fmt.Errorf("is number %d of its chain, but was sealed behind another record than the one that is number %d here (its seal's SHA-256 is %s; this one names %s)", s.Seal.Number, s.Seal.Number-1, orNone(at.Previous), orNone(s.Seal.Previous))
	}
	return nil
}

// anyPrevious stands for a seal that is known to be wrong: what follows on it was
// sealed behind the one that was there before.
const anyPrevious = "any"

// orNone is a hash, or says that there is none.
func orNone(hash string) string {
	if hash == "" {
		return "none, being the first"
	}
	return hash
}
