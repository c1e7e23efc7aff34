package dcc

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Names of units and prefixes: SI Brochure, 9th edition, tables 2, 4, 7 and 8. The
// notation, names led by a backslash, factors side by side, \tothe{} for a power,
// \one for a number: D-SI as PTB's published example certificates use it (there:
// \kilogram\metre\tothe{-1}\second\tothe{-2}, \kelvin, \one, \hertz). That \per,
// and prefixes before \kilogram, do not occur is from memory.
var (
	siUnits = strings.Fields(`second metre kilogram ampere kelvin mole candela radian steradian hertz newton pascal joule watt coulomb volt farad ohm siemens weber
		tesla henry lumen lux becquerel gray sievert katal minute hour day gram`)
	siPrefixes = strings.Fields(`deca hecto kilo mega giga tera peta exa zetta yotta deci centi milli micro nano pico femto atto zepto yocto`)
)

// checkUnit tells whether a text is a unit by that grammar.
func checkUnit(text string) error {
	if text == `\one` {
		return nil
	}
	if text == "" {
		return fmt.Errorf("unit is empty")
	}
	for rest := text; rest != ""; {
		factor, tail, ok := nextFactor(rest)
		if !ok {
			return fmt.Errorf("%q is no D-SI unit: at %q", text, factor)
		}
		rest = tail
	}
	return nil
}

// nextFactor takes one unit with its prefix and power off a text.
func nextFactor(s string) (at, tail string, ok bool) {
	m := regexp.MustCompile(`^\\([a-z]+)`).FindStringSubmatch(s)
	if m == nil {
		return s, "", false
	}
	tail = s[len(m[0]):]
	if slices.Contains(siPrefixes, m[1]) {
		at, tail, ok = nextFactor(tail)
		return s, tail, ok && !strings.HasPrefix(at, `\kilogram`) && !slices.ContainsFunc(siPrefixes, func(p string) bool { return strings.HasPrefix(at, `\`+p) && p != "deca" })
	}
	if !slices.Contains(siUnits, m[1]) {
		return s, "", false
	}
	if p := regexp.MustCompile(`^\\tothe\{-?[1-9][0-9]?\}`).FindString(tail); p != "" {
		tail = tail[len(p):]
	}
	return s, tail, true
}

func TestUnitGrammar(t *testing.T) {
	for _, good := range []string{`\one`, `\hertz`, `\second\tothe{-1}`, `\kilogram\metre\tothe{-1}\second\tothe{-2}`, `\kilogram\tothe{-1}\metre\second\tothe{2}`, `\milli\volt`, `\day\tothe{-1}`, `\kelvin`} {
		require.NoError(t, checkUnit(good), good)
	}
	for _, bad := range []string{"", "Hz", `\Hz`, `\hetrz`, `\milli`, `\milli\one`, `\milli\micro\volt`, `\milli\kilogram`, `\second\tothe{0}`, `\second\tothe{-1`, `\second^-1`, `\volt `, `\volt \second`, `\dBm`, `\one\one`} {
		require.Error(t, checkUnit(bad), bad)
	}
}

// Every unit that the package can write is one.
func TestUnitsWritten(t *testing.T) {
	for name, s := range scales {
		require.NoError(t, checkUnit(string(s.unit)), name)
	}
	for _, u := range []unit{hertz, second, perSecond, one, volt, watt, kelvin} {
		require.NoError(t, checkUnit(string(u)))
	}
}
