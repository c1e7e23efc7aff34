package sheet

import (
	"go/ast"
	"go/constant"
	"go/parser"
	"go/token"
	"go/types"
	"io/fs"
	"maps"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/reports/record"
	measurements "bandproof/runner/kinds"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/tools/go/packages"
	"pgregory.net/rapid"
)

// others are the languages with translations.
func others() []string { return procedures.SheetChoices()["language"][1:] }

// fixedWords are the constants of the types whose values a record holds.
func fixedWords(t *testing.T) []string {
	t.Helper()
	holds := map[string]bool{"bandproof/procedures/decision.Word": true, "bandproof/procedures/decision.Reason": true, "bandproof/runner.Statement": true, "bandproof/runner.Kind": true, "bandproof/drivers.Mark": true}
	list, err := packages.Load(&packages.Config{Mode: packages.NeedName | packages.NeedTypes}, "bandproof/procedures/decision", "bandproof/runner", "bandproof/drivers")
	require.NoError(t, err)
	seen := map[string]bool{}
	var words []string
	for _, p := range list {
		require.Empty(t, p.Errors)
		for _, name := range p.Types.Scope().Names() {
			c, ok := p.Types.Scope().Lookup(name).(*types.Const)
			if !ok || !holds[c.Type().String()] {
				continue
			}
			seen[c.Type().String()] = true
			if text := constant.StringVal(c.Val()); text != "" {
				words = append(words, text)
			}
		}
	}
	require.Len(t, seen, len(holds), "types of fixed words: %v", seen)
	return words
}

// A verdict, a statement or a caution that a language lacks would stand in
// English in the middle of a sheet.
func TestFixedWordsOfTheRecordAreTranslated(t *testing.T) {
	list := append(fixedWords(t), record.UsualCautions()...)
	for _, k := range measurements.All() {
		list = append(list, k.Kind())
	}
	list = append(list, "source", "reference", "power meter", "monitor", "thermometer", "yes", "no", "not stated", "counts", "timebase", "trigger", "residual")
	for _, lang := range others() {
		for _, text := range list {
			assert.Contains(t, catalogueOf(t, lang).Recorded, text, "%s: no text for this fixed word", lang)
		}
	}
}

// writtenByCode are all string literals of the packages that make records.
func writtenByCode(t *testing.T) string {
	t.Helper()
	var all strings.Builder
	for _, dir := range []string{"runner", "procedures", "drivers", "reports/record"} {
		require.NoError(t, filepath.WalkDir(filepath.Join("../..", dir), func(file string, _ fs.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
				return err
			}
			f, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
			if err != nil {
				return err
			}
			ast.Inspect(f, func(n ast.Node) bool {
				if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
					text, err := strconv.Unquote(l.Value)
					require.NoError(t, err)
					all.WriteString(strings.ReplaceAll(text, "%%", "%") + "\n")
				}
				return true
			})
			return nil
		}))
	}
	return strings.ToLower(all.String())
}

// joints are where the code puts literals together.
var joints = regexp.MustCompile(`: |, |^reads | of the timebase$`)

// bareSigns are per cent signs, which stand for themselves in recorded texts.
var bareSigns = regexp.MustCompile(`%([^s\[]|$)`)

// Every entry is of a text that some code writes: what lies between its
// wildcards, where long enough to be telling, stands in a literal. The languages
// hold the same entries and put in the same things.
func TestRecordedEntriesAreOfTextsThatAreWritten(t *testing.T) {
	code := writtenByCode(t)
	first := catalogueOf(t, others()[0]).Recorded
	for _, k := range slices.Sorted(maps.Keys(first)) {
		for _, part := range wildcard.Split(k, -1) {
			for _, piece := range joints.Split(part, -1) {
				if piece = strings.Trim(piece, " ,;:()%"); len(piece) > 3 {
					assert.Contains(t, code, strings.ToLower(piece), "nothing writes %q", k)
				}
			}
		}
	}
	for _, lang := range others() {
		c := catalogueOf(t, lang).Recorded
		assert.Equal(t, slices.Sorted(maps.Keys(first)), slices.Sorted(maps.Keys(c)), "%s", lang)
		for k, text := range c {
			var want []string
			for n := range wildcard.FindAllString(k, -1) {
				want = append(want, strconv.Itoa(n+1))
			}
			got, err := placeholders(bareSigns.ReplaceAllString(text, ""))
			assert.NoError(t, err, "%s: %q", lang, text)
			assert.Equal(t, want, got, "%s: %q puts in other things: %q", lang, k, text)
		}
	}
}

func TestRecordedSentences(t *testing.T) {
	w := wordsFor(t, Options{Language: "de"})
	for _, c := range []struct{ name, recorded, want string }{
		{"word", "fail", "nicht bestanden"},
		{"name", "drift of reference house standard", "Drift der Referenz house standard"},
		{"name with a colon in it", "drift of reference a:b", "Drift der Referenz a:b"},
		{"figures", "offset -2e-12, U = 2.5e-11 (k = 2)", "Abweichung −2e−12, U = 2,5e−11 (k = 2)"},
		{"a sentence within", "warning: RF of source MW could not be switched off, do it by hand: no reply", "Warnung: HF der Quelle MW ließ sich nicht abschalten, von Hand tun: no reply"},
		{"longest fits", "setting resolution of source LF, both ends", "Einstellauflösung der Quelle LF, beide Enden"},
		{"one after the other", "ageing 0.5 ppm per year over 365 d + temperature 0.3 ppm + line 0.02 ppm", "Alterung 0,5 ppm pro Jahr über 365 d + Temperatur 0,3 ppm + Netz 0,02 ppm"},
		{"no sentence is taken for a name", "source was not good after 2 of 3 settings", "source was not good after 2 of 3 settings"},
		{"words of a person", "passed on to the owner; 3.5 V", "passed on to the owner; 3.5 V"},
		{"placeholders of a name", "drift of reference %[1]s %s", "Drift der Referenz %[1]s %s"},
		{"nothing", "", ""},
	} {
		assert.Equal(t, c.want, w.word(c.recorded), c.name)
	}
	assert.Equal(t, "drift of reference x", english(t).word("drift of reference x"))
}

// Whatever a record holds, a translation neither fails nor loses a name in it.
func TestAnyRecordedTextIsTranslatedOrKept(t *testing.T) {
	w := wordsFor(t, Options{Language: "fr"})
	keys := slices.Sorted(maps.Keys(catalogueOf(t, "fr").Recorded))
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.StringMatching(`[A-Za-z%$\\{}\[\]\x{202e}0-9]{1,12}`).Draw(t, "name")
		text := wildcard.ReplaceAllLiteralString(rapid.SampledFrom(keys).Draw(t, "key"), name)
		if got := w.word(text); strings.Count(got, name) == 0 && strings.Contains(text, name) && w.word(name) == name && text != got {
			if _, exact := w.recorded.exact[text]; !exact {
				t.Fatalf("%q became %q: the name is lost", text, got)
			}
		}
		_ = w.word(rapid.String().Draw(t, "anything"))
	})
	long := strings.Repeat("warning: ", 2000) + "x"
	assert.True(t, strings.HasSuffix(w.word(long), "x"))
}
