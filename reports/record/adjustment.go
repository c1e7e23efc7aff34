package record

import (
	"time"

	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// Adjustment is one adjustment of a unit's timebase: every try, with what the
// unit read before and after. It lies between an as-found record and the
// as-left record, which lists it.
type Adjustment struct {
	ID string `json:"id"`
	// AsFound is the id of the as-found record; or NotObtainable says why there
	// is none.
	AsFound       string `json:"as_found,omitempty"`
	NotObtainable string `json:"as_found_not_obtainable,omitempty"`
	Serial        string `json:"serial"`
	Procedure     string `json:"procedure_sha256"`
	Who           string `json:"who,omitempty"`
	// Target is the relative error that the readings were to be brought to.
	Target   quantity.Ratio   `json:"target"`
	Point    procedures.Point `json:"point"` // the signal
	Started  time.Time        `json:"started"`
	Finished time.Time        `json:"finished,omitzero"` // zero: cut off
	Ended    string           `json:"ended,omitempty"`
	Limit    quantity.Exact   `json:"limit_hz"`
	Tries    []runner.Try     `json:"tries"`
}
