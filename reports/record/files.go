package record

import (
	"crypto/ed25519"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"regexp"
	"strings"
)

// FileSet is a record as files: bytes of the record, of its seal and of the
// signature; the last two are nil where there are no such files.
type FileSet struct {
	Name                    string
	Record, Seal, Signature []byte
}

// Kept puts the files together.
func (f FileSet) Kept() Kept {
	k := Kept{Name: f.Name}
	var err error
	if k.Sealed, err = NewSealed(f.Record, f.Seal, f.Signature); err != nil {
		k.Damage = append(k.Damage, fmt.Errorf("its seal can't be read: %w", err))
		k.Seal = Seal{}
	}
	return k
}

var fingerprintForm = regexp.MustCompile(`^[0-9a-f]{16}$`)

// ParseFingerprint reads a fingerprint as it is printed; upper case, spaces and
// missing dashes do not matter.
func ParseFingerprint(text string) (string, error) {
	plain := strings.NewReplacer("-", "", " ", "").Replace(strings.ToLower(text))
	if !fingerprintForm.MatchString(plain) {
		return "", fmt.Errorf("%q is no fingerprint of a key; expected four groups of four hex digits, such as 0123-4567-89ab-cdef", text)
	}
	return plain[:4] + "-" + plain[4:8] + "-" + plain[8:12] + "-" + plain[12:], nil
}

// ParsePublicPEM reads a public key as PublicPEM and openssl write it.
func ParsePublicPEM(text []byte) (ed25519.PublicKey, error) {
	block, _ := pem.Decode(text)
	if block == nil || block.Type != "PUBLIC KEY" {
		return nil, errors.New("is no public key in PEM form (-----BEGIN PUBLIC KEY-----)")
	}
	key, err := x509.ParsePKIXPublicKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("is no public key: %w", err)
	}
	public, ok := key.(ed25519.PublicKey)
	if !ok {
		return nil, fmt.Errorf("is a %T; records are signed by Ed25519 keys", key)
	}
	return public, nil
}
