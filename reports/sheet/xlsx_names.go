package sheet

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf16"
)

// tabNames gives names that a worksheet may have: at most 31 UTF-16 units, none
// of : \ / ? * [ ], no apostrophe at either end, not empty, each once whatever
// the case. The limits are those of the file format's first program; the format
// itself (ISO/IEC 29500-1, 18.2.19) only asks for a string.
type tabNames map[string]bool

// tabMost is how many UTF-16 units a name has at most.
const tabMost = 31

// reservedTab is a name that spreadsheets keep for themselves.
const reservedTab = "history"

func (t tabNames) next(wanted string) string {
	base := strings.Map(func(r rune) rune {
		if strings.ContainsRune(`:\/?*[]`, r) {
			return '_'
		}
		return r
	}, oneLine(wanted))
	for n := 1; ; n++ {
		suffix := ""
		if n > 1 {
			suffix = fmt.Sprintf(" (%d)", n)
		}
		name := bare(cutUnits(bare(base), tabMost-len(suffix)))
		if name == "" {
			name = "_"
		}
		name += suffix
		key := strings.ToLower(name)
		if key != reservedTab && !t[key] {
			t[key] = true
			return name
		}
	}
}

// bare leaves out spaces and apostrophes at both ends.
func bare(s string) string {
	return strings.TrimFunc(s, func(r rune) bool { return r == '\'' || unicode.IsSpace(r) })
}

// cutUnits is the beginning of s that fits in so many UTF-16 units.
func cutUnits(s string, most int) string {
	n := 0
	for k, r := range s {
		if n += utf16.RuneLen(r); n > most {
			return s[:k]
		}
	}
	return s
}

// quoted names a worksheet in a reference to its cells.
func quoted(name string) string { return "'" + strings.ReplaceAll(name, "'", "''") + "'" }
