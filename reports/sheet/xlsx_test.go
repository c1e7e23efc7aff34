package sheet

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"

	"bandproof/runner"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func xlsxOf(t testing.TB, s *Sheet) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, s.XLSX(&b))
	return b.Bytes()
}

// partsOf unpacks a workbook.
func partsOf(t testing.TB, book []byte) map[string]string {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
	require.NoError(t, err)
	list := map[string]string{}
	for _, f := range z.File {
		assert.True(t, f.Modified.IsZero() || f.Modified.Equal(time.Date(1979, 11, 30, 0, 0, 0, 0, time.UTC)), "%s has a time: %s", f.Name, f.Modified)
		r, err := f.Open()
		require.NoError(t, err)
		text, err := io.ReadAll(r)
		require.NoError(t, err)
		list[f.Name] = string(text)
	}
	return list
}

// canonical writes XML one element a line, a row of cells in one, attributes by
// name, so that a change can be read; cells without a value and the namespaces
// that the library declares on every worksheet are left out.
func canonical(t testing.TB, text string) string {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(emptyCell.ReplaceAllString(text, "")))
	inRow := false
	var b strings.Builder
	depth := 0
	for {
		token, err := d.RawToken()
		if err == io.EOF {
			require.Zero(t, depth)
			return b.String()
		}
		require.NoError(t, err)
		switch x := token.(type) {
		case xml.StartElement:
			slices.SortFunc(x.Attr, func(a, b xml.Attr) int {
				return strings.Compare(a.Name.Space+a.Name.Local, b.Name.Space+b.Name.Local)
			})
			if !inRow {
				b.WriteString("\n" + strings.Repeat(" ", depth))
			}
			inRow = inRow || x.Name.Local == "row"
			fmt.Fprintf(&b, "<%s", x.Name.Local)
			for _, a := range x.Attr {
				if a.Name.Space != "xmlns" && a.Name.Local != "xmlns" {
					fmt.Fprintf(&b, " %s=%q", a.Name.Local, a.Value)
				}
			}
			b.WriteString(">")
			depth++
		case xml.EndElement:
			depth--
			inRow = inRow && x.Name.Local != "row"
		case xml.CharData:
			if s := string(x); strings.TrimSpace(s) != "" {
				fmt.Fprintf(&b, "%q", s)
			}
		}
	}
}

var emptyCell = regexp.MustCompile(`<c r="[A-Z]+[0-9]+"( s="[0-9]+")?></c>`)

// goldenParts are the parts of a workbook that the writer has a say in, without
// pictures: what a pixel's last bit is differs between processors.
func goldenParts(t testing.TB, book []byte) string {
	t.Helper()
	list := partsOf(t, book)
	var names []string
	for name := range list {
		names = append(names, name)
	}
	slices.Sort(names)
	var b strings.Builder
	for _, name := range names {
		switch {
		case strings.HasPrefix(name, "xl/theme"):
		case path.Ext(name) == ".png":
			assert.True(t, strings.HasPrefix(list[name], "\x89PNG\r\n\x1a\n"), name)
			fmt.Fprintf(&b, "== %s\n", name)
		default:
			fmt.Fprintf(&b, "== %s%s\n", name, canonical(t, list[name]))
		}
	}
	return b.String()
}

func TestXLSXGolden(t *testing.T) {
	for _, name := range []string{"two runs", "dead"} {
		golden(t, strings.ReplaceAll(name, " ", "-")+".xlsx.txt", goldenParts(t, xlsxOf(t, cases(t)[name])))
	}
}

// The same records give the same bytes.
func TestXLSXIsReproducible(t *testing.T) {
	books := map[string]int{"two runs": 6, "measured": 2, "three runs": 1, "empty": 3}
	if testing.Short() {
		books = map[string]int{"two runs": 1, "empty": 1}
	}
	for name, n := range books {
		s := cases(t)[name]
		first := xlsxOf(t, s)
		for range n {
			require.True(t, bytes.Equal(first, xlsxOf(t, s)), "%s: two workbooks of the same records differ", name)
		}
	}
}

func TestXLSXWriteErrors(t *testing.T) {
	require.ErrorIs(t, sheetOf(t, fixture(t, runner.AsFound)).XLSX(broken{}), errBroken)
}

// worksheet is what the file format says of one; read with encoding/xml, not
// with the library that wrote it.
type worksheet struct {
	Columns []struct {
		Min int `xml:"min,attr"`
		Max int `xml:"max,attr"`
	} `xml:"cols>col"`
	Rows []struct {
		Cells []struct {
			Ref     string  `xml:"r,attr"`
			Type    string  `xml:"t,attr"`
			Style   int     `xml:"s,attr"`
			Value   string  `xml:"v"`
			Text    string  `xml:"is>t"`
			Formula *string `xml:"f"`
		} `xml:"c"`
	} `xml:"sheetData>row"`
}

func worksheets(t testing.TB, book []byte) map[string]worksheet {
	t.Helper()
	list := map[string]worksheet{}
	for name, text := range partsOf(t, book) {
		if strings.HasPrefix(name, "xl/worksheets/sheet") {
			var w worksheet
			require.NoError(t, xml.Unmarshal([]byte(text), &w), name)
			list[name] = w
		}
	}
	return list
}

// checkXLSX: it is well-formed, holds no formula, no text of forbidden
// characters, no number that a double can't hold, and nothing of this machine.
func checkXLSX(t *testing.T, book []byte) {
	t.Helper()
	for name, text := range partsOf(t, book) {
		if path.Ext(name) != ".png" {
			canonical(t, text)
			require.False(t, strings.ContainsFunc(text, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' && r != '\r' }), "%s holds a control character", name)
		}
		require.NotContains(t, text, "/tmp/")
		require.NotContains(t, text, "/root")
	}
	for name, w := range worksheets(t, book) {
		for _, r := range w.Rows {
			for _, c := range r.Cells {
				require.Nil(t, c.Formula, "%s %s", name, c.Ref)
				switch c.Type {
				case "inlineStr":
					require.LessOrEqual(t, len(utf16.Encode([]rune(c.Text))), 32767, "%s %s", name, c.Ref) // ECMA-376 has no bound; what spreadsheets take, common practice, no source
					require.True(t, utf8.ValidString(c.Text))
				case "":
					require.Regexp(t, `^(-?[0-9]+(\.[0-9]+)?)?$`, c.Value, "%s %s", name, c.Ref)
					require.LessOrEqual(t, len(strings.TrimLeft(strings.NewReplacer(".", "", "-", "").Replace(c.Value), "0")), mostExact)
				default:
					t.Fatalf("%s %s: a cell of type %q", name, c.Ref, c.Type)
				}
			}
		}
		for k := range w.Columns[min(1, len(w.Columns)):] {
			require.Less(t, w.Columns[k].Max, w.Columns[k+1].Min, "%s: columns out of order", name)
		}
	}
}

func TestXLSXHostile(t *testing.T) {
	checkXLSX(t, xlsxOf(t, sheetOf(t, hostile(t))))
	for _, text := range append(awkward, `A/B:[?]*'`, "'", "History", "_x0041_ _x005F_", "&P of &N &&", strings.Repeat("&", 300), strings.Repeat("🙂", 400)) {
		r := fixture(t, runner.AsFound)
		r.Run.Points = r.Run.Points[:15]
		r.ID, r.Maker, r.Job.Serial, r.Laboratory.Name, r.Program.Version = text, text, text, text, text
		for k := range r.Run.Inputs {
			r.Run.Inputs[k].Input.Name = text
		}
		for k := range r.Run.Points {
			r.Run.Points[k].Point.ID, r.Run.Points[k].Point.Input = text, text
		}
		checkXLSX(t, xlsxOf(t, sheetOf(t, r)))
	}
}

// Names of worksheets are as spreadsheets want them, whatever they are asked
// for; common practice, no source.
func TestTabNames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		names, seen := tabNames{}, map[string]bool{}
		for _, wanted := range rapid.SliceOfN(rapid.OneOf(rapid.String(), rapid.StringMatching(`['A/B:\[\]?* ]{0,40}`), rapid.SampledFrom([]string{"History", "a", "A", "a (2)", ""})), 1, 30).Draw(t, "names") {
			got := names.next(wanted)
			key := strings.ToLower(got)
			switch {
			case got == "" || len(utf16.Encode([]rune(got))) > 31:
				t.Fatalf("next(%q) = %q: length", wanted, got)
			case strings.ContainsAny(got, `:\/?*[]`) || strings.HasPrefix(got, "'") || strings.HasSuffix(got, "'") || strings.ContainsFunc(got, unicode.IsControl):
				t.Fatalf("next(%q) = %q: characters", wanted, got)
			case seen[key] || key == "history":
				t.Fatalf("next(%q) = %q: taken", wanted, got)
			}
			seen[key] = true
		}
	})
	assert.Equal(t, "Points A_B_____", tabNames{}.next(`Points A/B:[?]*'`))
}

// What a cell keeps as a number is what was printed, digit for digit.
func TestNumberOf(t *testing.T) {
	english := numberStyle{".", narrow}
	for _, c := range []struct {
		style  numberStyle
		text   string
		want   string // as %.*f gives it; "" for text
		format string
	}{
		{english, "18\u202f000\u202f000\u202f000.04", "18000000000.04", "#,##0.00"},
		{english, "18\u202f000\u202f000\u202f000.0456", "18000000000.0456", "#,##0.0000"},
		{english, "18\u202f000\u202f000\u202f000.045\u202f67", "", ""}, // 16 digits
		{english, "9007199254740993", "", ""},                          // the first whole number that a double lacks
		{english, "999999999999999", "999999999999999", "0"},
		{english, "\u2212226\u202f499\u202f904", "-226499904", "#,##0"},
		{english, "0.000\u202f58", "0.00058", "#,##0.00000"},
		{english, "1000.0000", "1000.0000", "0.0000"},
		{english, "0", "0", "0"},
		{english, "-3.2", "-3.2", "0.0"},
		{english, "1e-3", "", ""}, {english, "+5", "", ""}, {english, "-0", "", ""}, {english, "=1", "", ""}, {english, "—", "", ""}, {english, "", "", ""},
		{english, "1 s", "", ""}, {english, "> 1000", "", ""}, {english, "1.2.3", "", ""}, {english, "0042", "0042", "0"}, {english, ".5", "", ""}, {english, "5.", "", ""},
		{numberStyle{",", "."}, "18.000.000.000,04", "18000000000.04", "#,##0.00"},
		{numberStyle{",", "."}, "1.2", "", ""}, {numberStyle{",", narrow}, "1.2", "", ""},
		{numberStyle{".", ""}, "18000000000.04", "18000000000.04", "0.00"},
	} {
		n, ok := c.style.numberOf(c.text)
		if c.want == "" {
			assert.False(t, ok, "%q", c.text)
			continue
		}
		require.True(t, ok, "%q", c.text)
		assert.Equal(t, strings.TrimLeft(c.want, "0"), strings.TrimLeft(strconv.FormatFloat(n.value, 'f', n.places, 64), "0"), "%q", c.text)
		assert.Equal(t, c.format, n.format(), "%q", c.text)
	}
}

// A header holds at most 255 UTF-16 units, and only the codes that were meant.
func TestMarginText(t *testing.T) {
	codes := regexp.MustCompile(`&[^&]`)
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.StringMatching(`[&LCRPN0-9"]{0,300}`))
		first, second := oneLine(text.Draw(t, "first")), oneLine(text.Draw(t, "second"))
		got := marginText(first, second, "page &P of &N")
		if n := len(utf16.Encode([]rune(got))); n > 255 {
			t.Fatalf("%d units: %q", n, got)
		}
		want := []string{"&L", "&R", "&P", "&N"}
		if list := codes.FindAllString(strings.ReplaceAll(got, "&&", ""), -1); !slices.Equal(list, want) {
			t.Fatalf("codes %q in %q", list, got)
		}
	})
}
