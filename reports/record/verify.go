package record

import (
	"crypto/ed25519"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// ErrNotSealed: the record was kept before there were seals, or its seal is gone.
var ErrNotSealed = errors.New("is not sealed")

// Verify proves the record: its bytes are canonical and those that the seal
// names, the seal is canonical, belongs to the record and is signed by the key
// it names, and the record follows from itself. It returns everything that is
// wrong, in words; nothing where all holds. Whose key it is, and whether the
// chain around it holds, it can't tell.
func (s Sealed) Verify() []error {
	if !s.IsSealed() {
		return []error{ErrNotSealed}
	}
	var wrong []error
	add := func(err error) {
		if err != nil {
			wrong = append(wrong, err)
		}
	}
	if err := checkCanonical(s.Bytes); err != nil {
		add(fmt.Errorf("record: %w", err))
	}
	if Hash(s.Bytes) != s.Seal.Record {
		add(s.where())
	}
	add(s.verifySeal())
	r, err := s.Record()
	add(err)
	if err == nil && r.ID != s.Seal.ID {
		add(fmt.Errorf("seal is of record %q, this is %q", s.Seal.ID, r.ID))
	}
	return wrong
}

// where says which parts of the record are not those that were sealed.
func (s Sealed) where() error {
	const says = "record is not the one that was sealed: its hash differs"
	now, err := partHashes(s.Bytes)
	if err != nil {
		return fmt.Errorf("%s, and it can't be read: %w", says, err)
	}
	var changed []string
	for part, was := range s.Seal.Parts {
		switch is, there := now[part]; {
		case !there:
			changed = append(changed, part+" (gone)")
		case is != was:
			changed = append(changed, part)
		}
	}
	for part := range now {
		if _, sealed := s.Seal.Parts[part]; !sealed {
			changed = append(changed, part+" (added)")
		}
	}
	if len(changed) == 0 {
		return fmt.Errorf("%s, though none of its parts does: only what stands between them was changed", says)
	}
	slices.Sort(changed)
	return fmt.Errorf("%s; changed: %s", says, strings.Join(changed, ", "))
}

func (s Sealed) verifySeal() error {
	if err := checkCanonical(s.SealBytes); err != nil {
		return fmt.Errorf("seal: %w", err)
	}
	if s.Seal.Schema != SealSchema {
		return fmt.Errorf("seal: schema is %q; this program reads %q", s.Seal.Schema, SealSchema)
	}
	key, err := hex.DecodeString(s.Seal.Key)
	if err != nil || len(key) != ed25519.PublicKeySize {
		return fmt.Errorf("seal: key %q is no Ed25519 public key of 64 hex digits", s.Seal.Key)
	}
	if !ed25519.Verify(key, s.SealBytes, s.Signature) {
		return errors.New("seal: signature is not that of the key which the seal names; seal or signature was changed")
	}
	return nil
}

// Follows makes sure that the record stands right behind another in its chain.
func (s Sealed) Follows(at Link) error {
	switch {
	case s.Seal.Chain != at.Chain:
		return fmt.Errorf("record %s is of chain %s, not %s", s.Seal.ID, s.Seal.Chain, at.Chain)
	case s.Seal.Number != at.Number:
		return fmt.Errorf("record %s is number %d of its chain; number %d is expected here", s.Seal.ID, s.Seal.Number, at.Number)
	case s.Seal.Previous != at.Previous:
		return fmt.Errorf("record %s, number %d, names another record before it than the one that is there (seal %.16s…, found %.16s…)", s.Seal.ID, s.Seal.Number, s.Seal.Previous, at.Previous)
	}
	return nil
}
