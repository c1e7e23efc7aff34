package store

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"bandproof/runner/isolate"
)

// mostEntries bounds a file of entries, bytes.
const mostEntries = 64 << 20

// ReadEntries reads a file of entries about a record, one a line as JSON, as
// AppendEntry writes it. There are none where there is no file yet.
func ReadEntries(file, recordID string) ([]isolate.Entry, error) {
	info, err := os.Stat(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil
	case err != nil:
		return nil, err
	case !info.Mode().IsRegular() || info.Size() > mostEntries:
		return nil, fmt.Errorf("%s is no file of at most %d MB", file, mostEntries>>20)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	var list []isolate.Entry
	for n := 1; len(text) > 0; n++ {
		line, rest, whole := bytes.Cut(text, []byte("\n"))
		text = rest
		if !whole {
			return nil, fmt.Errorf("%s, line %d: is cut off, as by a full disk; what was entered last is not kept: remove the line", file, n)
		}
		var e isolate.Entry
		d := json.NewDecoder(bytes.NewReader(line))
		d.DisallowUnknownFields()
		err := d.Decode(&e)
		if err == nil && !isSearch(string(e.Kind)) {
			err = fmt.Errorf("what is %q; expected look, prepared, revoked or found", e.Kind)
		}
		if err != nil {
			return nil, fmt.Errorf("%s, line %d: is no entry of isolate: %w", file, n, err)
		}
		if e.Record != recordID {
			return nil, fmt.Errorf("%s, line %d: is about record %s, not %s; each record has a file of its own", file, n, e.Record, recordID)
		}
		list = append(list, e)
	}
	return list, nil
}

// AppendEntry adds an entry to a file, on disk before it returns.
func AppendEntry(file string, e isolate.Entry) error {
	line, err := json.Marshal(e)
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	f, err := os.OpenFile(file, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(append(line, '\n'))
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	return nil
}
