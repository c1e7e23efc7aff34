package sheet

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func textOf(t testing.TB, s *Sheet) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, s.Text(&b))
	return b.String()
}

// Widths as terminals draw them (UAX 11): letters of one column, wide ones of
// two, combining marks of none.
func TestColumnsOf(t *testing.T) {
	for s, want := range map[string]int{"Ω µ ±": 5, "■▲": 2, "漢字": 4, "e\u0301": 1, "שלום": 4, "1\u202f000": 5, "🙂": 2} {
		assert.Equal(t, want, columnsOf(s), "%q", s)
	}
}

// Any table at any width: no line is too wide, and every cell stands in its
// column, in order.
func TestTextTables(t *testing.T) {
	words := english(t)
	texts := rapid.SliceOfN(rapid.StringMatching(`[a-zé漢]{1,12}|[0-9]{1,9}\.[0-9]{1,6}|-|=|\|`), 0, 8)
	rapid.Check(t, func(t *rapid.T) {
		columns := rapid.IntRange(24, 120).Draw(t, "columns")
		x := &table{Title: "T"}
		for range rapid.IntRange(2, 9).Draw(t, "heads") {
			x.Columns = append(x.Columns, column{rapid.SampledFrom([]string{"", "As found", "As left, a long name of a group"}).Draw(t, "group"),
				strings.Join(texts.Draw(t, "head"), " "), rapid.SampledFrom([]align{left, right, point}).Draw(t, "align")})
		}
		for range rapid.IntRange(1, 5).Draw(t, "rows") {
			row := make([]cell, len(x.Columns))
			for k := range row {
				row[k] = cell{strings.Join(texts.Draw(t, "cell"), " "), rapid.SampledFrom([]mark{plain, plain, failed, notJudged}).Draw(t, "mark")}
			}
			row[0].Text = "p" + row[0].Text // as a first column is: never empty
			x.Rows = append(x.Rows, row)
		}
		d := &document{words: words, Title: "Title", End: "End", Blocks: []block{x}}
		var b bytes.Buffer
		require.NoError(t, d.text(&b, columns))
		rest := solid(readTextWithin(t, b.Bytes(), columns))
		for k := range x.Columns {
			for _, row := range x.Rows {
				_, after, found := strings.Cut(rest, solid(row[k].Text))
				require.True(t, found, "%q of column %d is not in its place:\n%s", row[k].Text, k, b.String())
				rest = after
			}
		}
	})
}

// Narrow and wide text says all that the usual one does.
func TestTextColumns(t *testing.T) {
	for _, n := range []int{LeastColumns, 72, 180} {
		s, err := cases(t)["measured"].Columns(n)
		require.NoError(t, err)
		c := writerCase{name: "text", write: (*Sheet).Text, byColumn: true, chart: textDrawn, read: func(t *testing.T, written []byte, _ *document) string {
			return readTextWithin(t, written, n)
		}}
		c.check(t, s)
	}
	for _, n := range []int{0, LeastColumns - 1, MostColumns + 1} {
		_, err := cases(t)["dead"].Columns(n)
		require.ErrorContains(t, err, "expected 40 to 1000")
	}
}

// A drawing of characters shows where each kind of point lies.
func TestTextChart(t *testing.T) {
	c := &chart{words: english(t), X: "Frequency", Caption: "Caption.", From: 1e3, To: 1e9, NoValue: "no count", NotJudged: "not judged", Outside: "outside", Bands: []band{{Name: "limit", Points: []xy{{1e3, 2}, {1e9, 2}}}},
		Gaps: []gap{{From: 5e8, To: 1e9, Label: "not shown: no source"}}}
	c.Series = []series{{Name: "As found", Points: []dot{
		{X: 1e3, Y: 0.1, Limit: 2, Valued: true}, {X: 1e4, Y: 2, Limit: 2, U: 0.5, Valued: true}, {X: 1e5, Y: -50, Limit: 2, Valued: true, Mark: failed},
		{X: 1e6, Mark: failed}, {X: 1e7, Mark: notJudged}, {X: 1e8, Y: 1, Valued: true},
	}}, {Name: "As left", Marker: 2, Points: []dot{{X: 1e4, Y: -1, Limit: 2, Valued: true}}}}
	var b bytes.Buffer
	require.NoError(t, (&document{words: english(t), Blocks: []block{c}}).text(&b, 60))
	_, after, _ := strings.Cut(b.String(), "Error in units of the limit\n")
	want := strings.TrimPrefix(`
            |                                           ///
            |        |                                  ///
         +1 |--------o----------------------------------///-
            |        |                                  ///
            |                                           ///
            |                                           ///
          0 |.o.........................................///.
            |                                           ///
            |        *                                  ///
            |                                           ///
         −1 |-------------------------------------------///-
            |                                           ///
            |                v      x      ?            ///
            +-+------+-------+------+------+-------+------+-
             1 kHz        100 kHz 1 MHz 10 MHz         1 GHz
             Frequency
vo 100 kHz: −50.0 ppm
/ 500 MHz … 1 GHz: not shown: no source
Caption.
`, "\n")
	assert.Equal(t, want, strings.SplitAfter(after, "Caption.\n")[0])
}
