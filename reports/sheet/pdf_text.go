package sheet

import (
	"slices"
	"strings"
	"unicode"

	"bandproof/reports/record"

	"golang.org/x/image/font/sfnt"
	fixedpoint "golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/bidi"
)

// face measures one font and knows which characters it holds.
type face struct {
	style  string
	ttf    []byte
	font   *sfnt.Font
	buffer sfnt.Buffer
	em     fixedpoint.Int26_6
	widths map[rune]float64 // in em; below zero: no such character
}

func newFace(style string, ttf []byte) (*face, error) {
	f, err := sfnt.Parse(ttf)
	if err != nil {
		return nil, err
	}
	return &face{style: style, ttf: ttf, font: f, em: fixedpoint.I(int(f.UnitsPerEm())), widths: map[rune]float64{}}, nil
}

// advance returns the width of r in em, and whether the font holds it.
func (f *face) advance(r rune) (float64, bool) {
	if w, ok := f.widths[r]; ok {
		return max(w, 0), w >= 0
	}
	w := -1.0
	// The PDF library addresses characters by 16 bits.
	if g, err := f.font.GlyphIndex(&f.buffer, r); err == nil && g != 0 && r <= 0xffff {
		if a, err := f.font.GlyphAdvance(&f.buffer, g, f.em, 0); err == nil {
			w = float64(a) / float64(f.em)
		}
	}
	f.widths[r] = w
	return max(w, 0), w >= 0
}

// width of a line in points.
func (f *face) width(s string, size float64) float64 {
	sum := 0.0
	for _, r := range s {
		a, _ := f.advance(r)
		sum += a
	}
	return sum * size
}

// printable replaces characters that the fonts lack by their numbers.
func (w *pdfWriter) printable(s string) string {
	lacks := func(r rune) bool {
		if r == '\n' {
			return false
		}
		_, a := w.regular.advance(r)
		_, b := w.bold.advance(r)
		return !a || !b
	}
	if !strings.ContainsFunc(s, lacks) {
		return s
	}
	var b strings.Builder
	for _, r := range s {
		if lacks(r) {
			b.WriteString(record.Spell(r))
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// elide shortens a line to a width by leaving out its middle; for headers and
// footers, whose text stands in full elsewhere.
func (f *face) elide(s string, width, size float64) string {
	if f.width(s, size) <= width {
		return s
	}
	room := width - f.width("…", size)
	runes := []rune(s)
	var head, tail int
	for used, front := 0.0, true; head+tail < len(runes); front = !front {
		k := head
		if !front {
			k = len(runes) - 1 - tail
		}
		a, _ := f.advance(runes[k])
		if used += a * size; used > room {
			break
		}
		if front {
			head++
		} else {
			tail++
		}
	}
	return string(runes[:head]) + "…" + string(runes[len(runes)-tail:])
}

// wrap breaks a text into lines no wider than width; see breakLines.
func (f *face) wrap(s string, width, size float64) []string {
	return breakLines(s, width/size, func(r rune) float64 {
		a, _ := f.advance(r)
		return a
	})
}

// widest is the width of the widest line of a text.
func (f *face) widest(s string, size float64) float64 {
	most := 0.0
	for l := range strings.SplitSeq(s, "\n") {
		most = max(most, f.width(l, size))
	}
	return most
}

// longestToken is the width that wrap needs to break at spaces only.
func (f *face) longestToken(s string, size float64) float64 {
	longest := 0.0
	for _, t := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '\n' }) {
		longest = max(longest, f.width(t, size))
	}
	return longest
}

// visual puts a line that holds right-to-left writing into the order in which
// it is drawn: each stretch from its first to its last right-to-left letter is
// turned round, numbers and combining marks in it keeping their order. Simpler
// than the full Unicode algorithm (UAX 9), and enough for names in a sheet that
// is written from the left.
func visual(s string) string {
	if !strings.ContainsFunc(s, rightToLeft) {
		return s
	}
	runes := []rune(s)
	for k := 0; k < len(runes); k++ {
		if !rightToLeft(runes[k]) {
			continue
		}
		end := k + 1
		for j := end; j < len(runes) && classOf(runes[j]) != bidi.L; j++ {
			if rightToLeft(runes[j]) || unicode.In(runes[j], unicode.Mn, unicode.Me) {
				end = j + 1
			}
		}
		turn(runes[k:end])
		k = end
	}
	return string(runes)
}

func classOf(r rune) bidi.Class {
	p, _ := bidi.LookupRune(r)
	return p.Class()
}

func rightToLeft(r rune) bool {
	c := classOf(r)
	return c == bidi.R || c == bidi.AL
}

// turn reverses by clusters: a number, or a letter with its combining marks.
func turn(runes []rune) {
	slices.Reverse(runes)
	number := func(r rune) bool {
		c := classOf(r)
		return c == bidi.EN || c == bidi.AN || c == bidi.ES || c == bidi.CS
	}
	for k := 0; k < len(runes); k++ {
		end := k
		switch {
		case number(runes[k]):
			for end < len(runes) && number(runes[end]) {
				end++
			}
		case unicode.In(runes[k], unicode.Mn, unicode.Me):
			for end < len(runes)-1 && unicode.In(runes[end], unicode.Mn, unicode.Me) {
				end++
			}
			end++
		default:
			continue
		}
		slices.Reverse(runes[k:end])
		k = end - 1
	}
}
