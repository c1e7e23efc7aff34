// Package imported holds results of a unit that were not measured with this
// program: those of other laboratories, or of the time before. [Parse] reads
// them from CSV, all or none.
//
// An imported result is never part of a record, never sealed, and marked
// wherever it is shown. Where it is kept is the business of reports/store, what
// it says together with others that of reports/history.
package imported

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// What the unit ran from.
const (
	Own      = "own"      // its own timebase: the error holds that of the timebase
	External = "external" // a reference: the error is that of counting alone
)

// Result is one line of a file. Numbers are in Hz, or, where Input is empty and
// the result is the offset of the timebase itself, fractions of it.
type Result struct {
	Line      int                 `json:"line"`
	Date      procedures.Date     `json:"date"`
	Asset     string              `json:"asset,omitempty"`
	Serial    string              `json:"serial,omitempty"`
	Run       runner.Kind         `json:"run"`
	Input     string              `json:"input,omitempty"`
	Frequency *quantity.Frequency `json:"frequency,omitempty"`
	Level     *quantity.Level     `json:"level,omitempty"`
	// UnitReference is Own or External.
	UnitReference string         `json:"unit_reference"`
	Unit          string         `json:"unit"` // "Hz" or "1"
	Error         quantity.Exact `json:"error"`
	// Expanded uncertainty with its coverage factor; nil where none is stated.
	Uncertainty *quantity.Exact `json:"uncertainty,omitempty"`
	K           float64         `json:"k,omitempty"`
	Limit       *quantity.Exact `json:"limit,omitempty"` // of |error|
	Verdict     decision.Word   `json:"verdict,omitempty"`
	Laboratory  string          `json:"laboratory,omitempty"`
	Certificate string          `json:"certificate,omitempty"`
}

// Timebase tells whether the result is the offset of the timebase itself,
// (actual − nominal)/nominal, rather than an error at a point.
func (r Result) Timebase() bool { return r.Frequency == nil }

// SHA256 is the hash of what the result says, wherever in a file it stands.
func (r Result) SHA256() (string, error) {
	r.Line = 0
	text, err := json.Marshal(r)
	if err != nil {
		return "", fmt.Errorf("imported result: %w", err)
	}
	return sum(text), nil
}

func sum(text []byte) string {
	h := sha256.Sum256(text)
	return hex.EncodeToString(h[:])
}

// File is a file that was read whole.
type File struct {
	Name      string   `json:"name"`   // base name
	SHA256    string   `json:"sha256"` // of Text, lower-case hex
	Text      string   `json:"text"`   // as it was, byte for byte
	Separator string   `json:"separator"`
	Decimal   string   `json:"decimal"` // "point" or "comma"
	Results   []Result `json:"-"`
}
