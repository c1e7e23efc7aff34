package sheet

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"unicode"
	"unicode/utf8"

	"bandproof/reports/record"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

// writerCase is a writer of data sheets under test. A new writer joins by an
// entry in writerCases.
type writerCase struct {
	name  string
	write func(*Sheet, io.Writer) error
	// read gives all text of what was written, in reading order, and fails the
	// test if the file holds what it must not. It is best done by a program or
	// library of others. White space does not matter.
	read func(t *testing.T, written []byte, d *document) string
	// says tells how the format has a text; nil: as it is in the model. "" where
	// it can't be searched for.
	says func(s string) string
	// byColumn: tables are read down their columns, not along their rows;
	// anyOrder: parts of the sheet stand apart from each other.
	byColumn, anyOrder bool
	// chart tells which texts of a drawing the format has, in any order.
	chart func(drawing) []string
}

func writerCases(t *testing.T) []writerCase {
	return []writerCase{
		{name: "PDF", write: (*Sheet).PDF, read: readPDF, says: printedAs(t), chart: titlesAndNames},
		{name: "HTML", write: (*Sheet).HTML, read: readHTML, chart: everythingDrawn},
		{name: "XLSX", write: (*Sheet).XLSX, read: readXLSX, says: noNumbers, anyOrder: true, chart: func(drawing) []string { return nil }},
		{name: "text", write: (*Sheet).Text, read: readText, byColumn: true, chart: textDrawn},
	}
}

func everythingDrawn(d drawing) []string {
	x, y, _ := d.titles()
	return append(d.about(), x, y)
}

// titlesAndNames are without the labels of gaps: one that has no room is short
// in the drawing and stands in full on the first page.
func titlesAndNames(d drawing) []string {
	list := everythingDrawn(d)
	if c, ok := d.(*chart); ok {
		list = list[:len(list)-2-len(c.Gaps)]
		if len(c.Gaps) > 0 {
			list = append(list, c.NotShown)
		}
		return append(list, c.X, c.Y)
	}
	return list
}

// textDrawn: charts of error are in units of the limit, not in ppm.
func textDrawn(d drawing) []string {
	list := everythingDrawn(d)
	if _, ok := d.(*chart); ok {
		return list[:len(list)-1]
	}
	return list
}

// Every text of the model appears, in order, in what each writer writes.
func TestWritersSayEverything(t *testing.T) {
	for _, c := range writerCases(t) {
		for name, s := range some(t) {
			t.Run(c.name+"/"+name, func(t *testing.T) { c.check(t, s) })
		}
	}
}

// Hostile texts stay texts: each reader refuses a file in which one became
// something else, and all of them are there.
func TestWritersKeepHostileTextsInert(t *testing.T) {
	for _, c := range writerCases(t) {
		t.Run(c.name, func(t *testing.T) { c.check(t, sheetOf(t, hostile(t))) })
		for k, text := range awkward {
			if k%4 != 2 || testing.Short() { // the hostile fixture has each of them somewhere
				continue
			}
			t.Run(fmt.Sprintf("%s/everywhere %d", c.name, k), func(t *testing.T) {
				r := fixture(t, "as-found")
				r.Run.Points = r.Run.Points[:2]
				r.ID, r.Maker, r.Model, r.Program.Version, r.Laboratory.Name, r.Run.Inputs[0].Input.Name, r.Run.Points[0].Point.ID = text, text, text, text, text, text, text
				c.check(t, sheetOf(t, r))
			})
		}
	}
}

// What hostile texts look like in files that a person reads; the longest are cut
// to what shows how they wrap.
func TestGoldenHostile(t *testing.T) {
	texts := slices.Clone(awkward)
	for k, s := range texts {
		texts[k] = s[:min(len(s), 400)]
	}
	r := hostileWith(t, texts)
	r.Run.Points, r.Run.Events = r.Run.Points[:6], nil
	s := sheetOf(t, r)
	golden(t, "hostile.html", htmlOf(t, s))
	golden(t, "hostile.text", textOf(t, s))
}

// Other languages, number styles and papers say everything too.
func TestWritersInOtherStyles(t *testing.T) {
	for _, o := range []Options{{Language: "de", Thousands: "point", Paper: "Letter"}, {Language: "fr"}} {
		if testing.Short() && o.Language == "de" {
			continue
		}
		s, err := sheetOf(t, withOutcomes(t, "as-found"), withOutcomes(t, "as-left")).With(o)
		require.NoError(t, err)
		for _, c := range writerCases(t) {
			t.Run(c.name+"/"+o.Language, func(t *testing.T) { c.check(t, s) })
		}
	}
}

// A writer on a full disk says so, and the same records give the same bytes.
func TestWritersFailAndRepeat(t *testing.T) {
	s := sheetOf(t, fixture(t, "as-found"))
	for _, c := range writerCases(t) {
		require.ErrorIs(t, c.write(s, broken{}), errBroken, c.name)
		var a, b bytes.Buffer
		require.NoError(t, c.write(s, &a))
		require.NoError(t, c.write(s, &b))
		require.True(t, bytes.Equal(a.Bytes(), b.Bytes()), "%s: twice the same records, different bytes", c.name)
	}
}

func TestWritersWithNothingToSay(t *testing.T) {
	for _, c := range writerCases(t) {
		c.check(t, sheetOf(t, record.Record{Run: sheetOf(t, dead(t)).runs[0].Run}))
	}
}

// expected is a text that must be there: in its place among the others, or
// anywhere; of one that may stand in a margin only, both ends.
type expected struct {
	text             string
	anywhere, margin bool
}

// expect lists the texts of a document in reading order.
func (c writerCase) expect(d *document) []expected {
	list := []expected{{text: d.Title}, {d.Records, true, true}, {d.Subject, true, true}, {d.Fingerprint, true, true}, {d.Invented, true, true}}
	for _, x := range append([]string{d.Head.Name}, d.Head.Lines...) {
		list = append(list, expected{text: x, anywhere: true})
	}
	say := func(texts ...string) {
		for _, x := range texts {
			list = append(list, expected{text: x})
		}
	}
	for _, b := range d.Blocks {
		switch b := b.(type) {
		case *heading:
			say(b.Text)
		case *paragraph:
			say(b.Label, b.Text)
		case *notice:
			say(append([]string{b.Title}, b.Lines...)...)
		case *notes:
			say(append([]string{b.Title}, b.Lines...)...)
		case *grid:
			for _, x := range b.Items {
				say(x.Key, x.Value)
			}
		case *signatures:
			for _, x := range b.Lines {
				list = append(list, expected{text: x.Key, anywhere: true}, expected{text: x.Value, anywhere: true})
			}
		case *table:
			list = append(list, c.expectTable(b)...)
		case drawing:
			for _, x := range c.chart(b) {
				list = append(list, expected{text: x, anywhere: true})
			}
			_, _, caption := b.titles()
			say(caption)
		}
	}
	say(d.End)
	return list
}

func (c writerCase) expectTable(t *table) []expected {
	list := []expected{{text: t.Title}}
	for k, x := range t.Columns {
		if k == 0 || t.Columns[k-1].Group != x.Group {
			list = append(list, expected{text: x.Group, anywhere: c.byColumn})
		}
	}
	for _, x := range t.Columns {
		list = append(list, expected{text: x.Head, anywhere: c.byColumn})
	}
	for _, row := range t.Rows {
		for _, x := range row {
			if !c.byColumn {
				list = append(list, expected{text: x.Text})
			}
		}
	}
	for k := range t.Columns {
		for _, row := range t.Rows {
			if c.byColumn && k < len(row) {
				list = append(list, expected{text: row[k].Text})
			}
		}
	}
	return append(list, expected{text: t.Legend})
}

// solid leaves out white space, so that line breaks don't matter.
func solid(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return -1
		}
		return r
	}, s)
}

// longText is from where on only both ends of a text are searched for: one that
// goes over several pages has their headings in it.
const longText = 300

func (c writerCase) check(t *testing.T, s *Sheet) {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, c.write(s, &b))
	d := s.build()
	all := solid(c.read(t, b.Bytes(), d))
	rest := all
	for _, x := range c.expect(d) {
		text := x.text
		if c.says != nil {
			text = c.says(text)
		}
		text = solid(text)
		most := longText
		if x.margin {
			most = 24
		}
		for _, part := range ends(text, most) {
			if x.anywhere || c.anyOrder {
				require.True(t, strings.Contains(all, part), "%s lacks %.300q", c.name, x.text)
				continue
			}
			_, after, found := strings.Cut(rest, part)
			if !found {
				require.Fail(t, "not there, or not in its place", "%s: %.200q comes not after %.60q; next is %.200q", c.name, x.text, all[max(0, len(all)-len(rest)-60):len(all)-len(rest)], rest)
			}
			rest = after
		}
	}
}

// ends are the first and the last characters of a text longer than most.
func ends(s string, most int) []string {
	r := []rune(s)
	if len(r) <= most {
		return []string{s}
	}
	n := min(most/2, 30)
	return []string{string(r[:n]), string(r[len(r)-n:])}
}

// readPDF: pdftotext, in the order in which the file draws; the margins last.
func readPDF(t *testing.T, written []byte, d *document) string {
	pdftotext(t, written) // is there, and does not complain
	p := pageOf(d.Paper)
	strip := func(top, bottom float64) string {
		number := func(f float64) string { return fmt.Sprint(int(f)) }
		cmd := exec.Command("pdftotext", "-raw", "-enc", "UTF-8", "-x", "0", "-y", number(top), "-W", number(p.pageWidth+1), "-H", number(bottom-top), "-", "-")
		cmd.Stdin = bytes.NewReader(written)
		out, err := cmd.Output()
		require.NoError(t, err)
		return string(out)
	}
	bottom := p.pageHeight - 28
	return strip(bodyTop, bottom) + strip(0, bodyTop) + strip(bottom, p.pageHeight)
}

// printedAs is what the fonts of the PDF have of a text; one with right-to-left
// letters can't be searched for, as every reader puts these in order its own way.
func printedAs(t *testing.T) func(string) string {
	w, err := (&document{words: english(t)}).layOut(rowPad)
	require.NoError(t, err)
	return func(s string) string {
		if strings.ContainsFunc(s, rightToLeft) {
			return ""
		}
		return w.printable(s)
	}
}

func readHTML(t *testing.T, written []byte, _ *document) string {
	var b strings.Builder
	walk(parseHTML(t, string(written)), func(n *html.Node) {
		if n.Type == html.TextNode && n.Parent.Data != "style" && n.Parent.Data != "title" {
			b.WriteString(n.Data)
		}
	})
	return b.String()
}

// readXLSX: the texts of all cells and margins, by the XML parser; drawings are
// pictures there.
func readXLSX(t *testing.T, written []byte, _ *document) string {
	checkXLSX(t, written)
	var b strings.Builder
	for name, part := range partsOf(t, written) {
		if !strings.HasSuffix(name, ".xml") || strings.HasPrefix(name, "xl/theme") {
			continue
		}
		for d := xml.NewDecoder(strings.NewReader(part)); ; {
			token, err := d.Token()
			if err == io.EOF {
				break
			}
			require.NoError(t, err)
			if text, ok := token.(xml.CharData); ok {
				b.Write(text)
			}
		}
		b.WriteString("\x00")
	}
	return strings.ReplaceAll(b.String(), "_x005F_", "_")
}

// noNumbers: what LibreOffice shows of cells that hold numbers is checked
// elsewhere, digit for digit.
func noNumbers(s string) string {
	for _, style := range []Options{{}, {Decimal: "comma", Thousands: "point"}, {Decimal: "comma"}} {
		if _, ok := styleOf(style).plain(s); ok {
			return ""
		}
	}
	return s
}

var (
	textRule  = regexp.MustCompile(`^-+(  -+)+$`) // a single column needs no such care
	textFrame = regexp.MustCompile(`^([|#]) (.*) [|#]$`)
	textDots  = regexp.MustCompile(`\.{2,}|(^|\s)\.(\s|$)`)
)

// noOddCharacters refuses control characters and those that can't be seen.
func noOddCharacters(t require.TestingT, text string) {
	k := strings.IndexFunc(text, func(r rune) bool { return r != '\n' && (odd(r) || unicode.IsControl(r)) })
	if k >= 0 {
		require.Fail(t, "a control or invisible character", "%+q", text[max(0, k-40):min(len(text), k+10)])
	}
}

// readText takes frames off and reads tables down their columns, which the rules
// above and below their rows tell.
func readText(t *testing.T, written []byte, _ *document) string {
	return readTextWithin(t, written, textColumns)
}

func readTextWithin(t require.TestingT, written []byte, columns int) string {
	require.True(t, utf8.Valid(written))
	noOddCharacters(t, string(written))
	lines := strings.Split(strings.TrimSuffix(string(written), "\n"), "\n")
	var out []string
	for k := 0; k < len(lines); k++ {
		l := lines[k]
		require.LessOrEqual(t, columnsOf(l), columns, l)
		require.Equal(t, strings.TrimRight(l, " \t"), l, "blanks at the end")
		if m := textFrame.FindStringSubmatch(l); m != nil {
			out = append(out, m[2])
			continue
		}
		if !textRule.MatchString(l) || k+1 == len(lines) || lines[k+1] == "" {
			out = append(out, l)
			continue
		}
		end := k + 1
		for end < len(lines) && lines[end] != l {
			end++
		}
		require.Less(t, end, len(lines), "no rule below the table at line %d: %s", k+1, l)
		for len(out) > 0 && out[len(out)-1] != "" { // the headings
			out = out[:len(out)-1]
		}
		out = append(out, readColumns(lines, k, end)...)
		k = end
	}
	return strings.Join(out, "\n")
}

// readColumns reads a table whose rules are lines from and to: its headings
// above, then column by column.
func readColumns(lines []string, from, to int) []string {
	head := from
	for head > 0 && lines[head-1] != "" {
		head--
	}
	out := []string{textDots.ReplaceAllString(strings.Join(lines[head:from], " "), " ")}
	at := 0
	for _, stroke := range strings.Split(lines[from], "  ") {
		for _, part := range [][]string{lines[head:from], lines[from+1 : to]} {
			for _, l := range part {
				out = append(out, cut(l, at, at+len(stroke)))
			}
		}
		at += len(stroke) + textGutter
	}
	return out
}

// cut takes the columns from … to of a line.
func cut(s string, from, to int) string {
	var b strings.Builder
	at, within := 0, false
	for _, r := range s {
		n := terminalWidth.RuneWidth(r)
		if n > 0 { // a combining mark goes with the letter before
			within = at >= from && at < to
		}
		if within {
			b.WriteRune(r)
		}
		at += n
	}
	return b.String()
}

// Sheets may be written at once, also with all kinds of measurement on them.
func TestWritersAtOnce(t *testing.T) {
	for name, n := range map[string]int{"stopped": 3, "measured": 2} {
		s := cases(t)[name]
		for _, c := range writerCases(t) {
			var want bytes.Buffer
			require.NoError(t, c.write(s, &want))
			var w sync.WaitGroup
			for range n {
				w.Go(func() {
					var got bytes.Buffer
					assert.NoError(t, c.write(s, &got))
					assert.True(t, bytes.Equal(want.Bytes(), got.Bytes()), "%s of %s", c.name, name)
				})
			}
			w.Wait()
		}
	}
}
