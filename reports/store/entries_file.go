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
	ids := map[string]bool{}
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
		if err == nil && d.More() {
			err = errors.New("more than one entry stands in it")
		}
		if err == nil {
			err = sound(e, ids)
		}
		if err != nil {
			return nil, fmt.Errorf("%s, line %d: is no entry of isolate: %w", file, n, err)
		}
		if e.Record != recordID {
			return nil, fmt.Errorf("%s, line %d: is about record %s, not %s; each record has a file of its own", file, n, e.Record, recordID)
		}
		list, ids[e.ID] = append(list, e), true
	}
	return list, nil
}

// sound tells what an entry lacks that follows those with these ids.
func sound(e isolate.Entry, ids map[string]bool) error {
	switch {
	case !isSearch(string(e.Kind)):
		return fmt.Errorf("what is %q; expected look, prepared, revoked or found", e.Kind)
	case e.ID == "" || ids[e.ID]:
		return fmt.Errorf("id is %q; expected one of its own", e.ID)
	case e.Kind == isolate.Looked && (e.Seen == nil || e.Seen.TestPoint == ""):
		return errors.New("is a look, and has to have seen with a test_point")
	case e.Kind != isolate.Looked && e.Seen != nil:
		return fmt.Errorf("is no look, and can't have seen: what is %q", e.Kind)
	case e.Kind == isolate.Revoked && !ids[e.Revokes]:
		return fmt.Errorf("revokes is %q; expected the id of an entry before it", e.Revokes)
	}
	return nil
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
