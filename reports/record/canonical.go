package record

import (
	"bytes"
	"encoding/json"
	"fmt"

	"github.com/gowebpki/jcs"
)

// canonical writes a value as canonical JSON (RFC 8785): one line, members
// sorted, numbers in one form only, no final line feed. Equal values give equal
// bytes, which is what a hash needs.
func canonical(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	return recanonical(b.Bytes())
}

func recanonical(text []byte) ([]byte, error) {
	out, err := jcs.Transform(text)
	if err != nil {
		return nil, fmt.Errorf("canonical JSON (RFC 8785): %w", err)
	}
	return out, nil
}

// checkCanonical says where a text leaves its canonical form, at the first byte
// that differs (from 0).
func checkCanonical(text []byte) error {
	if isCanonical(text) {
		return nil
	}
	want, err := recanonical(text)
	if err != nil {
		return err
	}
	if bytes.Equal(text, want) {
		return nil
	}
	at := 0
	for at < len(text) && at < len(want) && text[at] == want[at] {
		at++
	}
	return fmt.Errorf("is not canonical JSON (RFC 8785): from byte %d on it reads %s, canonical would be %s", at, excerpt(text, at), excerpt(want, at))
}

// excerpt quotes a few bytes.
func excerpt(text []byte, at int) string {
	if at >= len(text) {
		return "nothing more"
	}
	return fmt.Sprintf("%q", text[at:min(at+20, len(text))])
}
