package record

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// SealSchema names the version of a seal's JSON.
const SealSchema = "bandproof seal 1"

// Seal binds the bytes of one record to the record before it: it is what is
// signed. Hashes are SHA-256, in lower-case hex.
type Seal struct {
	Schema string `json:"schema"`
	ID     string `json:"id"` // of the record
	// Record is the hash of the record's bytes.
	Record string `json:"record"`
	// Chain is the id of the chain of one store, Number the record's place in it,
	// from 1, and Previous the hash of the seal before; "" for the first.
	Chain    string `json:"chain"`
	Number   int    `json:"number"`
	Previous string `json:"previous"`
	// Key is the public key (Ed25519, 32 bytes, hex) that signs.
	Key    string    `json:"key"`
	Sealed time.Time `json:"sealed"`
	// Parts are the first 8 bytes of the hash of each part of the record, by its
	// JSON pointer (RFC 6901), so that it can be told where a record was changed.
	Parts map[string]string `json:"parts"`
}

// Sealed is a record as it is kept: its bytes, those of its seal, and the
// signature (Ed25519, 64 bytes) over the latter. A record that was kept before
// there were seals has its bytes only.
type Sealed struct {
	Bytes     []byte
	SealBytes []byte
	Seal      Seal
	Signature []byte
}

// Link is the place of the next record in a chain.
type Link struct {
	Chain    string
	Number   int
	Previous string
}

// Draft is a record whose bytes are final, and which has no place in a chain yet.
type Draft struct {
	ID    string
	Bytes []byte
	hash  string
	parts map[string]string
	// text is parts as canonical JSON.
	text []byte
}

// Draft makes the bytes of a record, and all that takes time of its seal.
func (r Record) Draft() (Draft, error) {
	body, err := r.Encode()
	if err != nil {
		return Draft{}, err
	}
	parts, err := partHashes(body)
	if err != nil {
		return Draft{}, fmt.Errorf("seal record %s: %w", r.ID, err)
	}
	text, err := canonical(parts)
	if err != nil {
		return Draft{}, fmt.Errorf("seal record %s: %w", r.ID, err)
	}
	return Draft{r.ID, body, Hash(body), parts, text}, nil
}

// Seal seals the draft at its place in a chain.
func (d Draft) Seal(at Link, now time.Time, key ed25519.PrivateKey) (Sealed, error) {
	public, ok := key.Public().(ed25519.PublicKey)
	if !ok || len(key) != ed25519.PrivateKeySize {
		return Sealed{}, fmt.Errorf("seal record %s: no signing key", d.ID)
	}
	seal := Seal{Schema: SealSchema, ID: d.ID, Record: d.hash, Chain: at.Chain, Number: at.Number, Previous: at.Previous,
		Key: hex.EncodeToString(public), Sealed: now.UTC()}
	text, err := seal.text(d.text)
	if err != nil {
		return Sealed{}, fmt.Errorf("seal record %s: %w", d.ID, err)
	}
	seal.Parts = d.parts
	return Sealed{d.Bytes, text, seal, ed25519.Sign(key, text)}, nil
}

// text is canonical JSON of a seal, whose parts are canonical already. While it is
// made others wait for the place in the chain.
func (s Seal) text(parts []byte) ([]byte, error) {
	sealed, err := s.Sealed.MarshalText()
	if err != nil {
		return nil, err
	}
	b := bytes.NewBuffer(make([]byte, 0, len(parts)+1024))
	member := func(before, value string) { // names in canonical order
		b.WriteString(before)
		if isPlain(value) {
			b.WriteString(`"` + value + `"`)
			return
		}
		quoted, e := canonical(value)
		err = errors.Join(err, e)
		b.Write(quoted)
	}
	member(`{"chain":`, s.Chain)
	member(`,"id":`, s.ID)
	member(`,"key":`, s.Key)
	fmt.Fprintf(b, `,"number":%d,"parts":%s`, s.Number, parts)
	member(`,"previous":`, s.Previous)
	member(`,"record":`, s.Record)
	member(`,"schema":`, s.Schema)
	member(`,"sealed":`, string(sealed))
	b.WriteByte('}')
	return b.Bytes(), err
}

// isPlain tells whether a text stands in JSON as it is.
func isPlain(text string) bool {
	for k := range len(text) {
		if c := text[k]; c < ' ' || c > '~' || c == '"' || c == '\\' {
			return false
		}
	}
	return true
}

// Seal seals the record at its place in a chain.
func (r Record) Seal(at Link, now time.Time, key ed25519.PrivateKey) (Sealed, error) {
	d, err := r.Draft()
	if err != nil {
		return Sealed{}, err
	}
	return d.Seal(at, now, key)
}

// IsSealed tells whether there is a seal at all.
func (s Sealed) IsSealed() bool { return len(s.SealBytes) > 0 }

// Head is the hash of the seal: what the next one names, and what is printed as
// the head of the chain.
func (s Sealed) Head() string { return Hash(s.SealBytes) }

// Next is the place after this record.
func (s Sealed) Next() Link { return Link{s.Seal.Chain, s.Seal.Number + 1, s.Head()} }

// Record reads the record; it does not verify the seal.
func (s Sealed) Record() (Record, error) { return Decode(s.Bytes) }

// NewSealed puts together what was kept of a record, without verifying it.
func NewSealed(bytes, seal, signature []byte) (Sealed, error) {
	s := Sealed{Bytes: bytes, SealBytes: seal, Signature: signature}
	if len(seal) == 0 {
		return s, nil
	}
	if err := strict(seal, &s.Seal); err != nil {
		return s, fmt.Errorf("seal: %w", err)
	}
	return s, nil
}

// Hash is the SHA-256 of bytes in lower-case hex.
func Hash(bytes []byte) string {
	sum := sha256.Sum256(bytes)
	return hex.EncodeToString(sum[:])
}

// partHashes hashes the parts of a record.
func partHashes(text []byte) (map[string]string, error) {
	parts, err := partsOf(text)
	if err != nil {
		return nil, err
	}
	hashes := make(map[string]string, len(parts))
	for name, body := range parts {
		hashes[name] = short(body)
	}
	return hashes, nil
}

// partsOf are the members of a record by their JSON pointers; those of its run,
// and each point and task, by themselves.
func partsOf(text []byte) (map[string][]byte, error) {
	parts := map[string][]byte{}
	top, err := members(text)
	if err != nil {
		return nil, err
	}
	for name, body := range top {
		if name != "run" {
			parts["/"+escapePointer(name)] = body
			continue
		}
		run, err := members(body)
		if err != nil {
			return nil, err
		}
		for name, body := range run {
			list, ok := elements(body)
			if !ok || name != "points" && name != "outcomes" {
				parts["/run/"+escapePointer(name)] = body
				continue
			}
			for k, one := range list {
				parts[fmt.Sprintf("/run/%s/%d", name, k)] = one
			}
		}
	}
	return parts, nil
}

func members(text []byte) (map[string]json.RawMessage, error) {
	var m map[string]json.RawMessage
	if err := json.Unmarshal(text, &m); err != nil {
		return nil, fmt.Errorf("parts of the record: %w", err)
	}
	return m, nil
}

func elements(text []byte) (list []json.RawMessage, ok bool) {
	return list, json.Unmarshal(text, &list) == nil && list != nil
}

func short(text []byte) string { return Hash(text)[:16] }
