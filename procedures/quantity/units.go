package quantity

import "regexp"

// unit is one way to write a unit: value in base units = number · factor · 10^exp10.
type unit struct {
	name   string
	factor int64 // 1 but for min, h, d
	exp10  int32
}

// table holds what is read and written for one dimension.
type table struct {
	what    string // "a frequency", for messages
	example string
	read    []unit
	write   []unit // in falling size; the first that leaves at least 1 is used
	bare    bool   // a number without unit is a fraction
}

func si(base string, prefixes ...unit) []unit {
	list := make([]unit, len(prefixes))
	for i, p := range prefixes {
		list[i] = unit{p.name + base, 1, p.exp10}
	}
	return list
}

// SI prefixes used here (SI Brochure, 9th edition, table 7; from memory).
var (
	giga  = unit{"G", 1, 9}
	mega  = unit{"M", 1, 6}
	kilo  = unit{"k", 1, 3}
	none  = unit{"", 1, 0}
	milli = unit{"m", 1, -3}
	micro = unit{"µ", 1, -6}
	nano  = unit{"n", 1, -9}
	pico  = unit{"p", 1, -12}
)

var (
	hertzTable = table{
		what: "a frequency", example: "225 MHz",
		read:  si("Hz", giga, mega, kilo, none, milli, micro),
		write: si("Hz", giga, mega, kilo, none, milli, micro),
	}
	secondTable = table{
		what: "a time", example: "1 s",
		read: append(si("s", none, milli, micro, nano, pico),
			unit{"min", 60, 0}, unit{"h", 3600, 0}, unit{"d", 86400, 0}),
		write: si("s", none, milli, micro, nano, pico),
	}
	voltTable = table{
		what: "a voltage (root mean square)", example: "25 mV",
		read:  append(si("V", kilo, none, milli, micro), si("V rms", kilo, none, milli, micro)...),
		write: si("V", kilo, none, milli, micro),
	}
	decibelTable = table{
		what: "a difference of levels", example: "6 dB",
		read: []unit{{"dB", 1, 0}, {"dBc", 1, 0}}, write: []unit{{"dB", 1, 0}},
	}
	oneTable = table{
		what: "a ratio", example: "0.5 ppm", bare: true,
		read:  []unit{{"%", 1, -2}, {"ppm", 1, -6}, {"ppb", 1, -9}},
		write: []unit{{"%", 1, -2}, {"ppm", 1, -6}},
	}
	ohmTable = table{
		what: "a resistance", example: "50 Ω",
		// Ohm sign U+2126 and Greek capital omega U+03A9 look alike; both are read.
		read: append(si("Ω", giga, mega, kilo, none, milli), append(si("\u2126", giga, mega, kilo, none, milli),
			si("ohm", giga, mega, kilo, none, milli)...)...),
		write: si("Ω", giga, mega, kilo, none, milli),
	}
	faradTable = table{
		what: "a capacitance", example: "35 pF",
		read: si("F", micro, nano, pico), write: si("F", micro, nano, pico),
	}
	celsiusTable = table{
		what: "a temperature", example: "23 °C",
		read: []unit{{"°C", 1, 0}, {"degC", 1, 0}}, write: []unit{{"°C", 1, 0}},
	}
)

func (Hertz) units() *table   { return &hertzTable }
func (Second) units() *table  { return &secondTable }
func (Volt) units() *table    { return &voltTable }
func (Decibel) units() *table { return &decibelTable }
func (One) units() *table     { return &oneTable }
func (Ohm) units() *table     { return &ohmTable }
func (Farad) units() *table   { return &faradTable }
func (Celsius) units() *table { return &celsiusTable }

func escape(name string) string { return regexp.QuoteMeta(name) }
