package sheet

import (
	"embed"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
	"sync"

	"github.com/pelletier/go-toml/v2"
	forms "golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/message/catalog"
)

// wordFiles are the catalogues: a folder for each language, of files that a
// translator can edit; words/README.md says how.
//
//go:embed words
var wordFiles embed.FS

// wordFile is one file of a catalogue. A text is a string, or a table of plural
// forms (one, few, many, other …) chosen by the first thing put in, or by the
// one that "by" names.
type wordFile struct {
	Say      map[string]any    `toml:"say"`
	Recorded map[string]string `toml:"recorded"`
}

// catalogueSet holds the texts of all languages.
type catalogueSet struct {
	texts    *catalog.Builder
	recorded map[string]recordedWords
}

func (c catalogueSet) printer(tag language.Tag) *message.Printer {
	return message.NewPrinter(tag, message.Catalog(c.texts))
}

// catalogues are read once; they never change.
var catalogues = sync.OnceValues(func() (catalogueSet, error) { return loadCatalogues(wordFiles) })

func loadCatalogues(files fs.FS) (catalogueSet, error) {
	c := catalogueSet{texts: catalog.NewBuilder(catalog.Fallback(language.English)), recorded: map[string]recordedWords{}}
	list, err := fs.Glob(files, "words/*/*.toml")
	if err != nil {
		return c, fmt.Errorf("catalogues of the data sheet: %w", err)
	}
	for _, name := range list {
		f, err := readWords(files, name)
		if err == nil {
			err = c.add(path.Base(path.Dir(name)), f)
		}
		if err != nil {
			return c, fmt.Errorf("catalogue %s: %w", name, err)
		}
	}
	return c, nil
}

func readWords(files fs.FS, name string) (f wordFile, err error) {
	text, err := fs.ReadFile(files, name)
	if err != nil {
		return f, err
	}
	return f, toml.NewDecoder(strings.NewReader(string(text))).DisallowUnknownFields().Decode(&f)
}

func (c *catalogueSet) add(name string, f wordFile) error {
	tag, err := language.Parse(name)
	if err != nil {
		return fmt.Errorf("folder %q is no language (BCP 47): %w", name, err)
	}
	for k, x := range f.Say {
		m, err := messageOf(x)
		if err == nil {
			err = c.texts.Set(tag, k, m)
		}
		if err != nil {
			return fmt.Errorf("%q: %w", k, err)
		}
	}
	r := c.recorded[name]
	if r.exact == nil {
		r = recordedWords{exact: map[string]string{}}
	}
	for k, x := range f.Recorded {
		if wildcard.MatchString(k) {
			r.patterns = append(r.patterns, patternOf(k, x))
		} else {
			r.exact[k] = x
		}
	}
	// The pattern that says most comes first.
	slices.SortFunc(r.patterns, func(a, b pattern) int {
		if a.fixed != b.fixed {
			return b.fixed - a.fixed
		}
		return strings.Compare(a.says, b.says)
	})
	c.recorded[name] = r
	return nil
}

// pluralForms are those of CLDR, in the order in which they are looked for; zero
// and one word for themselves come first.
var pluralForms = []string{"=0", "=1", "zero", "one", "two", "few", "many", "other"}

// messageOf is the message of one entry.
func messageOf(x any) (catalog.Message, error) {
	switch x := x.(type) {
	case string:
		return catalog.String(x), nil
	case map[string]any:
		by, cases := int64(1), []any{}
		if n, ok := x["by"].(int64); ok {
			by = n
			delete(x, "by")
		}
		for _, form := range pluralForms {
			if text, ok := x[form].(string); ok {
				cases = append(cases, form, text)
			}
		}
		if x["other"] == nil || len(cases) != 2*len(x) {
			return nil, fmt.Errorf("expected texts for plural forms (%s), other among them, and at most by = a number", strings.Join(pluralForms, ", "))
		}
		return forms.Selectf(int(by), "", cases...), nil
	}
	return nil, fmt.Errorf("expected a text or a table of plural forms")
}
