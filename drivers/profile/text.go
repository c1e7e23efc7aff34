package profile

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"bandproof/drivers"
	"bandproof/drivers/scpi"
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

// parseIdentity reads the answer to an identity query.
func parseIdentity(answer string) drivers.Identity {
	id := scpi.ParseIdentity([]byte(answer))
	return drivers.Identity{Maker: id.Maker, Model: id.Model, Serial: id.Serial, Firmware: id.Firmware,
		Raw: printable(answer), Stated: true}
}

// errorEntry reads an entry of an error queue; the text is as it came.
func errorEntry(answer string) (code int, text string, err error) {
	entry, err := scpi.ParseErrorEntry([]byte(answer))
	if err != nil {
		return 0, "", fmt.Errorf("%w: %w", drivers.ErrUnreadable, err)
	}
	return entry.Code, printable(strings.TrimSpace(answer)), nil
}
