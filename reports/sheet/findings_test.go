package sheet

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// judged is a point of input B at so many MHz with an error in Hz and a limit
// of 100 Hz; counted 0 where err is nil.
func judged(mhz int64, v decision.Verdict, err *int64) runner.PointResult {
	var p runner.PointResult
	p.Verdict = v
	p.Point.ID, p.Point.Input = fmt.Sprintf("B-%d", mhz), "B"
	p.Point.Frequency = quantity.Of[quantity.Hertz](mhz, 6)
	p.Reference, p.Limit.Total = p.Point.Frequency.Exact(), quantity.ExactInt(100)
	if err != nil {
		p.Counted, p.Error = 1, quantity.ExactInt(*err)
		p.Mean = p.Reference.Add(p.Error)
		f := quantity.FromRat[quantity.Hertz](p.Mean.Rat(), 0)
		p.Readings = []runner.Reading{{Use: runner.Counted, Reading: drivers.Reading{Frequency: f}}}
	}
	return p
}

func TestFailures(t *testing.T) {
	noCount := decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}
	outside := decision.Verdict{Word: decision.Fail, Reason: decision.OutsideLimit}
	pass := decision.Verdict{Word: decision.Pass}
	hz := func(n int64) *int64 { return &n }
	symptom := func(p runner.PointResult, s string) runner.PointResult { p.Symptom = s; return p }
	single := judged(7, decision.Verdict{Word: decision.Fail, Reason: decision.ReadingOutside}, hz(60))
	single.Readings = append(single.Readings, runner.Reading{Use: runner.FirstLook, Reading: drivers.Reading{Frequency: quantity.Of[quantity.Hertz](7000140, 0)}},
		runner.Reading{Use: runner.Discarded, Reading: drivers.Reading{Frequency: quantity.Of[quantity.Hertz](7000900, 0)}})
	var many []runner.PointResult
	for k := int64(1); k <= 9; k++ {
		many = append(many, symptom(judged(k, noCount, nil), fmt.Sprint("kind ", k)))
	}
	for _, c := range []struct {
		name   string
		points []runner.PointResult
		want   []string
	}{
		{"nothing", []runner.PointResult{judged(1, pass, hz(1))}, nil},
		{"one point", []runner.PointResult{judged(1, noCount, nil)}, []string{"Input B: no count at 1 MHz."}},
		{"range, and points apart", []runner.PointResult{judged(9, noCount, nil), judged(1, noCount, nil), judged(2, noCount, nil), judged(3, noCount, nil), judged(5, pass, hz(0))},
			[]string{"Input B: no count at 1 MHz to 3 MHz, 9 MHz (4 points)."}},
		{"two make no range", []runner.PointResult{judged(1, noCount, nil), judged(2, noCount, nil)}, []string{"Input B: no count at 1 MHz, 2 MHz (2 points)."}},
		{"one frequency at three gates", []runner.PointResult{judged(1, noCount, nil), judged(1, noCount, nil), judged(1, noCount, nil)}, []string{"Input B: no count at 1 MHz (3 points)."}},
		{"worst by error over limit", []runner.PointResult{judged(1, outside, hz(101)), judged(2, outside, hz(-150)), judged(3, outside, hz(120))},
			[]string{"Input B: 3 points outside the limit, worst 2 MHz: −150 Hz, limit ±100 Hz."}},
		{"one outside", []runner.PointResult{judged(1, outside, hz(101))}, []string{"Input B: 1 point outside the limit, 1 MHz: 101 Hz, limit ±100 Hz."}},
		{"symptom", []runner.PointResult{symptom(judged(1, outside, hz(1000000)), "reads twice the frequency"), judged(2, outside, hz(200))},
			[]string{"Input B: reads twice the frequency at 1 MHz, error 1 000 000 Hz, limit ±100 Hz.", "Input B: 1 point outside the limit, 2 MHz: 200 Hz, limit ±100 Hz."}},
		{"a single reading", []runner.PointResult{single}, []string{"Input B: a reading outside the limit at 7 MHz, error of a reading 140 Hz, limit ±100 Hz."}},
		{"conditional after fail", []runner.PointResult{judged(1, decision.Verdict{Word: decision.ConditionalPass}, hz(99)), judged(2, noCount, nil)},
			[]string{"Input B: no count at 2 MHz.", "Input B: conditional pass at 1 MHz, error 99 Hz, limit ±100 Hz."}},
		{"many", many, []string{"Input B: no count at 1 MHz, symptom: kind 1.", "Input B: no count at 2 MHz, symptom: kind 2.", "Input B: no count at 3 MHz, symptom: kind 3.",
			"Input B: no count at 4 MHz, symptom: kind 4.", "Input B: no count at 5 MHz, symptom: kind 5.", "Input B: no count at 6 MHz, symptom: kind 6.", "and 3 more, see the tables."}},
	} {
		r := run{Record: record.Record{Run: runner.Result{Points: c.points}}, words: english(t), label: "As found"}
		got := r.failures(mostFindings)
		for k := range got { // the spaces between number and unit, and between groups, don't break
			got[k] = strings.NewReplacer("\u00a0", " ", "\u202f", " ").Replace(got[k])
		}
		assert.Equal(t, c.want, got, c.name)
	}
}

func TestTrust(t *testing.T) {
	noticed := time.Date(2027, 1, 2, 3, 4, 0, 0, time.UTC)
	s := sheetOf(t, other(t))
	text := dump(&document{words: english(t), Blocks: []block{s.trust(), s.identity()}})
	for _, want := range []string{
		`the unit states model "Test Counter Four (invented)", the procedure "Test Counter Three (invented)"`,
		`■ not as expected: the unit states serial number "TC4-0001", the job "TC3-0042"`,
		"RF of source MW could not be switched off", "source MW reports that it runs from its own reference",
		`standards overdue at the time of the run: "LF" (due 2026-03-05), "MW" (due 2027-03-05), "house standard" (due 2027-03-02)`,
	} {
		assert.Contains(t, text, want)
	}
	accepted := other(t)
	accepted.Run.Overdue = []runner.Overdue{{Due: procedures.Due{Name: "LF", What: "source"}, By: "A. Example (invented)", At: noticed}, {Due: procedures.Due{Name: "house standard", What: "reference"}, Lapsed: noticed}}
	assert.Contains(t, sheetOf(t, accepted).runs[0].overdue(),
		`"LF" (due 2026-03-05; accepted by A. Example (invented), 2027-01-02 03:04 UTC), "MW" (due 2027-03-05), "house standard" (due 2027-03-02; it passed during the run, noticed at 2027-01-02 03:04 UTC)`)
	assert.NotContains(t, text, "standing wave", "what the plan says aloud is no matter of trust")
	pages := pdftotext(t, pdfOf(t, s))
	assert.Contains(t, strings.Join(strings.Fields(pages[0]), " "), "Warnings that bear on trust in the results")
	quiet := fixture(t, runner.AsLeft)
	quiet.Standards = nil
	assert.Empty(t, sheetOf(t, quiet).trust().Lines)
}

func TestCautionsStandOnce(t *testing.T) {
	usual := record.UsualCautions()
	for _, c := range []struct {
		name string
		have []string
		want []string
	}{
		{"none in the record", nil, usual},
		{"usual", usual, usual},
		{"said again by the procedure", append(slices.Clone(usual), "Local codes and licensed practice come first.", usual[1]), usual},
		{"not at the head", []string{"Hot.", "hot ", "Local codes come first."}, []string{"Local codes come first.", "Hot."}},
		{"missing", []string{"Hot."}, []string{usual[0], "Hot."}},
		{"says more", []string{usual[0], "Local codes apply. Input C is destroyed at +17 dBm."}, []string{usual[0], "Local codes apply. Input C is destroyed at +17 dBm."}},
	} {
		s := sheetOf(t, record.Record{Cautions: c.have, Run: runner.Result{Kind: runner.AsFound}})
		assert.Equal(t, c.want, s.cautions(), c.name)
	}
}

func TestLevelInTheUnitOfTheSensitivity(t *testing.T) {
	for _, c := range []struct {
		name, impedance, specified, level, want string
	}{
		{"50 Ω specified in mV", "50 Ω", "25 mV", "-13.01 dBm", "50.00 mV"},
		{"50 Ω specified in dBm", "50 Ω", "-25 dBm", "-18.97 dBm", "−18.97 dBm"},
		{"50 Ω in V, specified in dBm", "50 Ω", "-25 dBm", "0.2236 V", "0.00 dBm"},
		{"1 MΩ in V, specified in dBm", "1 MΩ", "-25 dBm", "0.05 V", "50 mV"},
		{"no signal", "50 Ω", "-25 dBm", "0 V", "0 V"},
	} {
		var in procedures.Input
		require.NoError(t, in.Impedance.UnmarshalText([]byte(c.impedance)))
		f := quantity.Of[quantity.Hertz](10, 6)
		in.Sensitivity = []procedures.Sensitivity{{From: f, To: f, Level: quantity.MustLevel(c.specified)}}
		p := procedures.Point{Frequency: f}
		p.Levels.Input = quantity.MustLevel(c.level)
		assert.Equal(t, c.want, strings.ReplaceAll(english(t).q(levelOf(in, p)), "\u202f", " "), c.name)
	}
}

// Readings that don't count are explained once, in words without the runner's
// own names for them.
func TestNotesOnUses(t *testing.T) {
	p := runner.PointResult{Setting: runner.Setting{Tries: 3, Refused: 2},
		Notes: []string{"source was not good after 2 of 3 settings", "1 readings were never answered and were taken anew",
			"readings scattered more than the counts allow and were read anew once", "path proven: point B-012, repeated, reads 749.999520 MHz", "something else"}}
	p.Verdict.Word = decision.Pass
	for _, u := range []runner.Use{runner.Discarded, runner.FirstLook, runner.Lost, runner.Proof, runner.RFOffLook} {
		p.Readings = append(p.Readings, runner.Reading{Use: u})
	}
	got := english(t).notesOf(&p)
	want := []string{"after 2 of 3 settings", "kept in the record but not used", "of a first set not in the mean", "put down to the link", "switched off",
		"path proven: point B-012, which had passed", "something else"}
	require.Len(t, got, len(want), "%q", got)
	for k, w := range want {
		assert.Contains(t, got[k], w)
	}
}

// A page has room for grid, chart and 18 points of two runs.
func TestEighteenPointsOnOnePage(t *testing.T) {
	grown := func(kind runner.Kind) record.Record {
		r := fixture(t, runner.AsLeft)
		r.ID, r.Run.Kind, r.Run.Inputs = "R-"+string(kind), kind, r.Run.Inputs[1:2]
		points := slices.Clone(r.Run.Points)
		r.Run.Points = nil
		for k := range 18 {
			p := points[14+k%12]
			p.Point.ID, p.Point.Frequency = fmt.Sprintf("B-%03d", k+1), quantity.Of[quantity.Hertz](int64(40+k), 6)
			r.Run.Points = append(r.Run.Points, p)
		}
		return r
	}
	d := sheetOf(t, grown(runner.AsFound), grown(runner.AsLeft)).build()
	inputs := slices.IndexFunc(d.Blocks, func(b block) bool { h, ok := b.(*heading); return ok && h.Tall })
	require.GreaterOrEqual(t, inputs, 0)
	d.Blocks = append([]block{&notes{Lines: make([]string, 30)}}, d.Blocks[inputs:]...) // more than a third of a page first
	var b bytes.Buffer
	require.NoError(t, d.pdf(&b))
	page := pdftotext(t, b.Bytes())[1]
	require.Contains(t, page, "Input B: 40")
	for k := range 18 {
		require.Contains(t, page, fmt.Sprintf("B-%03d", k+1))
	}
	require.Contains(t, page, "■ fail", "the legend stands below its table")
}

// Lines to sign on stand below what is signed, wherever on a page they come.
func TestSignaturesStandWithText(t *testing.T) {
	for n := 40; n < 56; n++ { // about a page of lines
		d := &document{words: english(t), Blocks: []block{&notes{Lines: make([]string, n)}, &paragraph{Label: "Integrity", Text: "text"}, &signatures{Lines: []item{{"Performed by", ""}}}}}
		var b bytes.Buffer
		require.NoError(t, d.pdf(&b))
		for k, page := range pdftotext(t, b.Bytes()) {
			if strings.Contains(page, "date, signature") {
				assert.Contains(t, page, "Integrity", "%d lines before, page %d", n, k+1)
			}
		}
	}
}

// A table never leaves one row over for the next page.
func TestNoRowStandsAlone(t *testing.T) {
	for n := 36; n < 52; n++ { // about a page of rows
		x := &table{Columns: []column{{Head: "Point"}}}
		for range n {
			x.Rows = append(x.Rows, []cell{{Text: "row"}})
		}
		d := &document{words: english(t), Blocks: []block{x}}
		var b bytes.Buffer
		require.NoError(t, d.pdf(&b))
		total := 0
		for k, page := range pdftotext(t, b.Bytes()) {
			rows := strings.Count(page, "row")
			total += rows
			assert.NotEqual(t, 1, rows, "%d rows, page %d", n, k+1)
		}
		assert.Equal(t, n, total)
	}
}

// No heading stands at the foot of a page with its table on the next.
func TestHeadingsStandWithTables(t *testing.T) {
	for n := 30; n < 56; n++ {
		x := &table{Title: "Title of the table", Columns: []column{{Head: "Point"}}}
		for range 8 {
			x.Rows = append(x.Rows, []cell{{Text: "row"}})
		}
		for level := 1; level <= 2; level++ {
			d := &document{words: english(t), Blocks: []block{&notes{Lines: make([]string, n)}, &heading{Level: level, Text: "The heading"}, x}}
			w, err := d.layOut(rowPad)
			require.NoError(t, err)
			var b bytes.Buffer
			w.margins()
			require.NoError(t, w.pdf.Output(&b))
			for k, page := range pdftotext(t, b.Bytes()) {
				if strings.Contains(page, "The heading") {
					assert.Contains(t, page, "Title of the table", "%d lines before, level %d, page %d", n, level, k+1)
				}
			}
		}
	}
}
