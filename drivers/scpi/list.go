package scpi

import "fmt"

// SplitList takes a list apart at its commas, but not at those within strings,
// blocks of definite length and parentheses. The items have no spaces around;
// an empty list has none, an empty item is an error.
func SplitList(text []byte) ([]string, error) {
	return split(string(text), ',', "list")
}

// split is SplitList for any separator. what names the text in errors.
func split(s string, separator byte, what string) ([]string, error) {
	if trim(s) == "" {
		return nil, nil
	}
	var items []string
	begin, depth := 0, 0
	item := func(end int) error {
		text := trimElement(s[begin:end])
		if text == "" {
			return fmt.Errorf("%s %s: item %d is empty", what, show(s), len(items)+1)
		}
		items = append(items, text)
		return nil
	}
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case c == '"' || c == '\'':
			end := stringEnd(s, i)
			if end < 0 {
				return nil, fmt.Errorf("%s %s: the string that begins at byte %d has no end", what, show(s), i)
			}
			i = end - 1
		case c == '#' && i+1 < len(s) && isDigit(s[i+1]) && elementBegins(s, i):
			end, err := blockEnd(s, i)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", what, err)
			}
			i = end - 1
		case c == '(':
			depth++
		case c == ')':
			if depth--; depth < 0 {
				return nil, fmt.Errorf("%s %s: a parenthesis is closed that was not opened", what, show(s))
			}
		case c == separator && depth == 0:
			if err := item(i); err != nil {
				return nil, err
			}
			begin = i + 1
		}
	}
	if depth > 0 {
		return nil, fmt.Errorf("%s %s: a parenthesis is not closed", what, show(s))
	}
	if err := item(len(s)); err != nil {
		return nil, err
	}
	return items, nil
}

// elementBegins tells whether an element can begin at byte i.
func elementBegins(s string, i int) bool {
	if i == 0 {
		return true
	}
	c := s[i-1]
	return isWhite(c) || c == ',' || c == ';' || c == '('
}

// blockEnd is where the block ends that begins at from.
func blockEnd(s string, from int) (int, error) {
	head, length, definite, err := blockHead(s[from:])
	switch {
	case err != nil:
		return 0, err
	case !definite:
		return len(s), nil
	case from+head+length > len(s):
		return 0, fmt.Errorf("block of %d bytes is cut off after %d", length, len(s)-from-head)
	}
	return from + head + length, nil
}

// trimElement takes spaces off, but none that belong to a block at the end.
func trimElement(s string) string {
	begin := 0
	for begin < len(s) && isWhite(s[begin]) {
		begin++
	}
	s = s[begin:]
	least := 0
	for i := 0; i < len(s); i++ {
		switch {
		case s[i] == '"' || s[i] == '\'':
			if end := stringEnd(s, i); end > 0 {
				i = end - 1
			}
		case s[i] == '#' && i+1 < len(s) && isDigit(s[i+1]) && elementBegins(s, i):
			if end, err := blockEnd(s, i); err == nil {
				least, i = end, end-1
			}
		}
	}
	end := len(s)
	for end > least && isWhite(s[end-1]) {
		end--
	}
	return s[:end]
}
