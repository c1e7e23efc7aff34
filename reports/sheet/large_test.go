package sheet

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// many makes n points of those of a fixture: at each input as many as its share,
// with ids of their own, at rising frequencies a tenth of a hertz apart.
func many(points []runner.PointResult, n int) []runner.PointResult {
	list := make([]runner.PointResult, 0, n)
	for k, p := range points {
		for i := range (n + len(points) - 1 - k) / len(points) {
			x := p
			x.Point.ID = fmt.Sprintf("%s-%03d%04d", p.Point.Input, k, i)
			x.Point.Frequency = p.Point.Frequency.Add(quantity.Of[quantity.Hertz](int64(i), -1))
			list = append(list, x)
		}
	}
	return list
}

func TestMany(t *testing.T) {
	points := fixture(t, runner.AsFound).Run.Points
	for _, n := range []int{1, 40, 60, 1000} {
		list := many(points, n)
		require.Len(t, list, n)
		ids := map[string]bool{}
		for _, p := range list {
			ids[p.Point.ID] = true
		}
		require.Len(t, ids, n)
	}
}

// longSheet is how long the long data sheets are; "make soak" takes 20,000.
var longSheet = flag.Int("points", 3_000, "points of the long data sheets")

// large is a run of very many points, with µ and Ω among its texts.
// longest is longSheet, a fifth of it with -short.
func longest() int {
	if testing.Short() {
		return *longSheet / 5
	}
	return *longSheet
}

func large(t *testing.T) record.Record {
	r := fixture(t, runner.AsFound)
	r.Run.Points = many(r.Run.Points, longest())
	r.Job.Remarks = "level drifts by 3 µV into 50 Ω, ±1 µV"
	return r
}

// A long data sheet: every page has its number and the record, every
// page of a table its headings, every point stands in it once in the table of
// points and once behind the verdicts.
func TestLargePDF(t *testing.T) {
	r := large(t)
	s := sheetOf(t, r)
	pdf := pdfOf(t, s)
	pages := pdftotext(t, pdf)
	require.Greater(t, len(pages), longest()/40)
	id := regexp.MustCompile(`^ *([ABC]-[0-9]{7}) +[^a-z ]`) // not "A-0000001 to …" in a note
	behind := false
	seen := map[bool]map[string]string{false: {}, true: {}}
	for k, page := range pages {
		require.Contains(t, page, "page "+strconv.Itoa(k+1)+" of "+s.words.whole(len(pages)))
		require.Contains(t, page, r.ID)
		require.Contains(t, page, "Invented data: virtual bench")
		for l := range strings.Lines(page) {
			behind = behind || strings.TrimSpace(l) == "Behind the verdicts"
			row := id.FindStringSubmatch(l)
			if row == nil {
				continue
			}
			require.Empty(t, seen[behind][row[1]], "%s stands twice", row[1])
			seen[behind][row[1]] = l
			require.Contains(t, page, map[bool]string{false: "Mean reading", true: "Reference value"}[behind], "page %d has points and no headings", k+1)
		}
	}
	for k := range r.Run.Points {
		p := &r.Run.Points[k]
		require.Contains(t, seen[false][p.Point.ID], p.Verdict.String(), p.Point.ID)
		require.NotEmpty(t, seen[true][p.Point.ID], p.Point.ID)
	}
	assert.Len(t, seen[false], len(r.Run.Points))
	assert.Contains(t, pages[len(pages)-1], "End of data sheet")
	all := strings.Join(pages, "\n")
	for _, want := range []string{"50 Ω", "3 µV", "±1 µV", "1 MΩ", "■ fail"} {
		assert.Contains(t, all, want)
	}
	checkPDF(t, pdf)
}

// checkPDF: its structure is whole, and its fonts are embedded and say which
// characters their glyphs are.
func checkPDF(t *testing.T, pdf []byte) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "sheet.pdf")
	require.NoError(t, os.WriteFile(file, pdf, 0o644))
	assert.Contains(t, byPeer(t, "qpdf", "qpdf", "--check", file), "No syntax or stream encoding errors found")
	fonts := strings.Split(strings.TrimSpace(byPeer(t, "poppler-utils", "pdffonts", file)), "\n")[2:]
	assert.Len(t, fonts, 2)
	for _, f := range fonts { // …, embedded, named as a subset, says its characters
		assert.Regexp(t, ` yes +(yes|no) +yes +[0-9]+ +[0-9]+$`, f)
	}
}

func TestPDFStructure(t *testing.T) {
	for name, s := range some(t) {
		t.Run(name, func(t *testing.T) { checkPDF(t, pdfOf(t, s)) })
	}
	t.Run("hostile", func(t *testing.T) { checkPDF(t, pdfOf(t, sheetOf(t, hostile(t)))) })
}

// The other writers lose no point of very many either.
func TestLargeOthers(t *testing.T) {
	r := large(t)
	s := sheetOf(t, r)
	var want []string
	for _, p := range r.Run.Points {
		want = append(want, p.Point.ID)
	}
	byColumn := func(rows [][]string) (ids []string) {
		for _, row := range rows[1:] {
			ids = append(ids, row[csvAt("point")])
		}
		return ids
	}
	assert.Equal(t, want, byColumn(strict(t, csvOf(t, s))))
	slices.Sort(want)
	found := map[string][]string{}
	for name, w := range worksheets(t, xlsxOf(t, s)) {
		for _, row := range w.Rows {
			if c := row.Cells[:min(1, len(row.Cells))]; len(c) == 1 && regexp.MustCompile(`^[ABC]-[0-9]{7}$`).MatchString(c[0].Text) {
				found[name] = append(found[name], c[0].Text)
			}
		}
	}
	require.Len(t, found, 4, "three tables of points and one behind the verdicts")
	var all []string
	for _, ids := range found {
		all = append(all, ids...)
	}
	slices.Sort(all)
	assert.Equal(t, slices.Compact(slices.Clone(all)), want)
	assert.Len(t, all, 2*len(want))
	for name, text := range map[string]string{"HTML": htmlOf(t, s), "text": textOf(t, s)} {
		ids := regexp.MustCompile(`\b[ABC]-[0-9]{7}\b`).FindAllString(text, -1)
		assert.GreaterOrEqual(t, len(ids), 2*len(want), name)
		slices.Sort(ids)
		assert.Equal(t, want, slices.Compact(ids), name)
	}
}
