package sheet

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"bandproof/drivers/drivertest/peer"
	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// byPeer runs a program of others.
func byPeer(t *testing.T, pack, name string, args ...string) string {
	t.Helper()
	var complaint strings.Builder
	cmd := exec.Command(peer.Program(t, name, pack, "no other program has read the data sheet"), args...)
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	require.NoError(t, err, "%s: %s", name, complaint.String())
	return string(out)
}

// office converts a workbook with LibreOffice, which has a profile of its own.
func office(t *testing.T, book []byte, to string) (folder string) {
	t.Helper()
	folder = t.TempDir()
	file := filepath.Join(folder, "book.xlsx")
	require.NoError(t, os.WriteFile(file, book, 0o644))
	t.Setenv("LC_ALL", "C.UTF-8")
	byPeer(t, "libreoffice-calc-nogui", "soffice", "--headless", "--norestore", "-env:UserInstallation=file://"+filepath.Join(folder, "profile"), "--convert-to", to, "--outdir", folder, file)
	return folder
}

// asCSV exports every worksheet as LibreOffice shows it: fields parted by
// commas, UTF-8, as shown (-1: all worksheets).
const asCSV = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,true,false,false,-1"

// shown are the rows of all worksheets as LibreOffice shows them, without empty
// cells; numbers plain.
func shown(t *testing.T, book []byte, own numberStyle) map[string][]string {
	t.Helper()
	folder := office(t, book, asCSV)
	files, err := filepath.Glob(filepath.Join(folder, "*.csv"))
	require.NoError(t, err)
	rows := map[string][]string{}
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		r := csv.NewReader(strings.NewReader(string(text)))
		r.FieldsPerRecord = -1
		list, err := r.ReadAll()
		require.NoError(t, err, file)
		for _, row := range list {
			var cells []string
			for _, c := range row {
				for _, style := range []numberStyle{{".", ","}, own} { // of LibreOffice; of numbers kept as text
					if n, ok := style.plain(c); ok && !strings.Contains(n, "e") {
						c = n
						break
					}
				}
				if c != "" {
					cells = append(cells, c)
				}
			}
			rows[strings.Join(cells, "\x00")] = cells
		}
	}
	return rows
}

// LibreOffice shows every row of every table of the sheet as the layout model has
// it, numbers digit for digit.
func TestLibreOfficeShowsWhatTheSheetSays(t *testing.T) {
	wide := fixture(t, runner.AsLeft) // more digits than a double holds
	wide.ID += " =1+1 <b>&amp; _x0041_ 'q'"
	p := &wide.Run.Points[39]
	for k := range p.Readings {
		p.Readings[k].Reading.Frequency = p.Readings[k].Reading.Frequency.Add(quantity.MustParse[quantity.Hertz]("0.000123456 Hz"))
	}
	german, err := cases(t)["two runs"].With(Options{Language: "de"})
	require.NoError(t, err)
	books := map[string]*Sheet{"two runs": cases(t)["two runs"], "measured": cases(t)["measured"], "wide": sheetOf(t, wide), "german": german}
	if testing.Short() {
		books = map[string]*Sheet{"wide": books["wide"]}
	}
	for name, s := range books {
		t.Run(name, func(t *testing.T) {
			d := s.build()
			rows := shown(t, xlsxOf(t, s), d.style)
			tables, cells := 0, 0
			for _, b := range d.Blocks {
				x, ok := b.(*table)
				if !ok {
					continue
				}
				tables++
				for _, r := range x.Rows {
					var want []string
					for k, c := range r {
						text := c.Text
						if n, ok := d.style.plain(text); ok && x.Columns[k].Align != left {
							text = n
						}
						if text != "" {
							want = append(want, text)
						}
					}
					cells += len(want)
					_, found := rows[strings.Join(want, "\x00")]
					require.True(t, found, "table %q lacks the row %q", x.Title, want)
				}
			}
			require.Greater(t, tables, 5)
			require.Greater(t, cells, 300)
		})
	}
}

// LibreOffice prints the workbook landscape, each page with its number, the
// records and that the data is invented; the headings of a long table again on
// each of its pages.
func TestLibreOfficePrintsWorkbook(t *testing.T) {
	r := fixture(t, runner.AsFound)
	r.Run.Points = many(r.Run.Points, 300)
	s, err := sheetOf(t, r).With(Options{Paper: "Letter"})
	require.NoError(t, err)
	folder := office(t, xlsxOf(t, s), "pdf")
	pdf, err := os.ReadFile(filepath.Join(folder, "book.pdf"))
	require.NoError(t, err)
	pages := pdftotext(t, pdf)
	require.Greater(t, len(pages), 10)
	heads := 0
	for k, page := range pages {
		squeezed := strings.Join(strings.Fields(page), " ")
		assert.Regexp(t, `page `+strconv.Itoa(k+1)+` of `+strconv.Itoa(len(pages)), squeezed)
		assert.Contains(t, page, r.ID)
		assert.Contains(t, page, "Invented data: virtual bench")
		assert.Greater(t, strings.Count(page, "\n"), 8, "page %d holds nothing: something is wider than the paper", k+1)
		if regexp.MustCompile(`(?m)^ *B-[0-9]+ .*(pass|fail|not judged)`).MatchString(page) && strings.Contains(page, "Mean reading") {
			heads++
		}
	}
	assert.GreaterOrEqual(t, heads, 2, "the points of input B stand on several pages, each with the headings")
	assert.Contains(t, pages[len(pages)-1], "End of data sheet")
	assert.Contains(t, byPeer(t, "poppler-utils", "pdfinfo", filepath.Join(folder, "book.pdf")), "(letter)")
}

// readBook is what testdata/workbook.py prints.
type readBook struct {
	Title, Creator, Created, Modified string
	Sheets                            []struct {
		Name, Frozen, Titles, Filter string
		Paper, Pictures, Scale       int
		Landscape, Wide              bool
		Head, Foot                   []string
		Cells                        [][6]any // row, column, type, value, format, bold
	}
}

// An independent reader finds texts as texts, numbers as numbers with their
// format, and how worksheets are set up.
func TestOpenpyxlReadsWorkbook(t *testing.T) {
	r := fixture(t, runner.AsFound)
	r.Laboratory.Name = "=cmd|' /C calc'!A0"
	r.Job.Customer = "@SUM(1+1)"
	r.Job.Contact = "+1-555-0100 \x1b\x00"
	s, err := sheetOf(t, r).With(Options{Paper: "Letter"})
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "book.xlsx")
	require.NoError(t, os.WriteFile(file, xlsxOf(t, s), 0o644))
	var got readBook
	require.NoError(t, json.Unmarshal([]byte(byPeer(t, "python3-openpyxl", "/usr/bin/python3", "testdata/workbook.py", file)), &got))
	assert.Equal(t, []string{"Calibration data sheet", r.Laboratory.Name, "2026-11-24T09:04:21", "2026-11-24T09:04:21"}, []string{got.Title, got.Creator, got.Created, got.Modified})
	var names, texts []string
	numbers := map[string]string{}
	for _, x := range got.Sheets {
		names = append(names, x.Name)
		assert.True(t, x.Landscape && x.Paper == 1, x.Name)
		assert.Equal(t, "page &P of &N\nbandproof 0.0.0-test", x.Head[2])
		assert.Contains(t, x.Head[0], r.ID)
		assert.Equal(t, strings.HasPrefix(x.Name, "Points ") || strings.HasPrefix(x.Name, "Evidence"), x.Wide && x.Scale == 100 && x.Frozen == "B4" && x.Titles == "$1:$3" && x.Filter != "", x.Name)
		assert.True(t, x.Wide || x.Scale == 95 && x.Frozen == "", x.Name)
		assert.Equal(t, map[bool]int{true: 1}[strings.HasPrefix(x.Name, "Input ")], x.Pictures, x.Name)
		for _, c := range x.Cells {
			switch c[2] {
			case "s":
				texts = append(texts, c[3].(string))
			case "n":
				numbers[c[3].(string)] = c[4].(string)
			default:
				t.Fatalf("%s: cell %v", x.Name, c)
			}
		}
	}
	assert.Equal(t, []string{"Calibration data sheet", "Input A", "Points A", "Input B", "Points B", "Input C", "Points C", "Behind the verdicts", "Evidence, as found", "Entries, events and cautions"}, names)
	for _, want := range []string{"■", "▲", "?", "fail: no count"} {
		assert.Contains(t, texts, want)
	}
	all := strings.Join(texts, "\n")
	for _, want := range []string{"=cmd|' /C calc'!A0", "@SUM(1+1)", "+1-555-0100 [U+001B][U+0000]"} {
		assert.Contains(t, all, want)
	}
	assert.Equal(t, "#,##0", numbers["18000000000"])
	assert.Equal(t, "#,##0.000", numbers["100000076.14"])
	assert.Equal(t, "#,##0", numbers["-226499904"])
	assert.True(t, slices.Contains(texts, "pass"))
}
