package isolate

import (
	"fmt"
	"strings"

	"bandproof/procedures/quantity"
)

// splitSaw parts "TP7 at B 1 GHz: 31.25 MHz" into test point, signal and answer.
func (n *Network) splitSaw(text string) (point, signal, answer string, err error) {
	text = strings.TrimSpace(text)
	for _, exactly := range []bool{true, false} {
		for _, p := range n.Model.TestPoints {
			rest, ok := cutName(text, p.Name, exactly)
			if !ok || point != "" && len(p.Name) <= len(point) {
				continue
			}
			if after, ok := strings.CutPrefix(rest, ":"); ok {
				point, signal, answer = p.Name, "", after
			} else if with, ok := cutName(rest, "at", false); ok {
				s, after, ok := strings.Cut(with, ":")
				if ok {
					point, signal, answer = p.Name, strings.TrimSpace(s), after
				}
			}
		}
		if point != "" {
			return point, signal, strings.TrimSpace(answer), nil
		}
	}
	var names []string
	for _, p := range n.Model.TestPoints {
		names = append(names, p.Name)
	}
	if len(names) == 0 {
		return "", "", "", fmt.Errorf("%q: the model has no test point", text)
	}
	return "", "", "", fmt.Errorf("%q: expected a test point, a colon, and what was seen, such as \"%s: nothing\" or \"%s at %s: 400 MHz\"; test points are %s",
		text, names[0], names[0], n.someSignal(), strings.Join(names, ", "))
}

// cutName cuts a name off the front of a text, where it ends there.
func cutName(text, name string, exactly bool) (rest string, ok bool) {
	if len(text) < len(name) || !(text[:len(name)] == name || !exactly && strings.EqualFold(text[:len(name)], name)) {
		return "", false
	}
	rest = text[len(name):]
	if rest != "" && rest[0] != ' ' && rest[0] != ':' {
		return "", false
	}
	return strings.TrimSpace(rest), true
}

func (n *Network) someSignal() string {
	for _, w := range n.Model.Ways {
		if f, ok := w.middle(); ok {
			return w.Input + " " + quantity.Significant(f, 2).String()
		}
	}
	return "INPUT FREQUENCY"
}

// splitSignal parts "B 1 GHz" into the input and the frequency in Hz; 0 where
// none is stated.
func (n *Network) splitSignal(text string) (input string, f float64, err error) {
	if text == "" {
		return "", 0, nil
	}
	var inputs []string
	rest := ""
	for _, s := range n.Model.Stages {
		if s.Input == "" {
			continue
		}
		inputs = append(inputs, s.Input)
		if r, ok := cutName(text, s.Input, false); ok && len(s.Input) > len(input) {
			input, rest = s.Input, r
		}
	}
	switch {
	case input == "":
		return "", 0, fmt.Errorf("%q names no input; expected one of %s and a frequency, such as \"%s\"", text, strings.Join(inputs, ", "), n.someSignal())
	case rest == "":
		return input, 0, nil
	}
	q, err := quantity.Parse[quantity.Hertz](rest)
	if err == nil && q.Sign() <= 0 {
		err = fmt.Errorf("%q is not above 0", rest)
	}
	if err != nil {
		return "", 0, fmt.Errorf("signal at input %s: %w", input, err)
	}
	return input, q.Float(), nil
}
