package scpi

import (
	"strings"
)

// Command is one unit of a program message.
type Command struct {
	// Header is the whole header from the root, as sent, without the colon
	// before it and the question mark: "SOUR:FREQ", "*IDN".
	Header string
	Query  bool
	// Arguments as sent, without spaces around; ParseArgument reads them.
	Arguments []string
}

// String writes the command so that it means the same wherever it stands.
func (c Command) String() string {
	var b strings.Builder
	if !strings.HasPrefix(c.Header, "*") {
		b.WriteByte(':')
	}
	b.WriteString(c.Header)
	if c.Query {
		b.WriteByte('?')
	}
	if len(c.Arguments) > 0 {
		b.WriteString(" " + strings.Join(c.Arguments, ","))
	}
	return b.String()
}

// ParseProgram takes a program message apart at its semicolons (IEEE 488.2
// clause 7.3, SCPI-1999 volume 1 chapter 6, from memory). A header that does
// not begin with a colon goes on where the last mnemonic of the one before
// stood; a common command changes nothing there. Errors are *Error; the
// commands before the one that is wrong come with it, because an instrument
// carries them out.
func ParseProgram(message []byte) ([]Command, error) {
	text := string(message)
	units, err := split(text, ';', "message")
	if err != nil {
		return nil, refuse(CodeSyntax, "%v", err)
	}
	var commands []Command
	path := "" // ends with a colon, or is empty
	for _, unit := range units {
		c, err := parseUnit(unit, path)
		if err != nil {
			return commands, err
		}
		commands = append(commands, c)
		if !strings.HasPrefix(c.Header, "*") {
			path = c.Header[:strings.LastIndexByte(c.Header, ':')+1]
		}
	}
	return commands, nil
}

func parseUnit(unit, path string) (Command, error) {
	header, rest, err := cutHeader(unit)
	if err != nil {
		return Command{}, err
	}
	c := Command{Header: header}
	c.Header, c.Query = strings.CutSuffix(c.Header, "?")
	if root, absolute := strings.CutPrefix(c.Header, ":"); absolute {
		c.Header = root
	} else if !strings.HasPrefix(c.Header, "*") {
		c.Header = path + c.Header
	}
	if c.Arguments, err = SplitList([]byte(rest)); err != nil {
		return Command{}, refuse(CodeSyntax, "%v", err)
	}
	return c, nil
}

// cutHeader takes the header off, with what comes before and after its
// mnemonics: a star or colon, a question mark.
func cutHeader(unit string) (header, rest string, err error) {
	i := 0
	common := strings.HasPrefix(unit, "*")
	if common || strings.HasPrefix(unit, ":") {
		i = 1
	}
	begins := true // a mnemonic must begin here
	for ; i < len(unit); i++ {
		switch c := unit[i]; {
		case isLetter(c):
			begins = false
		case !begins && (isDigit(c) || c == '_'):
		case !begins && !common && c == ':':
			begins = true
		case !begins && c == '?':
			return endHeader(unit, i+1)
		case !begins:
			return endHeader(unit, i)
		default:
			return "", "", refuse(CodeSyntax, "%s where a mnemonic should begin in %s", show(unit[i:i+1]), show(unit))
		}
	}
	if begins {
		return "", "", refuse(CodeSyntax, "%s has no header", show(unit))
	}
	return unit, "", nil
}

// endHeader checks that the header ends with white space or the unit.
func endHeader(unit string, end int) (header, rest string, err error) {
	if end < len(unit) && !isWhite(unit[end]) {
		if c := unit[end]; c < ' ' || c > '~' {
			return "", "", refuse(CodeInvalidCharacter, "%s", show(unit[end:end+1]))
		}
		return "", "", refuse(CodeHeaderSeparator, "%s after the header in %s", show(unit[end:end+1]), show(unit))
	}
	return unit[:end], unit[end:], nil
}
