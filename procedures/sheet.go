package procedures

import (
	"fmt"
	"slices"
	"strings"
)

// Sheet says how data sheets are written; what is empty is as usual. The same
// words are values of the flags of "bandproof sheet", which come first.
type Sheet struct {
	Language  string `toml:"language,omitempty" json:"language,omitempty" jsonschema:"enum=en,enum=de,enum=fr" jsonschema_description:"Language of data sheets: en (English, unless stated), de (German), fr (French)."`
	Decimal   string `toml:"decimal,omitempty" json:"decimal,omitempty" jsonschema:"enum=point,enum=comma" jsonschema_description:"Decimal sign: point or comma; unless stated point in English, comma in German and French."`
	Thousands string `toml:"thousands,omitempty" json:"thousands,omitempty" jsonschema:"enum=space,enum=apostrophe,enum=none,enum=point,enum=comma" jsonschema_description:"What parts groups of three digits: space (a narrow one, by ISO 80000-1; unless stated), apostrophe, none, point or comma; never the decimal sign."`
	Paper     string `toml:"paper,omitempty" json:"paper,omitempty" jsonschema:"enum=A4,enum=Letter" jsonschema_description:"Paper of data sheets: A4 (unless stated) or Letter."`
}

// SheetChoices are the values of each key of Sheet, the usual one first.
func SheetChoices() map[string][]string {
	return map[string][]string{
		"language":  {"en", "de", "fr"},
		"decimal":   {"point", "comma"},
		"thousands": {"space", "apostrophe", "none", "point", "comma"},
		"paper":     {"A4", "Letter"},
	}
}

// Filled takes what is empty from usual, then by the language.
func (s Sheet) Filled(usual Sheet) Sheet {
	fill := func(to *string, from ...string) {
		for _, x := range from {
			if *to == "" {
				*to = x
			}
		}
	}
	// A decimal sign that was chosen alone does not clash with the usual groups.
	if s.Decimal != "" && s.Thousands == "" && usual.Thousands == s.Decimal {
		usual.Thousands = ""
	}
	if s.Thousands != "" && s.Decimal == "" && usual.Decimal == s.Thousands {
		usual.Decimal = ""
	}
	fill(&s.Language, usual.Language, "en")
	sign := "comma"
	if s.Language == "en" {
		sign = "point"
	}
	if s.Thousands == sign {
		sign = map[string]string{"comma": "point", "point": "comma"}[sign]
	}
	fill(&s.Decimal, usual.Decimal, sign)
	fill(&s.Thousands, usual.Thousands, "space")
	fill(&s.Paper, usual.Paper, "A4")
	return s
}

// SheetMistake is a value of Sheet that is not to be had.
type SheetMistake struct{ Key, Value, Why string }

func (m SheetMistake) Error() string { return fmt.Sprintf("%s %q: %s", m.Key, m.Value, m.Why) }

// Mistakes lists what is wrong; empty keys are right.
func (s Sheet) Mistakes() []SheetMistake {
	var list []SheetMistake
	for _, x := range []struct{ key, value string }{{"language", s.Language}, {"decimal", s.Decimal}, {"thousands", s.Thousands}, {"paper", s.Paper}} {
		if choices := SheetChoices()[x.key]; x.value != "" && !slices.Contains(choices, x.value) {
			list = append(list, SheetMistake{x.key, x.value, "expected one of " + strings.Join(choices, ", ")})
		}
	}
	if f := s.Filled(Sheet{}); len(list) == 0 && f.Decimal == f.Thousands {
		list = append(list, SheetMistake{"thousands", f.Thousands, "is the decimal sign too, so numbers could be read two ways; choose another of the two"})
	}
	return list
}

func (c checker) sheet(path string, s Sheet) {
	for _, m := range s.Mistakes() {
		c.add(path+"."+m.Key, "is %q; %s", m.Value, m.Why)
	}
}
