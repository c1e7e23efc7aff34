package profile

import (
	"fmt"
	"slices"
	"strings"
)

// The placeholders that templates may hold.
const (
	holdHertz        = "hertz"
	holdKilohertz    = "kilohertz"
	holdMegahertz    = "megahertz"
	holdDBm          = "dbm"
	holdSeconds      = "seconds"
	holdMilliseconds = "milliseconds"
	holdCode         = "code"
	holdInput        = "input"
	holdPosition     = "position"
)

// words gives each placeholder its text.
type words map[string]string

// placeholders lists the names in braces of a template. "{{" and "}}" stand
// for the brace itself. The error says what is wrong with the braces.
func placeholders(template string) ([]string, error) {
	var names []string
	_, err := replace(template, func(name string) (string, error) {
		base, form, formed := strings.Cut(name, ":")
		names = append(names, base)
		if !formed {
			return "", nil
		}
		if !slices.Contains(numbers, base) {
			return "", fmt.Errorf("holds {%s}, but {%s} is no number and has no form", name, base)
		}
		_, err := parseDigits(form)
		return "", err
	})
	return names, err
}

// expand fills a template. A placeholder without a word is an error that says
// what has to be done first.
func expand(template string, w words) (string, error) {
	return replace(template, func(name string) (string, error) {
		name, form, formed := strings.Cut(name, ":")
		text, ok := w[name]
		if !ok && name == holdInput {
			return "", fmt.Errorf("%q needs an input; select one first", template)
		}
		if !ok {
			return "", fmt.Errorf("%q has no value for {%s}", template, name)
		}
		if formed {
			d, err := parseDigits(form)
			if err != nil {
				return "", fmt.Errorf("%q %w", template, err)
			}
			return d.write(text)
		}
		return text, nil
	})
}

func replace(template string, word func(string) (string, error)) (string, error) {
	var out strings.Builder
	for rest := template; rest != ""; {
		i := strings.IndexAny(rest, "{}")
		if i < 0 {
			out.WriteString(rest)
			break
		}
		out.WriteString(rest[:i])
		brace := rest[i : i+1]
		rest = rest[i+1:]
		if strings.HasPrefix(rest, brace) {
			out.WriteString(brace)
			rest = rest[1:]
			continue
		}
		name, after, closed := strings.Cut(rest, "}")
		if brace == "}" || !closed || strings.Contains(name, "{") {
			return "", fmt.Errorf("has a single %q; write %q for the brace itself", brace, brace+brace)
		}
		text, err := word(name)
		if err != nil {
			return "", err
		}
		out.WriteString(text)
		rest = after
	}
	return out.String(), nil
}

// templateMistake tells what is wrong with a template that may hold the given
// placeholders, or "".
func templateMistake(template string, allowed []string) string {
	if strings.TrimSpace(template) == "" {
		return "is empty; expected a message"
	}
	if i := strings.IndexFunc(template, func(r rune) bool { return r < ' ' || r == 0x7f }); i >= 0 {
		return fmt.Sprintf("holds the control character %q; one entry is one message, and the link adds its terminator", template[i:i+1])
	}
	names, err := placeholders(template)
	if err != nil {
		return err.Error()
	}
	for _, name := range names {
		if !slices.Contains(allowed, name) {
			return fmt.Sprintf("holds {%s}, which is not known here; %s", name, knownHere(allowed))
		}
	}
	return ""
}

func knownHere(allowed []string) string {
	if len(allowed) == 0 {
		return "no placeholder is"
	}
	list := make([]string, len(allowed))
	for i, name := range allowed {
		list[i] = "{" + name + "}"
	}
	return "known are " + strings.Join(list, ", ")
}
