package sheet

import "strings"

// breakLines breaks a text into lines no wider than width, where advance is the
// width of a character: at line feeds and spaces; in a word too long for a line
// after - / , ; or _, else anywhere. No character but spaces at breaks is left
// out. A character wider than width has a line of its own.
func breakLines(s string, width float64, advance func(rune) float64) []string {
	var lines []string
	for paragraph := range strings.SplitSeq(s, "\n") {
		lines = append(lines, breakLine(paragraph, width, advance)...)
	}
	return lines
}

// breaking tells whether a line may end at a character and leave it out.
func breaking(r rune) bool { return r == ' ' || r == '\n' }

func breakLine(s string, width float64, advance func(rune) float64) []string {
	const slack = 1e-6
	var lines []string
	runes := []rune(s)
	start, used := 0, 0.0
	space, soft := -1, -1 // where the line may break, exclusive
	for k := 0; k < len(runes); k++ {
		a := advance(runes[k])
		if runes[k] == ' ' {
			space = k + 1
			used += a
			continue
		}
		if used+a > width+slack && k > start {
			at := k
			switch {
			case space > start:
				at = space
			case soft > start:
				at = soft
			}
			lines = append(lines, strings.TrimRight(string(runes[start:at]), " "))
			start, used, space, soft = at, 0, -1, -1
			k = at - 1
			continue
		}
		used += a
		if strings.ContainsRune("-/,;_", runes[k]) {
			soft = k + 1
		}
	}
	return append(lines, strings.TrimRight(string(runes[start:]), " "))
}
