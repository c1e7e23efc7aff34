package sheet

import (
	"bufio"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"
)

//go:embed html/blocks.html html/sheet.css
var htmlFiles embed.FS

// htmlBlocks has a template for each kind of block, so that a sheet of any
// length is written piece by piece.
var htmlBlocks = template.Must(template.ParseFS(htmlFiles, "html/blocks.html"))

// htmlWriter writes a document as one file of HTML that refers to nothing
// outside itself.
type htmlWriter struct {
	out *bufio.Writer
	doc *document
	ids int // of elements, given so far
}

// HTML writes the sheet as one self-contained HTML file: no scripts, nothing
// loaded from elsewhere, which its content security policy also forbids. It
// reads on narrow and dark screens and prints on pages with repeated headings.
func (s *Sheet) HTML(out io.Writer) error {
	w := &htmlWriter{out: bufio.NewWriter(out), doc: s.build()}
	if err := w.write(); err != nil {
		return fmt.Errorf("write data sheet as HTML: %w", err)
	}
	return nil
}

func (w *htmlWriter) write() error {
	style, err := w.style()
	if err != nil {
		return err
	}
	head := struct {
		*document
		Policy string
		Style  template.CSS
	}{w.doc, policy(style), template.CSS(style)}
	if err := w.put("begin", head); err != nil {
		return err
	}
	for _, b := range w.doc.Blocks {
		if err := w.block(b); err != nil {
			return err
		}
	}
	if err := w.put("end", w.doc); err != nil {
		return err
	}
	return w.out.Flush()
}

func (w *htmlWriter) put(name string, data any) error {
	return htmlBlocks.ExecuteTemplate(w.out, name, data)
}

// policy allows the one style sheet, known by its hash, and images that stand
// in the file itself; nothing else (Content Security Policy Level 3, W3C).
func policy(style string) string {
	sum := sha256.Sum256([]byte(style))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; img-src data:; base-uri 'none'; form-action 'none'"
}

// style is the style sheet with what the margins of printed pages say.
func (w *htmlWriter) style() (string, error) {
	css, err := htmlFiles.ReadFile("html/sheet.css")
	if err != nil {
		return "", err
	}
	const most = 110 // characters that a margin has room for
	box := func(name, content string) string { return "@" + name + "{content:" + content + "}" }
	return string(css) + "@page{size:" + w.doc.Paper + ` landscape;margin:12mm 12mm 11mm;font:7pt "Liberation Sans",Helvetica,Arial,sans-serif;` +
		box("top-left", cssString(elided(w.doc.Title+"    "+w.doc.Records, most))+";font-weight:bold;text-align:left;width:85%") +
		box("top-right", w.pageNumber()+";font-weight:bold") +
		box("bottom-left", cssString(elided(join("    ", w.doc.Subject, w.doc.Fingerprint), most))+";text-align:left;width:75%") +
		box("bottom-right", cssString(elided(w.doc.Program, most/3))) + "}", nil
}

// pageNumber is "page n of m" with the counters of the style sheet in it.
func (w *htmlWriter) pageNumber() string {
	const number, total = "\u2170", "\u2171" // stand for the counters, and are in no catalogue
	text := cssString(w.doc.say("page %[1]s of %[2]s", number, total))
	return strings.NewReplacer(cssNumber(number), `" counter(page) "`, cssNumber(total), `" counter(pages) "`).Replace(text)
}

// cssString quotes a text for a style sheet: all but letters, digits and spaces
// of ASCII by their numbers (CSS Syntax Module Level 3, W3C, section 4.3.7).
func cssString(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		if r == ' ' || r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' {
			b.WriteRune(r)
			continue
		}
		b.WriteString(cssNumber(string(r)))
	}
	b.WriteByte('"')
	return b.String()
}

// cssNumber writes one character by its number.
func cssNumber(s string) string { return fmt.Sprintf(`\%06x`, []rune(s)[0]) }

// elided leaves out the middle of a text that is longer than most characters;
// for margins, whose text stands in full elsewhere.
func elided(s string, most int) string {
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	r := []rune(s)
	return string(r[:most/2]) + "…" + string(r[len(r)-most/2:])
}

// id names an element; each is given once.
func (w *htmlWriter) id() string {
	w.ids++
	return "n" + strconv.Itoa(w.ids)
}

func (w *htmlWriter) block(b block) error {
	switch b := b.(type) {
	case *heading:
		return w.put("heading", b)
	case *paragraph:
		return w.put("paragraph", b)
	case *notice:
		return w.put("notice", b)
	case *notes:
		return w.put("notes", b)
	case *signatures:
		return w.put("signatures", struct {
			*signatures
			Sign string
		}{b, w.doc.say("date, signature")})
	case *grid:
		return w.grid(b)
	case *table:
		return w.table(b)
	case *chart:
		return w.figure(b, chartHeight)
	case *graph:
		return w.figure(b, graphHeight)
	}
	return fmt.Errorf("no template for a block of type %T", b)
}

// grid gives a long value the full width.
func (w *htmlWriter) grid(g *grid) error {
	const long = 160
	type wide struct {
		item
		Wide bool
	}
	items := make([]wide, len(g.Items))
	for k, x := range g.Items {
		items[k] = wide{x, utf8.RuneCountInString(x.Value) > long}
	}
	return w.put("grid", struct {
		*grid
		Items []wide
	}{g, items})
}
