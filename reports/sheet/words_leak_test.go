package sheet

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Pieces that a text of the sheet is put together from, and what in them needs
// no translation: words of four letters or more do, unless they were recorded.
var (
	pieces   = regexp.MustCompile(`[,;:]? |[,;:/|()"„“«»]+|\n|\x{a0}|\x{202f}`)
	spelling = regexp.MustCompile(`^[\p{L}]{4,}$`)
	pointed  = regexp.MustCompile(`[0-9]\.[0-9]`)
)

// wordsOf are all words that a language's catalogue prints: those it shares with
// English are no leak.
func wordsOf(t *testing.T, lang string) map[string]bool {
	list := map[string]bool{}
	c := catalogueOf(t, lang)
	add := func(text string) {
		for _, word := range pieces.Split(text, -1) {
			list[strings.Trim(word, trimmed)] = true
		}
	}
	for _, x := range c.Say {
		for _, text := range textsOf(x) {
			add(text)
		}
	}
	for _, text := range c.Recorded {
		add(text)
	}
	return list
}

const trimmed = ".…?!*■▲=±"

// A text that a builder forgot to say would stand in English on every sheet, and
// a number past the style with a point. So every word that is on a German or
// French sheet and on the English one alike must come from the record.
func TestNothingIsLeftInEnglish(t *testing.T) {
	for name, s := range some(t) {
		var recorded strings.Builder
		for _, r := range s.runs {
			text, err := json.Marshal(r.Record)
			require.NoError(t, err)
			recorded.Write(text)
		}
		said := strings.ToLower(recorded.String())
		for _, lang := range others() {
			x, err := s.With(Options{Language: lang})
			require.NoError(t, err)
			own := wordsOf(t, lang)
			in, out := allTexts(s.build()), allTexts(x.build())
			require.Equal(t, len(in), len(out), name)
			for k, text := range out {
				shared := map[string]bool{}
				for _, word := range pieces.Split(in[k], -1) {
					shared[word] = true
				}
				for _, word := range pieces.Split(text, -1) {
					bare := strings.Trim(word, trimmed)
					if spelling.MatchString(bare) && shared[word] && !own[bare] && !strings.Contains(said, strings.ToLower(bare)) {
						assert.Fail(t, "English in another language", "%s, %s: %q in %q", name, lang, word, text)
					}
					if pointed.MatchString(word) && !strings.Contains(said, word) && !strings.Contains(said, strings.ToLower(bare)) {
						assert.Fail(t, "decimal point", "%s, %s: %q in %q", name, lang, word, text)
					}
				}
			}
		}
	}
}

func allTexts(d *document) []string {
	list := []string{d.Title, d.Records, d.Fingerprint, d.Invented, d.End}
	for _, b := range d.Blocks {
		for _, text := range b.texts() {
			list = append(list, *text)
		}
		if c, ok := b.(*chart); ok {
			list = append(list, c.Outside, c.NoValue, c.NotJudged, c.NotShown)
			for _, k := range c.yScale().ticks(d.words) {
				list = append(list, k.Label)
			}
			for _, k := range c.frequencyTicks() {
				list = append(list, k.Label)
			}
		}
	}
	return list
}

// The fonts hold every character that the catalogues and number styles print.
func TestFontsHoldEveryCharacter(t *testing.T) {
	s := sheetOf(t, fixture(t, "as-found"))
	w, err := (&document{words: s.words}).layOut(rowPad)
	require.NoError(t, err)
	check := func(where, text string) {
		assert.Equal(t, text, w.printable(text), where)
	}
	for _, lang := range append(others(), "en") {
		c := catalogueOf(t, lang)
		for k, x := range c.Say {
			check(lang, k)
			for _, text := range textsOf(x) {
				check(lang, text)
			}
		}
		for _, text := range c.Recorded {
			check(lang, text)
		}
	}
	for _, o := range []Options{{}, {Thousands: "apostrophe"}, {Thousands: "point"}, {Decimal: "comma"}} {
		check("numbers", wordsFor(t, o).fixed(parse("-1234567.25"), 2))
	}
	check("units", "Ω µV ±1 °C Hz·s ≤ ≥ − × ∞ ν ■ ▲ — …")
}
