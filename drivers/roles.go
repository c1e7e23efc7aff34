package drivers

import (
	"context"
	"time"

	"bandproof/procedures/quantity"
)

// Switch routes a source to an input without a person. It says where it
// stands: one that can't proves no path, so a profile without that is refused.
type Switch interface {
	Instrument
	// Route closes one position and opens all others, and returns once the
	// contacts have settled. Unknown names are an error that lists the known
	// ones. No RF may be on: the caller sees to that.
	Route(ctx context.Context, position string) error
	// Position asks which position is closed, by the name that the profile
	// knows, or "" where none is. More than one is an error that wraps
	// ErrInstrument.
	Position(ctx context.Context) (string, error)
}

// PowerMeter is an instrument that measures a level, in dBm into 50 Ω.
type PowerMeter interface {
	Instrument
	// SetFrequency tells the meter the frequency of the signal, for its
	// correction factor. Measure must not be trusted for another one.
	SetFrequency(ctx context.Context, f quantity.Frequency) error
	// Measure takes one measurement and waits for it. A level beyond the
	// meter's range is a LevelReading with a Mark, not an error; an answer that
	// is no number is an error that wraps ErrUnreadable.
	Measure(ctx context.Context) (LevelReading, error)
}

// LevelReading is one level as the meter sent it.
type LevelReading struct {
	// Text is the reply, verbatim; bytes that are no text are escaped.
	Text string `json:"text"`
	// Level in dBm. Meaningless unless Mark is None.
	Level quantity.Level `json:"level"`
	Mark  Mark           `json:"mark,omitempty"`
	At    time.Time      `json:"at"`
}

// UnderRange is a reply of a power meter that stands for "too little to be
// measured" (SCPI -9.9E37).
const UnderRange Mark = "under-range"

// Zeroer is a power meter that can take its own zero, with RF off.
type Zeroer interface {
	Zero(ctx context.Context) error
}

// Thermometer is an instrument that tells the ambient temperature.
type Thermometer interface {
	Instrument
	Temperature(ctx context.Context) (quantity.Temperature, error)
}

// Hygrometer is a thermometer that tells the relative humidity too.
type Hygrometer interface {
	// Humidity returns the relative humidity, 0 to 1.
	Humidity(ctx context.Context) (quantity.Ratio, error)
}
