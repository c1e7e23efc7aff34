package isolate

import (
	"bandproof/procedures/quantity"
)

// ModelSchema names the version of the block model's file.
const ModelSchema = "bandproof block model 1"

// Model is a block diagram as its file states it.
type Model struct {
	Schema   string   `toml:"schema"`
	Name     string   `toml:"name"`
	Unit     string   `toml:"unit" jsonschema_description:"Model of the unit, as the procedure names it."`
	Origin   string   `toml:"origin" jsonschema_description:"Where the diagram comes from."`
	Cautions []string `toml:"cautions,omitempty" jsonschema_description:"Shown before any look inside, after the usual ones."`
	// Reading is the stage whose output is what the unit shows.
	Reading string `toml:"reading" jsonschema_description:"The stage whose output is the reading."`
	// Faults is how many faults are expected in a unit before anything is known.
	Faults *quantity.Ratio `toml:"faults,omitempty" jsonschema_description:"How many faults a unit has on average before anything is known of it; 0.1 unless stated. The smaller, the less likely are two at once."`

	Internals   []Internal   `toml:"internal,omitempty"`
	Ways        []Way        `toml:"way"`
	Stages      []Stage      `toml:"stage"`
	Connections []Connection `toml:"connection"`
	TestPoints  []TestPoint  `toml:"test_point,omitempty"`
}

// Internal is a frequency or a number inside the unit that expressions may use.
type Internal struct {
	Name      string              `toml:"name" jsonschema_description:"As expressions name it; f is the frequency at the input."`
	Frequency *quantity.Frequency `toml:"frequency,omitempty"`
	// Expression may use f, the internals above it, + - * / ( ), floor, ceil,
	// round, abs, min and max.
	Expression string `toml:"expression,omitempty" jsonschema_description:"Of f and the internals above, in Hz, with + - * / ( ) floor ceil round abs min max: \"floor((f - 20e6) / lo)\"."`
}

// Way is a condition under which the signal runs through the unit in one certain
// way: an input, within a range, or the self-test.
type Way struct {
	Name     string              `toml:"name"`
	Input    string              `toml:"input,omitempty"`
	From     *quantity.Frequency `toml:"from,omitempty" jsonschema_description:"At and above this frequency; of two ways that meet at one, either may be taken there."`
	To       *quantity.Frequency `toml:"to,omitempty"`
	SelfTest bool                `toml:"self_test,omitempty"`
}

// Stage is one block.
type Stage struct {
	Name  string          `toml:"name"`
	Kind  string          `toml:"kind"`
	Input string          `toml:"input,omitempty" jsonschema_description:"Of a connector: the input that it is."`
	Place string          `toml:"place,omitempty" jsonschema_description:"Where it sits: a board."`
	Rate  *quantity.Ratio `toml:"rate,omitempty" jsonschema_description:"How often it fails, against an amplifier that has 1; by its kind unless stated."`
	Modes []string        `toml:"modes,omitempty" jsonschema_description:"The failure modes that it can have; those of its kind unless stated."`
}

// Connection leads from the output of one stage to another.
type Connection struct {
	From string `toml:"from"`
	To   string `toml:"to"`
	// As is what the one is to the other; a signal unless stated.
	As string `toml:"as,omitempty" jsonschema_description:"What it is to the stage that it leads to: signal (unless stated), oscillator (mixed with), clock (sets times), control (sets a way)."`
	// Carries is the frequency on it; that at the input unless stated.
	Carries string             `toml:"carries,omitempty" jsonschema_description:"The frequency on it, Hz, as an expression of f and internals; f unless stated, none (\"0\") on a control line."`
	Level   *[2]quantity.Level `toml:"level,omitempty" jsonschema_description:"From least to most, in a good unit."`
	Ways    []string           `toml:"ways,omitempty" jsonschema_description:"The ways in which it is used; all unless stated."`
}

// TestPoint is a place that a person can look at.
type TestPoint struct {
	Name   string             `toml:"name"`
	After  string             `toml:"after" jsonschema_description:"The stage whose output it is."`
	Access string             `toml:"access" jsonschema_description:"connector (at hand), probe (open unit, probe held to it), solder (a wire must be soldered), board-out (the board must come out)."`
	Takes  *quantity.Duration `toml:"takes,omitempty" jsonschema_description:"How long one look takes; by its access unless stated (2, 5, 15, 30 min)."`
	// Needs is something that is done once for several test points.
	Needs     string             `toml:"needs,omitempty" jsonschema_description:"What must be done once before, for all test points that need the same: \"input board out\"."`
	NeedsTime *quantity.Duration `toml:"needs_time,omitempty"`
	About     string             `toml:"about,omitempty" jsonschema_description:"Where it is and what to hold there."`
}
