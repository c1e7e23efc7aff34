package sheet

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/drivertest/peer"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func sheetOf(t testing.TB, records ...record.Record) *Sheet {
	t.Helper()
	s, err := New(records...)
	require.NoError(t, err)
	return s
}

func pdfOf(t testing.TB, s *Sheet) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, s.PDF(&b))
	return b.Bytes()
}

func csvOf(t testing.TB, s *Sheet) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, s.CSV(&b))
	return b.String()
}

// afterRepair is a run between: the unit repaired, its timebase not adjusted.
func afterRepair(t testing.TB) record.Record {
	r := fixture(t, runner.AsLeft)
	r.ID, r.Run.Kind = "EX-2026-118-after-repair", runner.AfterRepair
	r.Run.Started, r.Run.Finished = r.Run.Started.Add(-24*time.Hour), r.Run.Finished.Add(-24*time.Hour)
	return r
}

// stopped is the as-found run as it would stand had it ended on input B.
func stopped(t testing.TB) record.Record {
	r := fixture(t, runner.AsFound)
	r.ID = "EX-2026-118-stopped"
	r.Run.Points = r.Run.Points[:20]
	r.Run.Complete, r.Run.Ended, r.Run.Statement = false, "stopped by the operator", runner.Incomplete
	return r
}

// dead is a unit that gives no readings at all.
func dead(t testing.TB) record.Record {
	r := fixture(t, runner.AsFound)
	r.ID, r.Invented = "EX-2026-118-dead", false
	r.Run.Points, r.Run.Entries = nil, nil
	r.Run.Statement, r.Run.Symptom = runner.NotObtainable, "inoperative: display dark, no reply"
	for k := range r.Run.Inputs {
		in := &r.Run.Inputs[k]
		in.Coverage = in.Input.Coverage(nil)
	}
	return r
}

// other is a unit that states another model and serial number than expected;
// the bench's references are overdue, and one changed in mid-run.
func other(t testing.TB) record.Record {
	r := fixture(t, runner.AsFound)
	r.ID = "EX-2026-118-other"
	r.Run.Unit.Model, r.Run.Unit.Serial = "Test Counter Four (invented)", "TC4-0001"
	const w = "source MW reports that it runs from its own reference after the points of input C, the bench file says house standard (external); these points are void"
	r.Run.Warnings = append(slices.Clone(r.Run.Warnings), w)
	r.Run.Events = append(slices.Clone(r.Run.Events), runner.Event{At: r.Run.Started.Add(4 * time.Minute), Text: "warning: " + w})
	r.Run.Points = slices.Clone(r.Run.Points)
	for k := range r.Run.Points {
		if p := &r.Run.Points[k]; p.Point.Input == "C" {
			p.Notes = append(slices.Clone(p.Notes), "was "+p.Verdict.String()+" before it was voided")
			p.Verdict, p.Symptom = decision.Verdict{Word: decision.NotJudged, Reason: decision.SourceReference}, ""
		}
	}
	r.Standards = slices.Clone(r.Standards)
	for k := range r.Standards {
		r.Standards[k].Overdue = true
	}
	return r
}

// switched is a run over a switch, with a monitor at source MW, a power meter at
// input C and a thermometer; at one point the source was off, at another the
// monitor saw nothing.
func switched(t testing.TB) record.Record {
	r := fixture(t, runner.AsLeft)
	r.ID, r.Follows = "EX-2026-118-switched", ""
	for k, when := range []string{"start", "input A", "input B", "input C", "end"} {
		v, h := quantity.Of[quantity.Celsius](234+int64(k%3), -1), quantity.Of[quantity.One](452, -3)
		r.Run.Ambient = append(r.Run.Ambient, runner.Ambient{At: r.Run.Started.Add(time.Duration(k) * time.Minute), When: when, Thermometer: "room", Temperature: &v, Humidity: &h})
	}
	r.Run.Ambient[4] = runner.Ambient{At: r.Run.Finished, When: "end", Thermometer: "room", Failed: "no reply within 3 s"}
	r.Standards = append(slices.Clone(r.Standards), record.Standard{Name: "PM", Role: "power meter", Stated: "level, U = 0.2 dB (k = 2)"},
		record.Standard{Name: "monitor", Role: "monitor", Stated: "runs from house standard"}, record.Standard{Name: "room", Role: "thermometer", Stated: "ambient conditions"})
	r.Run.Points = slices.Clone(r.Run.Points)
	for k := range r.Run.Points {
		p := &r.Run.Points[k]
		p.Route = &runner.Route{Switch: "SW", Position: map[string]string{"A": "1", "B": "2", "C": "3"}[p.Point.Input]}
		if p.Point.Source == "MW" {
			p.Monitor = []runner.Watched{watched(p, runner.Discarded, 1, drivers.None), watched(p, runner.Counted, 1, drivers.None)}
		}
		if p.Point.Input == "C" {
			p.Level = &runner.Level{MeasuredLevel: procedures.MeasuredLevel{Meter: "PM", Connector: quantity.DBmLevel(-24.27, 2), Input: quantity.DBmLevel(-24.27, 2), Uncertainty: 0.2236},
				Reading: drivers.LevelReading{Text: "-34.270", Level: quantity.DBmLevel(-34.27, 3), At: p.Started}}
		}
		switch p.Point.ID {
		case "C-003":
			p.Verdict, p.Readings, p.Counted = decision.Verdict{Word: decision.NotJudged, Reason: decision.SourceOffFrequency}, nil, 0
			p.Monitor = append(p.Monitor, watched(p, runner.Counted, 12000, drivers.None))
			p.Notes = append(slices.Clone(p.Notes), "monitor shows 2.2000120 GHz, 12000.000 Hz off what is expected; at most 1.006 Hz is allowed")
		case "C-006":
			p.Verdict, p.Readings, p.Counted = decision.Verdict{Word: decision.NotJudged, Reason: decision.LevelNotAsPlanned}, nil, 0
			p.Notes = append(slices.Clone(p.Notes), "power meter PM: under-range, where -20.00 dBm is planned at the input")
			p.Level, p.Monitor = nil, []runner.Watched{watched(p, runner.Counted, 0, drivers.NoSignal)}
		}
	}
	return r
}

// watched is a reading of the monitor that is off by so many hertz.
func watched(p *runner.PointResult, use runner.Use, off int64, mark drivers.Mark) runner.Watched {
	f := p.Point.Frequency.Add(quantity.Of[quantity.Hertz](off, 0))
	return runner.Watched{Reading: drivers.Reading{Text: f.Plain(), Frequency: f, Mark: mark, At: p.Started}, Use: use,
		Expected: p.Point.Frequency.Exact(), Allowed: quantity.ExactFloat(1.0058), Good: off < 2 && mark == drivers.None}
}

func cases(t testing.TB) map[string]*Sheet {
	return map[string]*Sheet{
		"two runs":   sheetOf(t, fixture(t, runner.AsLeft), fixture(t, runner.AsFound)),
		"three runs": sheetOf(t, fixture(t, runner.AsLeft), fixture(t, runner.AsFound), afterRepair(t)).Chain("3f2a9c", 118),
		"one run":    sheetOf(t, fixture(t, runner.AsFound)),
		"stopped":    sheetOf(t, stopped(t)),
		"dead":       sheetOf(t, dead(t)),
		"other":      sheetOf(t, other(t)),
		"switched":   sheetOf(t, switched(t)),
		"measured":   sheetOf(t, withOutcomes(t, runner.AsFound), withOutcomes(t, runner.AsLeft)),
		"coursed":    sheetOf(t, coursed(t)),
		"one input":  sheetOf(t, oneInput(t)),
		"empty":      sheetOf(t, record.Record{Run: runner.Result{Kind: runner.AsFound}}),
	}
}

// some are all the cases; two of them with -short, as under the race detector.
func some(t testing.TB) map[string]*Sheet {
	all := cases(t)
	if testing.Short() {
		return map[string]*Sheet{"one run": all["one run"], "dead": all["dead"]}
	}
	return all
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	if string(text) == got {
		return
	}
	want, lines := strings.Split(string(text), "\n"), strings.Split(got, "\n")
	for k := range min(len(want), len(lines)) {
		require.Equal(t, want[k], lines[k], "line %d differs from %s; if the change is meant, run with -update and read it", k+1, file)
	}
	require.Equal(t, len(want), len(lines), "%s has another number of lines; if the change is meant, run with -update and read it", file)
}

// inOthers are the sheets that stand in testdata in every language: together they
// have nearly every part that a sheet can have.
var inOthers = []string{"two runs", "stopped", "dead", "switched", "measured", "coursed"}

func TestGolden(t *testing.T) {
	for name, s := range cases(t) {
		t.Run(name, func(t *testing.T) {
			file := strings.ReplaceAll(name, " ", "-")
			golden(t, file+".csv", csvOf(t, s))
			golden(t, file+".txt", dump(s.build()))
			switch name { // one of several runs with a fault of each kind, one with all measurements
			case "two runs", "measured":
				golden(t, file+".html", htmlOf(t, s))
				golden(t, file+".text", textOf(t, s))
			}
			for _, lang := range others() {
				if !slices.Contains(inOthers, name) {
					continue
				}
				x, err := s.With(Options{Language: lang})
				require.NoError(t, err)
				golden(t, file+"."+lang+".txt", dump(x.build()))
				require.Equal(t, csvOf(t, s), csvOf(t, x), "the CSV is for machines, in one style")
			}
		})
	}
}

// pdftotext gives the text of each page; the tool is another program than ours.
func pdftotext(t *testing.T, pdf []byte) []string {
	t.Helper()
	tool := peer.Program(t, "pdftotext", "poppler-utils", "the text of the PDF was not looked at")
	cmd := exec.Command(tool, "-layout", "-enc", "UTF-8", "-", "-")
	cmd.Stdin = bytes.NewReader(pdf)
	var out, complaint bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &complaint
	require.NoError(t, cmd.Run(), complaint.String())
	require.Empty(t, complaint.String(), "pdftotext complains of the file")
	pages := strings.Split(strings.TrimSuffix(out.String(), "\f"), "\f")
	for k := range pages {
		pages[k] = strings.NewReplacer("\u202f", "", "\u00a0", " ").Replace(pages[k])
	}
	return pages
}

func TestPDFText(t *testing.T) {
	for name, s := range some(t) {
		t.Run(name, func(t *testing.T) {
			pages := pdftotext(t, pdfOf(t, s))
			all := strings.Join(pages, "\n")
			squeezed := strings.Join(strings.Fields(all), " ")
			for k, page := range pages {
				assert.Contains(t, page, fmt.Sprintf("page %d of %d", k+1, len(pages)))
				for _, id := range s.ids() {
					assert.Contains(t, page, id, "page %d lacks a record id", k+1)
				}
				assert.Equal(t, s.invented(), strings.Contains(page, "Invented data: virtual bench, not a calibration"), "page %d", k+1)
			}
			assert.Equal(t, 1, strings.Count(all, "End of data sheet"))
			assert.Contains(t, pages[len(pages)-1], "End of data sheet")
			assert.Contains(t, pages[0], "Statement of conformity")
			assert.Contains(t, squeezed, "Results concern only the unit named above")
			assert.NotContains(t, strings.ToLower(all), "accredited")
			assert.NotContains(t, strings.ToLower(all), "compliant")
			for _, r := range s.runs {
				assert.Contains(t, pages[0], r.label+": "+string(r.Run.Statement))
				for _, p := range r.Run.Points {
					assert.Contains(t, all, p.Point.ID)
					assert.Contains(t, strings.ReplaceAll(all, " ", ""), p.Point.Frequency.Plain(), "nominal frequency of %s", p.Point.ID)
				}
			}
		})
	}
}

// Every verdict stands in the row of its point, in the run's columns.
func TestPDFVerdicts(t *testing.T) {
	s := sheetOf(t, fixture(t, runner.AsFound))
	all := strings.Join(pdftotext(t, pdfOf(t, s)), "\n")
	lines := strings.Split(all, "\n")
	words := map[decision.Word]bool{}
	for _, p := range s.runs[0].Run.Points {
		words[p.Verdict.Word] = true
		found := false
		for _, l := range lines {
			f := strings.Fields(l)
			found = found || len(f) > 0 && f[0] == p.Point.ID && strings.Contains(l, p.Verdict.String())
		}
		assert.True(t, found, "%s: no line with verdict %q", p.Point.ID, p.Verdict)
	}
	assert.Len(t, words, 5, "the fixture should hold every verdict")
	for _, text := range []string{"half the frequency", "not judged: source not locked", "beyond the range of source MW", "overdue at the time of the run", "coverage factor k = 4.53"} {
		assert.Contains(t, strings.Join(strings.Fields(all), " "), text)
	}
}

func TestAlerts(t *testing.T) {
	for name, want := range map[string][]string{
		"stopped": {"As found: run incomplete", "stopped by the operator", "Of 40 planned points 20 were taken", "20 not taken"},
		"dead":    {"As found: not obtainable", "inoperative: display dark, no reply", "No point was taken at this input", "40 not taken"},
	} {
		text := dump(cases(t)[name].build())
		for _, w := range want {
			assert.Contains(t, text, w, name)
		}
	}
}

// The same records give the same bytes, and writing leaves the records alone.
func TestPDFIsReproducible(t *testing.T) {
	for name, s := range some(t) {
		before, err := json.Marshal(s.runs[0].Record)
		require.NoError(t, err)
		first := pdfOf(t, s)
		for range map[string]int{"two runs": 3}[name] + 1 {
			require.True(t, bytes.Equal(first, pdfOf(t, s)), "%s: two PDFs of the same records differ", name)
		}
		after, err := json.Marshal(s.runs[0].Record)
		require.NoError(t, err)
		require.Equal(t, string(before), string(after), name)
	}
}

// A writer that fails makes PDF and CSV fail.
func TestWriteErrors(t *testing.T) {
	s := sheetOf(t, fixture(t, runner.AsFound))
	require.ErrorIs(t, s.PDF(broken{}), errBroken)
	require.ErrorIs(t, s.CSV(broken{}), errBroken)
}

var errBroken = errors.New("disk full")

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errBroken }

func TestNewRefuses(t *testing.T) {
	base := func(kind runner.Kind, change func(*record.Record)) record.Record {
		r := record.Record{ID: "R-" + string(kind), Maker: "M (invented)", Model: "X", Job: procedures.Job{Serial: "1"}, Run: runner.Result{Kind: kind}}
		r.Procedure.Name, r.Procedure.Revision = "P", "1"
		if change != nil {
			change(&r)
		}
		return r
	}
	found := base(runner.AsFound, nil)
	for _, c := range []struct {
		name    string
		records []record.Record
		want    string
	}{
		{"none", nil, "no record"},
		{"four", []record.Record{found, found, found, found}, "4 records"},
		{"unknown kind", []record.Record{base("trial", nil)}, `run kind "trial" is not known`},
		{"same kind twice", []record.Record{found, found}, "are both as-found"},
		{"serial", []record.Record{found, base(runner.AsLeft, func(r *record.Record) { r.Job.Serial = "2" })}, `serial number is "1" in the first and "2" in the second`},
		{"model", []record.Record{found, base(runner.AsLeft, func(r *record.Record) { r.Model = "Y" })}, "model"},
		{"maker", []record.Record{found, base(runner.AsLeft, func(r *record.Record) { r.Maker = "N" })}, "maker"},
		{"revision", []record.Record{found, base(runner.AsLeft, func(r *record.Record) { r.Procedure.Revision = "2" })}, "procedure revision"},
		{"procedure text", []record.Record{found, base(runner.AsLeft, func(r *record.Record) { r.Procedure.SHA256 = "ab" })}, "SHA-256"},
		{"stated serial alone", []record.Record{
			base(runner.AsFound, func(r *record.Record) { r.Job.Serial = ""; r.Run.Unit = drivers.Identity{Stated: true, Serial: "7"} }),
			base(runner.AsLeft, func(r *record.Record) { r.Job.Serial = ""; r.Run.Unit = drivers.Identity{Stated: true, Serial: "8"} }),
		}, "that the unit states"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := New(c.records...)
			require.ErrorContains(t, err, c.want)
		})
	}
}

// What a record holds in JSON is all that the sheet needs: the level at the
// input once got lost on the way.
func TestJSONKeepsWhatTheSheetShows(t *testing.T) {
	r := build(t, runner.AsFound, 0.21e-6, asFoundFaults, time.Date(2026, 11, 24, 9, 0, 0, 0, time.UTC))
	text, err := json.Marshal(r)
	require.NoError(t, err)
	var back record.Record
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, dump(sheetOf(t, r).build()), dump(sheetOf(t, back).build()))
	assert.Equal(t, csvOf(t, sheetOf(t, r)), csvOf(t, sheetOf(t, back)))
}

func TestRunsStandInOrder(t *testing.T) {
	s := sheetOf(t, afterRepair(t), fixture(t, runner.AsLeft), fixture(t, runner.AsFound))
	assert.Equal(t, []string{"EX-2026-118-as-found", "EX-2026-118-after-repair", "EX-2026-118-as-left"}, s.ids())
}

// A point whose id moved because the bench changed stands in one line with the
// same point of the other run; one that a run lacks says so.
func TestLinesMatchByWhatAPointIs(t *testing.T) {
	a, b := fixture(t, runner.AsFound), fixture(t, runner.AsLeft)
	b.Run.Points = b.Run.Points[1:]
	for k := range b.Run.Points {
		b.Run.Points[k].Point.ID = fmt.Sprintf("N-%03d", k)
	}
	s := sheetOf(t, a, b)
	list := lines("A", s.runs)
	require.Len(t, list, 14)
	assert.Nil(t, list[0].of[1])
	assert.Equal(t, "A-001", list[0].id())
	assert.Equal(t, "A-002 / N-000", list[1].id())
	row := english(t).pointTable("A", s.runs).Rows[0]
	assert.Equal(t, "not taken", row[len(row)-1].Text)
}

// A point whose gate was chosen, another one in each run, stands in one line
// with both gates, and the front says how gates and readings were chosen.
func TestLinesMatchWhateverGateWasChosen(t *testing.T) {
	a, b := fixture(t, runner.AsFound), fixture(t, runner.AsLeft)
	a.Run.Points, b.Run.Points = slices.Clone(a.Run.Points), slices.Clone(b.Run.Points)
	s := sheetOf(t, a, b)
	before := len(lines("A", s.runs))
	assert.NotContains(t, dump(s.build()), "Gates were chosen")
	longest := a.Run.Points[1].Point.Gate
	a.Run.Points[1].Point.Longest, b.Run.Points[1].Point.Longest = &longest, &longest
	b.Run.Points[1].Point.Gate = quantity.MustParse[quantity.Second]("20 ms")
	b.Run.Points[1].StoppedEarly = "2 of 3 readings: the rest would not change the verdict (99 % confidence)"
	s = sheetOf(t, a, b)
	assert.Len(t, lines("A", s.runs), before)
	text := dump(s.build())
	assert.Contains(t, text, longest.Grouped()+" / "+b.Run.Points[1].Point.Gate.Grouped())
	assert.Contains(t, text, "Gates were chosen within the bounds of the procedure")
	assert.Contains(t, text, "Readings that would not have changed the verdict were left out")
	assert.Contains(t, text, "stopped early: 2 of 3 readings")
}

func TestCSVReadsBack(t *testing.T) {
	text := csvOf(t, sheetOf(t, fixture(t, runner.AsFound)))
	assert.Equal(t, strings.Count(text, "\n"), strings.Count(text, "\r\n"))
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 41)
	at := map[string]int{}
	for k, name := range rows[0] {
		at[name] = k
	}
	for _, r := range rows[1:] {
		for name, k := range at {
			if strings.HasSuffix(name, "_hz") || strings.HasSuffix(name, "_ppm") || name == "tur" || name == "level" || name == "gate_s" {
				assert.Regexp(t, `^(-?[0-9]+(\.[0-9]+)?)?$`, r[k], "%s of %s", name, r[at["point"]])
			}
		}
	}
	b9 := rows[23]
	assert.Equal(t, []string{"B-009", "", "fail", "no count", "0"}, []string{b9[at["point"]], b9[at["mean_hz"]], b9[at["verdict"]], b9[at["reason"]], b9[at["counted_readings"]]})
}
