package profile

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"bandproof/drivers"
)

// quote writes an answer for a message: in quotes, bytes that are no text
// escaped, and not too long.
func quote(answer string) string {
	const most = 80
	if len(answer) > most {
		return strconv.QuoteToASCII(answer[:most]) + "…"
	}
	return strconv.QuoteToASCII(answer)
}

// printable keeps an answer verbatim but for bytes that are no text, which
// are escaped as \xff.
func printable(answer string) string {
	var out strings.Builder
	for i := 0; i < len(answer); {
		r, n := utf8.DecodeRuneInString(answer[i:])
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&out, `\x%02x`, answer[i])
		case !strconv.IsPrint(r):
			quoted := strconv.QuoteRuneToASCII(r)
			out.WriteString(quoted[1 : len(quoted)-1])
		default:
			out.WriteString(answer[i : i+n])
		}
		i += n
	}
	return out.String()
}

func parseIdentity(answer string) drivers.Identity {
	id := drivers.Identity{Raw: printable(answer), Stated: true}
	fields := strings.SplitN(answer, ",", 4)
	for i, into := range []*string{&id.Maker, &id.Model, &id.Serial, &id.Firmware} {
		if i < len(fields) {
			*into = printable(strings.TrimSpace(fields[i]))
		}
	}
	return id
}

func errorEntry(answer string) (code int, text string, err error) {
	number, _, _ := strings.Cut(answer, ",")
	code, err = strconv.Atoi(strings.TrimSpace(number))
	if err != nil {
		return 0, "", fmt.Errorf("%w: %s is no entry of an error queue", drivers.ErrUnreadable, quote(answer))
	}
	return code, printable(strings.TrimSpace(answer)), nil
}
