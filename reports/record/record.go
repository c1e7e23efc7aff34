// Package record is the record of one run: who, what, which standards,
// conditions, readings, verdicts. It is plain data with a JSON form that has a
// version; once written a record is never edited, a correction is a new one
// that names the old.
//
// How a record is laid out for people is the business of reports/sheet, where
// it lives that of reports/store.
package record

import (
	"time"

	"bandproof/procedures"
	"bandproof/runner"
)

// Schema names the version of the record's JSON, canonical by RFC 8785.
// firstSchema is that of records from before there were seals, which are read.
const (
	Schema      = "bandproof record 2"
	firstSchema = "bandproof record 1"
)

// Program is the software that made a record.
type Program struct {
	Name    string `json:"name"`
	Version string `json:"version"`
	Go      string `json:"go"`
}

// Source is a file that the run was made from, kept whole.
type Source struct {
	File     string `json:"file"` // base name
	Name     string `json:"name"`
	Revision string `json:"revision,omitempty"`
	SHA256   string `json:"sha256"` // of Text, lower-case hex
	Text     string `json:"text"`
}

// Standard is one instrument or reference that the results are traceable to.
type Standard struct {
	Name string `json:"name"`
	Role string `json:"role"` // "source", "reference", "power meter", "monitor" or "thermometer"
	procedures.Standard
	// Stated uncertainty or accuracy, in words.
	Stated string `json:"stated"`
	// Overdue at the time of the run.
	Overdue bool `json:"overdue"`
}

// Logo is the picture at the head of the data sheet. It is kept once beside the
// records that name it by its hash.
type Logo struct {
	File   string `json:"file"`   // base name
	SHA256 string `json:"sha256"` // lower-case hex
	Media  string `json:"media"`  // "image/png" or "image/jpeg"
}

// Correction says which record a new one takes the place of, and what it
// changes. What was measured is never changed; Withdrawn says that it must not
// be relied on.
type Correction struct {
	ID        string   `json:"id"` // of the record that is corrected
	Reason    string   `json:"reason"`
	Who       string   `json:"who"`
	Withdrawn bool     `json:"withdrawn,omitempty"`
	Changes   []Change `json:"changes,omitempty"`
}

// Change is one value that a correction changes, by its JSON pointer.
type Change struct {
	Path string `json:"path"`
	Old  string `json:"old"`
	New  string `json:"new"`
}

// Record is everything about one run.
type Record struct {
	Schema string `json:"schema"`
	ID     string `json:"id"`
	// Follows is the id of the record of the earlier run of the same job (as
	// found), for an after-repair or as-left record.
	Follows string `json:"follows,omitempty"`
	// Corrects: this record takes the place of another.
	Corrects   *Correction           `json:"corrects,omitempty"`
	Created    time.Time             `json:"created"` // UTC, as every time here
	Zone       Zone                  `json:"zone,omitzero"`
	Program    Program               `json:"program"`
	Job        procedures.Job        `json:"job"`
	Laboratory procedures.Laboratory `json:"laboratory"`
	Logo       *Logo                 `json:"logo,omitempty"`
	// Unit as the procedure names it.
	Maker     string        `json:"maker"`
	Model     string        `json:"model"`
	Procedure Source        `json:"procedure"`
	Bench     Source        `json:"bench"`
	Standards []Standard    `json:"standards"`
	Cautions  []string      `json:"cautions"`
	Run       runner.Result `json:"run"`
	// Adjustments since the as-found run, in a later record.
	Adjustments []Adjustment `json:"adjustments,omitempty"`
	// Invented marks a record of a virtual bench: shown on every page.
	Invented bool `json:"invented,omitempty"`
}
