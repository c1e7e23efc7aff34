package sheet

import (
	"fmt"
	"strings"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/reports/record"
	"bandproof/runner"

	forms "golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
)

// Options say in which language and number style and on which paper a sheet is
// written: the keys and values of the bench file's table [sheet]. What is empty
// is as the record's bench file says, else as usual.
type Options = procedures.Sheet

// key is a text of the sheet, in English and as a format of strings: the name
// by which the catalogues in the folder words know it. A constant of this type
// must have an entry in every language; the tests find all of them.
type key string

// words says texts and writes numbers in one language and style. A sheet and
// its runs share one.
type words struct {
	Options
	tag      language.Tag
	printer  *message.Printer
	recorded recordedWords
	style    numberStyle
}

// newWords takes filled options; a mistake in them is an error.
func newWords(o Options) (*words, error) {
	if list := o.Mistakes(); len(list) > 0 {
		return nil, list[0]
	}
	c, err := catalogues()
	if err != nil {
		return nil, err
	}
	w := &words{Options: o, tag: language.Make(o.Language), style: styleOf(o)}
	w.printer = c.printer(w.tag)
	w.recorded = c.recorded[o.Language]
	return w, nil
}

// say is a text in the sheet's language with strings put in; a count is written
// in the number style and chooses singular or plural. Strings are cleaned before,
// since bytes that are no text would be lost on the way.
func (w *words) say(k key, args ...any) string {
	for n, x := range args {
		if s, ok := x.(string); ok {
			args[n] = clean(s)
		}
	}
	return w.printer.Sprintf(string(k), args...)
}

// said is a text that waits for its language.
type said struct {
	key  key
	args []any
}

func (w *words) saying(s said) string {
	args := make([]any, len(s.args))
	for k, x := range s.args {
		switch x := x.(type) {
		case int:
			args[k] = w.count(x)
		case runner.Kind:
			args[k] = w.word(string(x))
		default:
			args[k] = x
		}
	}
	return w.say(s.key, args...)
}

// word translates a text that the program put into the record, such as a
// verdict; one that the catalogue does not know stays as recorded.
func (w *words) word(text string) string { return w.recorded.translate(text, w.style) }

// counted is a whole number in a text.
type counted struct {
	n    int
	text string
}

func (w *words) count(n int) counted { return counted{n, w.whole(n)} }

// String is the number in the sheet's style.
func (c counted) String() string { return c.text }

// PluralForm implements plural.Interface.
func (c counted) PluralForm(t language.Tag, _ int) (forms.Form, int) {
	n := max(c.n, -c.n) % 10_000_000
	return forms.Cardinal.MatchPlural(t, n, 0, 0, 0, 0), n
}

// to writes a range.
func (w *words) to(from, to string) string { return w.say("%[1]s to %[2]s", from, to) }

// and joins the parts of a list.
func (w *words) and(list []string) string {
	if len(list) < 2 {
		return strings.Join(list, "")
	}
	last := len(list) - 1
	return w.say("%[1]s and %[2]s", strings.Join(list[:last], ", "), list[last])
}

// verdict writes a verdict with its reason.
func (w *words) verdict(v decision.Verdict) string {
	return w.colon(w.word(string(v.Word)), w.word(string(v.Reason)))
}

// colon puts two parts together of which the first names or begins what the
// second says; either may be empty.
func (w *words) colon(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return w.say("%[1]s: %[2]s", a, b)
}

// semicolons joins parts of a sentence.
func (w *words) semicolons(parts []string) string {
	if len(parts) == 0 {
		return ""
	}
	text := parts[0]
	for _, p := range parts[1:] {
		text = w.say("%[1]s; %[2]s", text, p)
	}
	return text
}

// ofRecord heads what stands for each run apart.
func (r run) ofRecord(title string) string {
	return r.say("%[1]s (record %[2]s)", title, r.stated(r.ID))
}

// stated is s, or says that it isn't there.
func (w *words) stated(s string) string {
	if strings.TrimSpace(s) == "" {
		return w.say("not stated")
	}
	return s
}

// With returns the same sheet written another way. What o leaves empty is as the
// bench file in the newest record says, else as usual. A value that is not to be
// had is an error that lists what there is.
func (s *Sheet) With(o Options) (*Sheet, error) {
	w, err := newWords(o.Filled(s.usual))
	if err != nil {
		return nil, fmt.Errorf("data sheet: %w", err)
	}
	return s.in(w), nil
}

// in is the sheet with other words.
func (s *Sheet) in(w *words) *Sheet {
	c := *s
	c.words = w
	c.runs = make([]run, len(s.runs))
	for k, r := range s.runs {
		if c.runs[k] = w.run(r.Record); s.isBare() {
			c.runs[k].Record = bareRecord(r.Record)
		}
	}
	return &c
}

// run is a record with the words for it.
func (w *words) run(r record.Record) run {
	for _, k := range kinds {
		if k.kind == r.Run.Kind {
			return run{Record: r, words: w, label: w.say(k.label), inline: w.say(k.inline)}
		}
	}
	return run{Record: r, words: w}
}
