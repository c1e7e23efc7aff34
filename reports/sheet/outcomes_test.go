package sheet

import (
	"encoding/csv"
	"math"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"
	"bandproof/runner"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The first page says what failed among the other measurements as it does of
// points, and every finding and drawing stands in the PDF.
func TestPDFShowsFindings(t *testing.T) {
	s := sheetOf(t, withOutcomes(t, runner.AsFound), withOutcomes(t, runner.AsLeft))
	pages := pdftotext(t, pdfOf(t, s))
	squeeze := func(s string) string { return strings.Join(strings.Fields(s), " ") }
	for _, want := range []string{
		"Other measurements: 12 tasks planned, with 7 pass, 1 conditional pass, 1 conditional fail, 4 fail, 2 not judged, 8 reported without a limit.",
		"Input B, sensitivity B: least level that counts: fail: outside the limit at 1.4 GHz, found −16.70 dBm, limit ≤ −20.00 dBm.",
		"Input B, upper edge of B: highest frequency that counts: fail: outside the limit, found 1 274 000 000 Hz, limit ≥ 1 600 000 000 Hz, counts up to 1.274 GHz",
		"Unit, front panel: Do all segments of the display light up?: fail, segment d of digit 3 stays dark.",
		"Unit, timebase over a day: offset after warm-up: fail: outside the limit, found 210.000 1e−9, limit ± 100.000 1e−9.",
	} {
		assert.Contains(t, squeeze(pages[0]), want)
	}
	all := squeeze(strings.Join(pages, "\n"))
	for _, r := range s.runs {
		for _, o := range r.Run.Outcomes {
			for _, x := range o.Rows {
				assert.Contains(t, all, x.What)
				assert.Contains(t, all, x.Says)
			}
			for _, p := range o.Shots {
				assert.Contains(t, all, p.Point.ID)
			}
			for _, c := range o.Curves {
				for _, text := range []string{c.Title + ", " + strings.ToLower(r.label), c.X.Name, c.Lines[0].Name} {
					assert.Contains(t, all, text)
				}
			}
			for _, n := range o.Notes {
				assert.Contains(t, all, n)
			}
		}
	}
	assert.Contains(t, all, "Outside the drawing: limit at 100e−9.")
	assert.Contains(t, all, "mismatch 0.15", "the parts of an uncertainty")
}

// A row of the other run is matched also where it could not be judged there; one
// that a run lacks is not taken.
func TestFindingsStandSideBySide(t *testing.T) {
	s := sheetOf(t, withOutcomes(t, runner.AsFound), withOutcomes(t, runner.AsLeft))
	list := findingLines("B", "sensitivity B", s.runs)
	require.Len(t, list, 16)
	assert.Equal(t, decision.NotJudged, list[7].of[0].Verdict.Word)
	assert.Equal(t, decision.Pass, list[7].of[1].Verdict.Word)
	assert.Equal(t, "dBm", list[7].row.Unit)
	assert.Nil(t, list[15].of[0])
	rows := english(t).findingTable(s.runs, list).Rows
	assert.Equal(t, "not taken", rows[15][9].Text)
	assert.Equal(t, []string{"▲", "−19.84", "≤ −20.00", "0.73", "−0.16", "0.73"}, cellTexts(rows[5][3:9]))
}

func cellTexts(row []cell) (list []string) {
	for _, c := range row {
		list = append(list, c.Text)
	}
	return list
}

func TestShowRow(t *testing.T) {
	value := func(s string) *quantity.Exact {
		x := exact(t, s)
		return &x
	}
	for _, c := range []struct {
		name, unit, found, limit string
		side                     runner.Side
		u                        float64
		want                     shownRow
		wantUnit                 string
	}{
		{"level", "dBm", "-31.244", "-25", runner.AtMost, 0.734, shownRow{"−31.24", "≤ −25.00", "0.73", "6.24", "0"}, "dBm"},
		{"just beyond", "dBm", "-24.9996", "-25", runner.AtMost, 0.7, shownRow{"−24.9996", "≤ −25.0000", "0.70", "−0.0004", "0"}, "dBm"},
		{"on the limit", "dBm", "-25", "-25", runner.AtMost, 0.7, shownRow{"−25.00", "≤ −25.00", "0.70", "0.00", "0"}, "dBm"},
		{"frequency", "Hz", "1274000000", "1600000000", runner.AtLeast, 1e6, shownRow{"1\u202f274\u202f000\u202f000", "≥ 1\u202f600\u202f000\u202f000", "1\u202f000\u202f000", "−326\u202f000\u202f000", "0"}, "Hz"},
		{"fraction", "1", "-0.00000000012345", "0.0000000009", runner.Within, 2e-12, shownRow{"−123.4", "± 900.0", "2.0", "776.6", "0"}, "1e−12"},
		{"ageing", "1/d", "0.0000000021", "0.000000005", runner.Within, 0, shownRow{"2.1", "± 5.0", none, "2.9", "0"}, "1e−9/d"},
		{"third", "s", "1/3", "1", runner.AtMost, 0, shownRow{"0.333\u202f333", "≤ 1.000\u202f000", none, "0.666\u202f667", "0"}, "s"},
		{"no limit", "dB", "0.25", "", "", 0, shownRow{"0.25", none, none, none, none}, "dB"},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := runner.Row{Unit: c.unit, Found: value(c.found), Side: c.side}
			if c.limit != "" {
				x.Limit = value(c.limit)
			}
			if c.u > 0 {
				x.Uncertainty = &uncertainty.Result{Expanded: c.u, CoverageFactor: 2}
			}
			x.Judge(decision.Rule{Name: decision.Simple})
			l := findingLine{row: x, of: []*runner.Row{&x}}
			assert.Equal(t, c.wantUnit, unitText(c.unit, l.power()))
			assert.Equal(t, c.want, english(t).showRow(x, l.power()))
		})
	}
}

// What is printed lies on the side of its printed limit on which it lies.
func TestShowRowKeepsTheSide(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		number := func(label string) *quantity.Exact {
			x := quantity.ExactDecimal(float64(rapid.Int64Range(-1e9, 1e9).Draw(r, label)) / 1e6)
			return &x
		}
		x := runner.Row{Found: number("found"), Limit: number("limit"), Side: rapid.SampledFrom([]runner.Side{runner.AtMost, runner.AtLeast, runner.Within}).Draw(r, "side"),
			Uncertainty: &uncertainty.Result{Expanded: rapid.Float64Range(0, 100).Draw(r, "U")}}
		if rapid.Bool().Draw(r, "close") {
			near := x.Limit.Add(quantity.ExactDecimal(float64(rapid.IntRange(-3, 3).Draw(r, "step")) / 1e6))
			x.Found = &near
		}
		x.Judge(decision.Rule{Name: decision.Simple})
		s := english(t).showRow(x, 0)
		plain := func(s string) quantity.Exact {
			return parse(strings.NewReplacer("\u202f", "", "\u2212", "-", "≤ ", "", "≥ ", "", "± ", "").Replace(s))
		}
		y := runner.Row{Side: x.Side}
		found, limit := plain(s.Found), plain(s.Limit)
		y.Found, y.Limit = &found, &limit
		y.Judge(decision.Rule{Name: decision.Simple})
		if (y.Margin.Sign() < 0) != (x.Margin.Sign() < 0) || (plain(s.Margin).Sign() < 0) != (x.Margin.Sign() < 0) {
			r.Fatalf("found %s, limit %s, margin %s are printed as %+v", x.Found, x.Limit, x.Margin, s)
		}
	})
}

// Rows of all types of one CSV: findings, settings and values of curves follow
// the points, and say which they are.
func TestCSVHoldsOutcomes(t *testing.T) {
	record := withOutcomes(t, runner.AsFound)
	text := csvOf(t, sheetOf(t, record))
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	require.NoError(t, err)
	n := map[string]int{}
	for _, row := range rows[1:] {
		n[row[csvAt("record_type")]]++
	}
	assert.Equal(t, map[string]int{"point": 40, "finding": 23, "setting": 28, "curve": 216}, n)
	for _, row := range rows {
		if row[csvAt("task")] == "B-edge-001" {
			assert.Equal(t, []string{"B", "fail", "error outside the limit", "upper edge of B", "highest frequency that counts", "Hz", "1274000000", "1600000000", "at least", "-326000000"},
				[]string{row[csvAt("input")], row[csvAt("verdict")], row[csvAt("reason")], row[csvAt("measurement")], row[csvAt("what")], row[csvAt("unit")], row[csvAt("found")], row[csvAt("limit")], row[csvAt("side")], row[csvAt("margin")]})
		}
		if row[csvAt("point")] == "B-sensitivity-001.1" {
			assert.Equal(t, "40000000;40000000;40000000", row[csvAt("readings")])
		}
	}
}

// Curves of any shape are drawn or said to be too short, and never stop the
// writer.
func TestAnyCurveIsDrawn(t *testing.T) {
	values := rapid.OneOf(rapid.SampledFrom([]float64{0, -1, 1, math.NaN(), math.Inf(1), math.Inf(-1), 1e308, -1e308, 5e-324, 1e-300}), rapid.Float64())
	rapid.Check(t, func(r *rapid.T) {
		c := runner.Curve{Title: "any", X: runner.Axis{Name: "x", Unit: "s", Log: rapid.Bool().Draw(r, "log x")}, Y: runner.Axis{Name: "y", Unit: "1", Log: rapid.Bool().Draw(r, "log y")}}
		for range rapid.IntRange(0, 3).Draw(r, "lines") {
			l := runner.CurveLine{Name: "l", Fit: rapid.Bool().Draw(r, "fit")}
			l.X, l.Y, l.U = rapid.SliceOfN(values, 0, 70).Draw(r, "x"), rapid.SliceOfN(values, 0, 70).Draw(r, "y"), rapid.SliceOfN(values, 0, 70).Draw(r, "u")
			c.Lines = append(c.Lines, l)
		}
		if rapid.Bool().Draw(r, "level") {
			c.Marks = []runner.CurveLevel{{Name: "limit", Y: values.Draw(r, "level at")}}
		}
		d := &document{words: english(t), Title: "T", End: "E"}
		if g := english(t).curveGraph(c); g != nil {
			d.Blocks = []block{g}
		}
		require.NoError(r, d.pdf(discard{}))
	})
}

type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }

// Awkward texts and numbers in outcomes neither stop a writer nor get lost.
func TestHostileOutcomes(t *testing.T) {
	r := withOutcomes(t, runner.AsFound)
	n := 0
	next := func() string { n++; return awkward[n%len(awkward)] }
	for k := range r.Run.Outcomes {
		o := &r.Run.Outcomes[k]
		o.Task.Measure, o.Task.Kind, o.Task.ID, o.Notes = next(), next(), next(), []string{next()}
		for i := range o.Rows {
			x := &o.Rows[i]
			x.What, x.Says, x.Unit = next(), next(), next()
		}
		for i := range o.Curves {
			c := &o.Curves[i]
			c.Title, c.X.Name, c.Y.Name, c.X.Unit, c.Y.Unit, c.Lines[0].Name = next(), next(), next(), next(), next(), next()
		}
	}
	r.Run.Outcomes = append(r.Run.Outcomes, runner.Outcome{}, runner.Outcome{Task: procedures.Task{Input: "none such"}, Rows: []runner.Row{{}}, Curves: []runner.Curve{{}}})
	s := sheetOf(t, r)
	pages := pdftotext(t, pdfOf(t, s))
	assert.Contains(t, pages[len(pages)-1], "End of data sheet")
	assert.Contains(t, strings.Join(pages, "\n"), "[U+202E]gnp.exe")
	checkCSV(t, csvOf(t, s))
}

// What limits trust in a run as a whole stands on the first page: that it was
// interrupted, took named points only, and found nobody.
func TestCourseOfARun(t *testing.T) {
	pages := pdftotext(t, pdfOf(t, sheetOf(t, coursed(t))))
	squeeze := func(s string) string { return strings.Join(strings.Fields(s), " ") }
	for _, want := range []string{
		"Added run of single points and measurements: only A-001",
		"Interrupted and resumed, in 2 sessions: 2026-11-26 07:30 UTC to 2026-11-26 09:03 UTC, cut off; 2026-11-26 16:03 UTC to 2026-11-26 16:",
		"Nobody was at the bench when it was needed: 14 points not judged for that.",
	} {
		assert.Contains(t, squeeze(pages[0]), want)
	}
	all := squeeze(strings.Join(pages, "\n"))
	for _, want := range []string{"Warm-up, as left", "steady after 90 min on: drift 0.034 ppm", "Warm-up: relative error of the readings of 1 GHz at input B, as left", "Warm-up: drift over the last 20 min, as left", "largest drift"} {
		assert.Contains(t, all, want)
	}
	assert.Contains(t, csvOf(t, sheetOf(t, coursed(t))), `"warm-up, counted reading"`)
	assert.NotContains(t, squeeze(strings.Join(pdftotext(t, pdfOf(t, sheetOf(t, fixture(t, runner.AsLeft)))), "\n")), "nterrupted and resumed")
}
