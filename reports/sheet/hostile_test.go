package sheet

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// awkward texts that a record may hold.
var awkward = []string{
	"",
	" ",
	"<script>alert('x')</script><b>&amp;",
	"bell \a, escape \x1b[31m, nul \x00, feed \f, delete \x7f, C1 \u0085",
	"bytes \xff\xfe\x80",
	"override \u202egnp.exe\u202c mark \u200f join \u200d",
	"שלום, מס׳ 42 (ABC) עולם",
	"عميل رقم ١٢",
	"漢字 and 🙂",
	"combining e\u0301 a\u030a",
	"=1+2", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "＝1+2", "'=x",
	"line one\nline two\r\nline three",
	"page {nb} (parenthesis \\ backslash) %PDF",
	strings.Repeat("unbroken", 1250),
	strings.Repeat("many words ", 910),
}

// hostile is a fixture record with awkward texts in its text fields.
func hostile(t testing.TB) record.Record { return hostileWith(t, awkward) }

// hostileWith has the texts given in its text fields.
func hostileWith(t testing.TB, awkward []string) record.Record {
	r := fixture(t, runner.AsFound)
	n := 0
	next := func() string { n++; return awkward[n%len(awkward)] }
	for _, s := range []*string{&r.Job.Customer, &r.Job.Contact, &r.Job.Asset, &r.Job.Options, &r.Job.Technician, &r.Job.Condition, &r.Job.Work, &r.Job.Remarks, &r.Job.Number,
		&r.Laboratory.Name, &r.Laboratory.Contact, &r.Laboratory.Place, &r.Maker, &r.Model, &r.Job.Serial, &r.Procedure.Name, &r.Procedure.Revision, &r.Bench.Name,
		&r.Run.Unit.Firmware, &r.Run.Timebase, &r.Run.Ended, &r.Run.Symptom, &r.Program.Version} {
		*s = next()
	}
	r.Laboratory.Address, r.Cautions, r.Run.Warnings = awkward, awkward, awkward
	for k := range r.Standards {
		x := &r.Standards[k]
		x.Name, x.Certificate, x.Stated, x.Serial = next(), next(), next(), next()
	}
	for k := range r.Run.Points {
		p := &r.Run.Points[k]
		p.Symptom, p.Notes, p.Setting.Locked, p.Point.Path = next(), []string{next(), next()}, next(), next()
	}
	for k := range r.Run.Inputs {
		x := &r.Run.Inputs[k]
		x.HeldCheck, x.Input.Connector, x.ReferenceCheck = next(), next(), next()
	}
	for _, s := range awkward {
		r.Run.Entries = append(r.Run.Entries, runner.Entry{Asked: s, Answer: s, Who: s})
		r.Run.Events = append(r.Run.Events, runner.Event{Text: s})
	}
	r.Run.Complete, r.Run.Statement = false, runner.NotObtainable
	return r
}

func TestHostileTexts(t *testing.T) {
	for k, text := range awkward {
		r := fixture(t, runner.AsFound)
		r.Run.Points = r.Run.Points[:1]
		r.ID, r.Maker, r.Model, r.Run.Inputs[0].Input.Name = text, text, text, text
		for i := range r.Run.Points {
			p := &r.Run.Points[i]
			p.Point.ID = text
			if p.Point.Input == "A" {
				p.Point.Input = text
			}
		}
		s := sheetOf(t, r)
		pages := pdftotext(t, pdfOf(t, s))
		assert.Less(t, len(pages), 200, "text %d", k)
		assert.Contains(t, pages[len(pages)-1], "End of data sheet", "text %d", k)
		checkCSV(t, csvOf(t, s))
	}
}

func TestHostileEverywhere(t *testing.T) {
	s := sheetOf(t, hostile(t))
	text := strings.Join(pdftotext(t, pdfOf(t, s)), "\n")
	for _, want := range []string{"<script>alert('x')</script><b>&amp;", "[U+001B][31m", "[U+0000]", "[xFF][xFE][x80]", "[U+202E]gnp.exe", "[U+6F22]", "[U+1F642]", "page {nb} (parenthesis \\ backslash) %PDF"} {
		assert.Contains(t, text, want)
	}
	checkCSV(t, csvOf(t, s))
}

// checkCSV: it reads back, has one shape, no control characters, and no cell
// that a spreadsheet would run.
func checkCSV(t *testing.T, text string) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	require.NoError(t, err)
	for _, row := range rows {
		require.Len(t, row, len(csvHead))
		for _, c := range row {
			require.False(t, runs(c), "a spreadsheet may run %q", c)
			require.False(t, strings.ContainsFunc(c, unicode.IsControl), "%q holds a control character", c)
			require.True(t, utf8.ValidString(c))
		}
	}
}

// runs tells whether a spreadsheet may take a cell for a formula.
func runs(c string) bool {
	c = strings.TrimSpace(c)
	return c != "" && strings.ContainsRune("=+-@＝＋－＠", []rune(c)[0]) && !plainNumber.MatchString(c)
}

func TestHostileNumbers(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, -1, math.MaxFloat64, math.SmallestNonzeroFloat64} {
		r := fixture(t, runner.AsFound)
		for k := range r.Run.Points {
			p := &r.Run.Points[k]
			p.Counted, p.ErrorPPM, p.LimitPPM, p.TUR, p.TURWithUnit, p.Conformity = 3, x, x, &x, &x, &x
			p.Reported.Expanded, p.Decision.Expanded, p.Reported.CoverageFactor = x, x, x
			p.Limit.Total, p.Error, p.Limit.Resolution = quantity.ExactFloat(x), quantity.ExactFloat(-x), quantity.ExactFloat(x)
			if k%2 == 0 {
				p.Reference, p.Point.Frequency = quantity.ExactFloat(x), quantity.Frequency{}
			}
		}
		for k := range r.Run.Inputs {
			r.Run.Inputs[k].Coverage.Share = x
			r.Run.Inputs[k].Input.Range = [2]quantity.Frequency{}
		}
		s := sheetOf(t, r)
		pdfOf(t, s)
		checkCSV(t, csvOf(t, s))
		textOf(t, s)
		page := htmlOf(t, s)
		parseHTML(t, page)
		require.NotRegexp(t, ` d="[^"]*(NaN|Inf)`, page, "a drawing has coordinates that are no numbers")
	}
}

// A sweep of many points breaks into pages, each with its headings.
func TestManyPoints(t *testing.T) {
	r := fixture(t, runner.AsFound)
	for len(r.Run.Points) < 800 {
		r.Run.Points = append(r.Run.Points, r.Run.Points[:40]...)
	}
	pages := pdftotext(t, pdfOf(t, sheetOf(t, r)))
	require.Greater(t, len(pages), 25)
	for k, page := range pages {
		if strings.Contains(page, "(continued)") && strings.Contains(page, "Points of input") {
			assert.Contains(t, page, "Mean reading", "page %d", k+1)
		}
	}
}

func TestCSVText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.OneOf(rapid.String(), rapid.StringMatching(`[ =+\-@'|0-9.e]{0,6}`)).Draw(t, "text")
		got := csvText(s)
		if runs(got) {
			t.Fatalf("csvText(%q) = %q, which a spreadsheet may run", s, got)
		}
		if back := strings.TrimPrefix(got, "'"); back != oneLine(s) && got != oneLine(s) {
			t.Fatalf("csvText(%q) = %q; without the guard that is %q, want %q", s, got, back, oneLine(s))
		}
	})
}

func TestClean(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"))
		got := clean(s)
		if !utf8.ValidString(got) || strings.ContainsFunc(got, odd) {
			t.Fatalf("clean(%q) = %q", s, got)
		}
		if clean(got) != got {
			t.Fatalf("clean(%q) = %q, cleaned again %q", s, got, clean(got))
		}
	})
}

// FuzzRecord: any record that can be read can be laid out, or is refused.
func FuzzRecord(f *testing.F) {
	p := runner.PointResult{Readings: []runner.Reading{{Use: runner.Counted, Reading: drivers.Reading{Text: "1"}}}}
	p.Counted = 1
	text, err := json.Marshal(record.Record{Run: runner.Result{Kind: runner.AsFound, Points: []runner.PointResult{p}}})
	require.NoError(f, err)
	f.Add(text)
	f.Add([]byte(`{"run":{"kind":"as-left","points":[{"counted":3,"error_hz":"1/3","reference_hz":"0","limit":{"limit_hz":"-1"},"reported_uncertainty":{"expanded_uncertainty_hz":1e-300}}]}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		var r record.Record
		if len(text) > 20000 || json.Unmarshal(text, &r) != nil {
			return
		}
		s, err := New(r)
		if err != nil {
			return
		}
		pdfOf(t, s)
		htmlOf(t, s)
		textOf(t, s)
		rows, err := csv.NewReader(strings.NewReader(csvOf(t, s))).ReadAll()
		require.NoError(t, err)
		require.Len(t, rows, len(r.Run.Points)+1)
	})
}
