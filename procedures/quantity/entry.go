package quantity

import (
	"fmt"
	"regexp"
	"strings"
)

// ParseEntry reads what a person types off a display: what [Parse] reads, and
// besides
//   - a number without a unit, which is in the unit bare where that is not "";
//   - digits in groups of three set apart by commas, where they can be nothing
//     else: "12,345,678" and "12,345.6" are read, "12,345" and "12.345,6" are not;
//   - a unit in other case where only one can be meant: "khz" and "MHZ" are
//     read, "mhz" (mHz or MHz?) is not.
//
// Nothing is guessed; an error wraps ErrSyntax and says what would be right.
// Every digit is kept, also zeros at the end.
func ParseEntry[D Dimension](text, bare string) (Value[D], error) {
	var dim D
	t := dim.units()
	plain, err := withoutCommas(text)
	if err != nil {
		return Value[D]{}, t.mistake(text, err.Error())
	}
	number, name, err := split(plain)
	if err != nil {
		return Value[D]{}, t.mistake(text, err.Error())
	}
	if name == "" {
		name = bare
	} else if name, err = t.spelled(name); err != nil {
		return Value[D]{}, t.mistake(text, err.Error())
	}
	return Parse[D](number + " " + name)
}

var (
	// commaGroups finds digits that commas set in groups of three.
	commaGroups = regexp.MustCompile(`^[+\x{2212}-]?[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9\s]*)?(?:[eE][+\x{2212}-]?[0-9]+)?\s*(?:[^0-9.,\s].*)?$`)
	oneComma    = regexp.MustCompile(`^[^,.]*,[^,.]*$`)
)

// withoutCommas takes grouping commas out; a comma that may be a decimal one is
// an error.
func withoutCommas(text string) (string, error) {
	s := strings.TrimSpace(text)
	if !strings.Contains(s, ",") {
		return s, nil
	}
	switch {
	case oneComma.MatchString(s):
		return "", fmt.Errorf("has one comma, which may be a decimal comma; write decimals with a point, and groups of digits with blanks or none")
	case !commaGroups.MatchString(s):
		return "", fmt.Errorf("has a comma that does not set groups of three digits apart; write decimals with a point, and groups with blanks or none")
	}
	return strings.ReplaceAll(s, ",", ""), nil
}

// spelled returns the name of the unit that is meant by one in other case.
func (t *table) spelled(name string) (string, error) {
	var like []string
	for _, u := range t.read {
		switch {
		case u.name == name:
			return name, nil
		case strings.EqualFold(u.name, name):
			like = append(like, u.name)
		}
	}
	for _, l := range like {
		if len(like) > 1 && name[0] == 'M' && l[0] == 'M' { // a capital is mega
			return l, nil
		}
	}
	switch len(like) {
	case 0:
		return name, nil // Parse says what is wrong with it
	case 1:
		return like[0], nil
	}
	return "", fmt.Errorf("has the unit %q, which may be %s; mind capitals", name, strings.Join(like, " or "))
}
