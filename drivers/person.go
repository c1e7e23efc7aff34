package drivers

import (
	"errors"
	"time"

	"bandproof/procedures/quantity"
)

// ErrNoOperator: a person was needed and none answered.
var ErrNoOperator = errors.New("no operator")

// ByHand is an instrument without remote control, which a person sets or reads.
type ByHand interface {
	// By is the name of that person.
	By() string
	// Patience is how long a person needs for one action at the end of a run;
	// a link needs far less.
	Patience() time.Duration
}

// Expecter is a counter that wants to know what it may expect to see, so that a
// slip is noticed: one that a person reads. A reading is never changed or
// refused because of it, only asked for a second time.
type Expecter interface {
	Expect(e Expectation)
}

// Expectation is what the next readings of a counter should be like. It holds
// from the moment it is given, when the signal has changed and settled.
type Expectation struct {
	// Frequency that the source makes; zero: its RF is off.
	Frequency quantity.Frequency
	// Tolerance either way beyond which a slip is likelier than a fault: well
	// above the limit, so that no reading is questioned because it fails.
	Tolerance quantity.Exact
	// Scatter is how far two readings of a steady signal may lie apart.
	Scatter quantity.Exact
	// Resolution is the size of one count.
	Resolution quantity.Exact
	// Input of the unit, and its specified range.
	Input string
	Range [2]quantity.Frequency
}
