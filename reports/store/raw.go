package store

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
)

// raw is a text of the store on its way through an archive: as JSON where it is
// JSON that comes out byte for byte, else as the bytes it is.
type raw struct {
	JSON  json.RawMessage `json:"json,omitempty"`
	Bytes []byte          `json:"bytes,omitempty"`
}

func rawOf(text string) raw {
	var b bytes.Buffer
	if json.Compact(&b, []byte(text)) == nil && b.String() == text {
		return raw{JSON: json.RawMessage(text)}
	}
	return raw{Bytes: []byte(text)}
}

func (r raw) text() string {
	if r.JSON != nil {
		return string(r.JSON)
	}
	return string(r.Bytes)
}

// writeLine writes a value as one line of JSON.
func writeLine(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false) // a raw text stays as it is
	return e.Encode(v)
}

// readLine reads one, which must have nothing else.
func readLine[T any](line []byte) (v T, err error) {
	d := json.NewDecoder(bytes.NewReader(line))
	d.DisallowUnknownFields()
	if err = d.Decode(&v); err == nil && d.More() {
		err = fmt.Errorf("something follows after %.50q", line)
	}
	return v, err
}

// Lines of members.
type (
	runLine struct {
		ID      string `json:"id"`
		Kind    string `json:"kind"`
		Started string `json:"started"`
		Header  raw    `json:"header"`
	}
	journalLine struct {
		What string `json:"what"`
		Body raw    `json:"body"`
	}
	benchLine struct {
		Entry     string `json:"entry"`
		What      string `json:"what"`
		At        string `json:"at"`
		Serial    string `json:"serial"`
		Procedure string `json:"procedure"`
		AsFound   string `json:"as_found"`
		Body      raw    `json:"body"`
	}
	importedLine struct {
		SHA256    string `json:"sha256"`
		Name      string `json:"name"`
		Imported  string `json:"imported"`
		Who       string `json:"who"`
		Separator string `json:"separator"`
		Decimal   string `json:"decimal_mark"`
		// Results are those of the file, by line.
		Results []resultLine `json:"results"`
	}
	resultLine struct {
		SHA256 string `json:"sha256"`
		Line   int    `json:"line"`
		Asset  string `json:"asset"`
		Serial string `json:"serial"`
		Body   raw    `json:"body"`
	}
)
