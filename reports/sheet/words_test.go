package sheet

import (
	"fmt"
	"go/ast"
	"go/constant"
	"go/types"
	"io/fs"
	"maps"
	"os"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"bandproof/procedures"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/tools/go/packages"
)

// english are the words of a sheet that nobody chose a style for.
func english(t tester) *words { return wordsFor(t, Options{}) }

// tester is a test, be it of package testing or rapid.
type tester interface {
	require.TestingT
	Helper()
}

func wordsFor(t tester, o Options) *words {
	t.Helper()
	w, err := newWords(o.Filled(Options{}))
	require.NoError(t, err)
	return w
}

// keysOfCode are all constants of type key in this package: every text that is
// said, wherever it is written down.
func keysOfCode(t *testing.T) map[string]string {
	t.Helper()
	list, err := packages.Load(&packages.Config{Mode: packages.NeedName | packages.NeedSyntax | packages.NeedTypes | packages.NeedTypesInfo}, ".")
	require.NoError(t, err)
	require.Len(t, list, 1)
	p := list[0]
	require.Empty(t, p.Errors)
	kind := p.Types.Scope().Lookup("key").Type()
	keys := map[string]string{}
	for _, f := range p.Syntax {
		ast.Inspect(f, func(n ast.Node) bool {
			e, ok := n.(ast.Expr)
			if !ok {
				return true
			}
			v := p.TypesInfo.Types[e]
			if v.Value == nil || v.Value.Kind() != constant.String || !types.Identical(v.Type, kind) {
				return true
			}
			if k := constant.StringVal(v.Value); k != "" {
				keys[k] = p.Fset.Position(e.Pos()).String()
			}
			return false // parts of a sum are no texts of their own
		})
	}
	require.Greater(t, len(keys), 3)
	return keys
}

// textsOf are the texts of an entry: one, or one for each plural form.
func textsOf(x any) []string {
	switch x := x.(type) {
	case string:
		return []string{x}
	case map[string]any:
		var list []string
		for _, v := range x {
			if s, ok := v.(string); ok {
				list = append(list, s)
			}
		}
		return list
	}
	return nil
}

var verb = regexp.MustCompile(`%(%|\[\d+\]s|s|.?)`)

// placeholders are what a text puts in, in order of the arguments; a verb that
// is not for strings is an error.
func placeholders(text string) ([]string, error) {
	var list []string
	next := 1
	for _, m := range verb.FindAllString(text, -1) {
		switch {
		case m == "%%":
		case m == "%s":
			list = append(list, fmt.Sprint(next))
			next++
		case strings.HasSuffix(m, "]s"):
			list = append(list, strings.Trim(m, "%[]s"))
		default:
			return nil, fmt.Errorf("%q: only %%s, %%[1]s … and %%%% are put in", m)
		}
	}
	if next > 1 && next-1 != len(list) {
		return nil, fmt.Errorf("mixes %%s with numbered places")
	}
	slices.Sort(list)
	return slices.Compact(list), nil
}

// catalogueOf gathers all files of a language.
func catalogueOf(t *testing.T, lang string) wordFile {
	t.Helper()
	all := wordFile{Say: map[string]any{}, Recorded: map[string]string{}}
	names, err := fs.Glob(wordFiles, path.Join("words", lang, "*.toml"))
	require.NoError(t, err)
	require.NotEmpty(t, names, "no catalogue of language %q", lang)
	for _, name := range names {
		f, err := readWords(wordFiles, name)
		require.NoError(t, err, name)
		for k, x := range f.Say {
			assert.NotContains(t, all.Say, k, "%s: stands in another file too", name)
			all.Say[k] = x
		}
		for k, x := range f.Recorded {
			assert.NotContains(t, all.Recorded, k, "%s: stands in another file too", name)
			all.Recorded[k] = x
		}
	}
	return all
}

// Every text that the code says has an entry in every language that puts in the
// same things, and no catalogue holds one that nothing says.
func TestCataloguesAreWhole(t *testing.T) {
	keys := keysOfCode(t)
	for k, place := range keys {
		_, err := placeholders(k)
		assert.NoError(t, err, "%s: %q", place, k)
	}
	inEnglish := catalogueOf(t, "en").Say
	for _, lang := range procedures.SheetChoices()["language"] {
		c := catalogueOf(t, lang)
		for _, k := range slices.Sorted(maps.Keys(c.Say)) {
			if !assert.Contains(t, keys, k, "%s: nothing says this", lang) {
				continue
			}
			want, _ := placeholders(k)
			for _, text := range textsOf(c.Say[k]) {
				assert.NotEmpty(t, text, "%s: %q", lang, k)
				got, err := placeholders(text)
				assert.NoError(t, err, "%s: %q", lang, k)
				assert.Equal(t, want, got, "%s: %q puts in other things: %q", lang, k, text)
			}
			_, here := c.Say[k].(map[string]any)
			_, there := inEnglish[k].(map[string]any)
			assert.Equal(t, there, here, "%s: %q: one language has plural forms and another has not", lang, k)
		}
		if lang == "en" {
			continue
		}
		for _, k := range slices.Sorted(maps.Keys(keys)) {
			assert.Contains(t, c.Say, k, "%s: %s: no text for this", lang, keys[k])
		}
	}
}

// The languages that the bench file may name are those that have a folder.
func TestLanguagesHaveCatalogues(t *testing.T) {
	folders, err := fs.ReadDir(wordFiles, "words")
	require.NoError(t, err)
	var have []string
	for _, f := range folders {
		if f.IsDir() {
			have = append(have, f.Name())
		}
	}
	assert.ElementsMatch(t, procedures.SheetChoices()["language"], have)
	for _, paper := range procedures.SheetChoices()["paper"] {
		assert.Contains(t, papers, paper)
	}
}

func TestDamagedCatalogues(t *testing.T) {
	for _, c := range []struct{ name, folder, text, want string }{
		{"no TOML", "de", "[say\n", "catalogue words/de/a.toml"},
		{"unknown table", "de", "[saying]\n\"a\" = \"b\"\n", "catalogue words/de/a.toml"},
		{"no language", "doch", "[say]\n\"a\" = \"b\"\n", "no language"},
		{"number", "de", "[say]\n\"a\" = 1\n", "expected a text or a table of plural forms"},
		{"no other", "de", "[say]\n\"a\" = { one = \"b\" }\n", "other among them"},
		{"unknown form", "de", "[say]\n\"a\" = { oen = \"b\", other = \"c\" }\n", "expected texts for plural forms"},
		{"form of another language", "de", "[say]\n\"a\" = { few = \"b\", other = \"c\" }\n", "not supported"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := loadCatalogues(fstest.MapFS{"words/" + c.folder + "/a.toml": {Data: []byte(c.text)}})
			assert.ErrorContains(t, err, c.want)
		})
	}
}

// Plural forms by the rules of CLDR: one in English and German is 1 alone, in
// French 0 and 1.
func TestCountsChooseForms(t *testing.T) {
	files := fstest.MapFS{}
	for _, lang := range []string{"en", "de", "fr"} {
		files["words/"+lang+"/a.toml"] = &fstest.MapFile{Data: []byte("[say]\n\"%s points\" = { one = \"%s sg\", other = \"%s pl\" }\n")}
	}
	c, err := loadCatalogues(files)
	require.NoError(t, err)
	for lang, want := range map[string][]string{"en": {"0 pl", "1 sg", "2 pl"}, "de": {"0 pl", "1 sg", "2 pl"}, "fr": {"0 sg", "1 sg", "2 pl"}} {
		w := wordsFor(t, Options{Language: lang})
		w.printer = c.printer(w.tag)
		for n, x := range want {
			assert.Equal(t, x, w.say("%s points", w.count(n)), lang)
		}
	}
	w := wordsFor(t, Options{Thousands: "apostrophe"})
	w.printer = c.printer(w.tag)
	assert.Equal(t, "12’345 pl", w.say("%s points", w.count(12345)))
}

func TestOptionsAreChecked(t *testing.T) {
	s := sheetOf(t, fixture(t, "as-found"))
	for _, c := range []struct {
		o    Options
		want string
	}{
		{Options{Language: "xx"}, `language "xx": expected one of en, de, fr`},
		{Options{Decimal: ";"}, `decimal ";": expected one of point, comma`},
		{Options{Thousands: "dot"}, `thousands "dot": expected one of space, apostrophe, none, point, comma`},
		{Options{Paper: "A3"}, `paper "A3": expected one of A4, Letter`},
		{Options{Decimal: "comma", Thousands: "comma"}, "is the decimal sign too"},
	} {
		_, err := s.With(c.o)
		assert.ErrorContains(t, err, c.want)
	}
	for _, c := range []struct{ o, want Options }{
		{Options{}, Options{Language: "en", Decimal: "point", Thousands: "space", Paper: "A4"}},
		{Options{Language: "de"}, Options{Language: "de", Decimal: "comma", Thousands: "space", Paper: "A4"}},
		{Options{Language: "de", Thousands: "comma"}, Options{Language: "de", Decimal: "point", Thousands: "comma", Paper: "A4"}},
		{Options{Thousands: "point", Paper: "Letter"}, Options{Language: "en", Decimal: "comma", Thousands: "point", Paper: "Letter"}},
	} {
		x, err := s.With(c.o)
		require.NoError(t, err)
		assert.Equal(t, c.want, x.Options)
	}
}

// One sheet may be written by several at a time.
func TestWritersShareASheetAtOnce(t *testing.T) {
	s, err := sheetOf(t, fixture(t, "as-found")).With(Options{Language: "fr"})
	require.NoError(t, err)
	want := dump(s.build())
	done := make(chan string)
	for range 4 {
		go func() { done <- dump(s.build()) }()
	}
	for range 4 {
		assert.Equal(t, want, <-done)
	}
}

// The bench file that is kept in the record says how its sheet is usually
// written, however long ago that was; what is asked for comes first.
func TestTheBenchFileSaysWhatIsUsual(t *testing.T) {
	r := fixture(t, "as-found")
	bench, err := os.ReadFile("testdata/bench.toml")
	require.NoError(t, err)
	with := func(table string) *Sheet {
		x := r
		x.Bench.Text = string(bench) + "\n" + table
		return sheetOf(t, x)
	}
	s := with("[sheet]\nlanguage = \"de\"\nthousands = \"apostrophe\"\npaper = \"Letter\"\n")
	assert.Equal(t, Options{Language: "de", Decimal: "comma", Thousands: "apostrophe", Paper: "Letter"}, s.Options)
	assert.Contains(t, dump(s.build()), "Kalibrierdatenblatt")
	other, err := s.With(Options{Language: "fr", Thousands: "point"})
	require.NoError(t, err)
	assert.Equal(t, Options{Language: "fr", Decimal: "comma", Thousands: "point", Paper: "Letter"}, other.Options)
	// A sign that is asked for does not clash with a usual one.
	other, err = with("[sheet]\ndecimal = \"comma\"\nthousands = \"point\"\n").With(Options{Decimal: "point"})
	require.NoError(t, err)
	assert.Equal(t, Options{Language: "en", Decimal: "point", Thousands: "space", Paper: "A4"}, other.Options)
	for _, damaged := range []string{"[sheet]\nlanguage = \"xx\"\n", "[sheet\n", ""} { // of a program of another day, or cut
		assert.Equal(t, Options{Language: "en", Decimal: "point", Thousands: "space", Paper: "A4"}, with(damaged).Options, damaged)
	}
}
