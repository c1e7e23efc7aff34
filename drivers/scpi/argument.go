package scpi

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/cockroachdb/apd/v3"
)

// ArgumentKind is the kind of data that an argument is.
type ArgumentKind int

const (
	Keyword    ArgumentKind = iota // MIN, EXTernal, ON
	Numeric                        // 1.5, 100 MHZ, #HFF
	StringData                     // "text"
	BlockData                      // #15HELLO
	Expression                     // (@1,2)
)

func (k ArgumentKind) String() string {
	return [...]string{"keyword", "number", "string", "block", "expression"}[k]
}

// Argument is one parameter of a command.
type Argument struct {
	Kind ArgumentKind
	Text string // as sent: the keyword, the whole number with suffix, the expression
	// Number is the value of a Numeric, before its Suffix.
	Number Number
	// Suffix is the unit of a Numeric with its multiplier, in capitals.
	Suffix string
	// Data is what a StringData or a BlockData holds.
	Data []byte
}

// ParseArgument reads one parameter (IEEE 488.2 clause 7.7, from memory). An
// error is an *Error with the code that an instrument reports.
func ParseArgument(text string) (Argument, error) {
	s := trimElement(text)
	a := Argument{Text: s}
	if s == "" {
		return Argument{}, refuse(CodeMissingParameter, "")
	}
	switch c := s[0]; {
	case c == '"' || c == '\'':
		data, err := ParseString([]byte(s))
		if err != nil {
			return Argument{}, refuse(CodeString, "%v", err)
		}
		a.Kind, a.Data = StringData, []byte(data)
	case c == '#' && len(s) > 1 && isLetter(s[1]):
		return a.radix()
	case c == '#':
		block, err := DecodeBlock([]byte(s))
		if err == nil && len(block.Rest) > 0 {
			err = fmt.Errorf("%s comes after the block", show(string(block.Rest)))
		}
		if err != nil {
			return Argument{}, refuse(CodeBlock, "%v", err)
		}
		a.Kind, a.Data = BlockData, block.Data
	case c == '(':
		if !strings.HasSuffix(s, ")") {
			return Argument{}, refuse(CodeExpression, "%s is not closed", show(s))
		}
		a.Kind = Expression
	case isLetter(c):
		for i := range len(s) {
			if c := s[i]; !isLetter(c) && !isDigit(c) && c != '_' {
				return Argument{}, refuse(CodeInvalidKeyword, "%s", show(s))
			}
		}
		a.Kind = Keyword
	default:
		return a.numeric()
	}
	return a, nil
}

// numeric reads a number, which may have spaces around its E, and its suffix.
func (a Argument) numeric() (Argument, error) {
	mantissa, rest := cutMantissa(a.Text)
	exponent := ""
	if after := trim(rest); after != "" && upper(after[:1]) == "E" {
		sign := trim(after[1:])
		if sign != "" && (sign[0] == '+' || sign[0] == '-') {
			sign = sign[:1] + trim(sign[1:])
		}
		_, left, err := cutExponent("E" + sign)
		if err != nil {
			return Argument{}, refuse(CodeExponentTooLarge, "%v", err)
		}
		if used := len(sign) + 1 - len(left); used > 0 {
			exponent, rest = ("E" + sign)[:used], left
		}
	}
	number, err := ParseNumber([]byte(mantissa + exponent))
	if err != nil {
		return Argument{}, refuse(CodeNumber, "%v", err)
	}
	a.Kind, a.Number, a.Suffix = Numeric, number, upper(trim(rest))
	for i := range len(a.Suffix) {
		if c := a.Suffix[i]; !isLetter(c) && (i == 0 || !isDigit(c) && strings.IndexByte("/.-", c) < 0) {
			return Argument{}, refuse(CodeInvalidSuffix, "%s", show(a.Text))
		}
	}
	return a, nil
}

// radix reads #H, #Q and #B: whole numbers to the base of 16, 8 and 2.
func (a Argument) radix() (Argument, error) {
	base := map[byte]int{'H': 16, 'Q': 8, 'B': 2}[upper(a.Text)[1]]
	if base == 0 {
		return Argument{}, refuse(CodeNumber, "%s; expected #H, #Q or #B", show(a.Text))
	}
	n, err := strconv.ParseUint(a.Text[2:], base, 63)
	if err != nil {
		return Argument{}, refuse(CodeNumber, "%s", show(a.Text))
	}
	a.Kind, a.Number.Text = Numeric, a.Text
	a.Number.value.SetInt64(int64(n))
	return a, nil
}

// Is tells whether the argument is this keyword, short or long: Is("MINimum").
func (a Argument) Is(mnemonic string) bool {
	return a.Kind == Keyword && MatchKeyword(mnemonic, a.Text)
}

// multipliers of units (IEEE 488.2 table 7-1, from memory), as powers of ten.
var multipliers = map[string]int32{
	"EX": 18, "PE": 15, "T": 12, "G": 9, "MA": 6, "K": 3, "M": -3, "U": -6, "N": -9, "P": -12, "F": -15, "A": -18,
}

// In is the value in the unit, such as "HZ", "S", "V" or "DBM": that of a bare
// number is in this unit already. M before HZ and OHM is mega, else milli; MA
// is always mega. Logarithmic units and PCT take no multiplier. An empty unit
// takes no suffix. An error is an *Error with the code that an instrument
// reports.
func (a Argument) In(unit string) (*apd.Decimal, error) {
	if a.Kind != Numeric {
		return nil, refuse(CodeDataType, "%s where a number is expected", show(a.Text))
	}
	if a.Number.Marker != Finite {
		return nil, refuse(CodeOutOfRange, "%s", show(a.Text))
	}
	value := a.Number.Decimal()
	if a.Suffix == "" || a.Suffix == unit {
		return value, nil
	}
	if unit == "" {
		return nil, refuse(CodeSuffixNotAllowed, "%s", show(a.Text))
	}
	prefix, ok := strings.CutSuffix(a.Suffix, unit)
	power, known := multipliers[prefix]
	if !ok || !known || strings.HasPrefix(unit, "DB") || unit == "PCT" {
		return nil, refuse(CodeInvalidSuffix, "%s where %s is expected", show(a.Text), unit)
	}
	if prefix == "M" && (unit == "HZ" || unit == "OHM") {
		power = 6
	}
	value.Exponent += power
	return value, nil
}
