package sheet

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/drivers/drivertest/peer"
	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

func labelOf(t testing.TB, s *Sheet, size LabelSize) string {
	t.Helper()
	l, err := s.Label(size)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, l.PDF(&b))
	return b.String()
}

// within is an as-left record over all of the range, with nothing to hold
// against it.
func within(t testing.TB) record.Record {
	r := fixture(t, runner.AsLeft)
	r.Run.Statement, r.Run.Complete = runner.WithinAll, true
	for k := range r.Run.Inputs {
		r.Run.Inputs[k].NotShown = nil
	}
	return r
}

// A label says what the newest run allows, and never "calibrated" of a unit that
// failed, is not released, or whose record does not stand (record.md 2.3:
// rejected, limited and calibrated are set apart; 7.8.4.3 of ISO/IEC 17025:2017
// for the due date).
func TestLabelSaysWhatTheRecordAllows(t *testing.T) {
	due, err := procedures.LoadJob("job.toml", []byte("schema = \"bandproof job 1\"\ndue = \"2027-11-26\"\ndue_agreed = \"Ms Example, 2026-11-20\""))
	require.NoError(t, err)
	for _, c := range []struct {
		name   string
		change func(*record.Record)
		want   []string
		never  []string
		wrong  string
	}{
		{"within all", func(*record.Record) {}, []string{"CALIBRATED", "Serial TC3-0042", "INVENTED"}, []string{"LIMITED", "REJECTED", "Due"}, ""},
		{"due as agreed", func(r *record.Record) { r.Job.Due, r.Job.DueAgreed = due.Due, due.DueAgreed }, []string{"Due 2027-11-26 (as agreed)"}, nil, ""},
		{"due without agreement", func(r *record.Record) { r.Job.Due = due.Due }, []string{"CALIBRATED"}, []string{"2027"}, ""},
		{"limited by agreement", func(r *record.Record) {
			r.Job.Limited = []procedures.Limited{{What: "input C above 3 GHz", Why: "x", Agreed: "y"}}
		},
			[]string{"LIMITED CALIBRATION", "Limits of use: see the data sheet", "input C above 3 GHz"}, nil, ""},
		{"not all shown", func(r *record.Record) { r.Run.Statement = runner.WithinShown }, []string{"LIMITED CALIBRATION"}, nil, ""},
		{"at the points shown", func(r *record.Record) { r.Run.Statement = runner.WithinPoints }, []string{"LIMITED CALIBRATION", "at the points shown"}, nil, ""},
		{"outside", func(r *record.Record) {
			r.Run.Statement = runner.Outside
			r.Job.Due, r.Job.DueAgreed = due.Due, due.DueAgreed
		},
			[]string{"REJECTED: DO NOT USE", "Outside tolerance"}, []string{"CALIBRATED", "alibrated 2", "Due"}, ""},
		{"dead", func(r *record.Record) { r.Run.Statement = runner.NotObtainable }, []string{"REJECTED"}, []string{"CALIBRATED"}, ""},
		{"not released", func(r *record.Record) { r.Job.NotReleased = "transformer beyond repair" }, []string{"REJECTED", "Not released: transformer beyond repair"}, []string{"CALIBRATED"}, ""},
		{"incomplete", func(r *record.Record) { r.Run.Statement = runner.Incomplete }, nil, nil, "its run is incomplete"},
		{"added run", func(r *record.Record) { r.Run.Only = []string{"A-001"} }, nil, nil, "added run"},
		{"after repair", func(r *record.Record) { r.Run.Kind = runner.AfterRepair }, nil, nil, "make the as-left run"},
		{"as found", func(r *record.Record) { r.Run.Kind = runner.AsFound }, nil, nil, "unaltered"},
		{"as found, unaltered", func(r *record.Record) { r.Run.Kind, r.Job.Unaltered = runner.AsFound, true }, []string{"CALIBRATED"}, nil, ""},
		{"withdrawn", func(r *record.Record) { r.Corrects = &record.Correction{ID: "x", Withdrawn: true} }, nil, nil, "withdrawn"},
		{"no conformity", func(r *record.Record) { r.Job.Conformity = "no" }, []string{"CALIBRATED", "no conformity stated"}, nil, ""},
		{"no conformity, outside", func(r *record.Record) { r.Job.Conformity, r.Run.Statement = "no", runner.Outside }, nil, nil, "states no conformity"},
		{"whose unit it is nobody says", func(r *record.Record) { r.Job.Serial, r.Job.Asset, r.Run.Unit.Stated = "", "", false }, nil, nil, "neither a serial number nor an asset number"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := within(t)
			c.change(&r)
			s := sheetOf(t, r)
			if c.wrong != "" {
				_, err := s.Label(UsualLabel)
				require.ErrorIs(t, err, ErrNoLabel)
				require.ErrorContains(t, err, c.wrong)
				return
			}
			text := strings.Join(pdftotext(t, []byte(labelOf(t, s, UsualLabel))), "")
			for _, x := range c.want {
				require.Contains(t, text, x)
			}
			for _, x := range c.never {
				require.NotContains(t, text, x)
			}
		})
	}
	r := within(t)
	newer := within(t)
	newer.ID, newer.Corrects = "newer", &record.Correction{ID: r.ID}
	_, err = sheetOf(t, r).Replaced(map[string]record.Record{r.ID: newer}).Label(UsualLabel)
	require.ErrorContains(t, err, "record newer takes its place")
}

// What must stand stands whole on labels of all sizes and languages, or there is
// no label; awkward texts harm nothing.
func TestLabelFitsOrIsRefused(t *testing.T) {
	sizes := []LabelSize{UsualLabel, {30, 12}, {62, 29}, {38, 19}, {20, 10}, {100, 50}, {200, 200}}
	if testing.Short() {
		sizes = sizes[1:2]
	}
	for _, size := range sizes {
		for k, lang := range procedures.SheetChoices()["language"] {
			if k > 0 && size != UsualLabel {
				continue // languages differ in the length of their words alone
			}
			for _, text := range append(awkward, "ordinary") {
				r := within(t)
				r.Job.Serial, r.Job.Asset, r.Job.Technician, r.Laboratory.Name, r.Model = "TC3-0042", text, text, text, text
				s, err := sheetOf(t, r).With(Options{Language: lang})
				require.NoError(t, err)
				l, err := s.Label(size)
				require.NoError(t, err)
				var b bytes.Buffer
				if err := l.PDF(&b); err != nil {
					require.ErrorIs(t, err, ErrNoLabel)
					require.ErrorContains(t, err, "choose a larger one")
					require.False(t, size == UsualLabel && len(text) < 12, "%s %q: %v", lang, text, err)
				}
			}
		}
	}
}

func TestParseLabelSize(t *testing.T) {
	for text, want := range map[string]LabelSize{"50x25mm": {50, 25}, "62X29": {62, 29}, "62.5 × 29 mm": {62.5, 29}} {
		got, err := ParseLabelSize(text)
		require.NoError(t, err, text)
		require.Equal(t, want, got)
	}
	for _, text := range []string{"", "50", "50x", "x25mm", "19x25mm", "50x9mm", "201x25mm", "1e9x1e9", "-50x25", "50x25in", "NaNx25"} {
		_, err := ParseLabelSize(text)
		require.ErrorContains(t, err, "such as 50x25mm", text)
	}
}

// The code is read back from a print at 203 dots per inch in black and white by
// an independent reader (zbar), and is id and hash of the record.
func TestLabelCodeIsRead(t *testing.T) {
	for _, tool := range []string{"zbarimg", "pdftoppm"} {
		peer.Program(t, tool, "zbar-tools poppler-utils", "the code of the label was not read")
	}
	r := within(t)
	r.ID = "01a21885-fc25-7e37-8f98-ce8a6aee5c41"
	hash := strings.Repeat("0123456789abcdef", 4)
	s := sheetOf(t, r).Sealed([]record.Seal{{ID: r.ID, Record: hash}}, "", 0)
	for _, size := range []LabelSize{UsualLabel, {62, 29}, {100, 50}} {
		file := filepath.Join(t.TempDir(), "label")
		require.NoError(t, os.WriteFile(file+".pdf", []byte(labelOf(t, s, size)), 0o644))
		out, err := exec.Command("pdftoppm", "-r", "203", "-mono", "-singlefile", file+".pdf", file).CombinedOutput()
		require.NoError(t, err, string(out))
		got, err := exec.Command("zbarimg", "-q", "--raw", "--nodbus", file+".pbm").Output()
		require.NoError(t, err, size)
		require.Equal(t, strings.ToUpper(r.ID+" "+hash[:32]), strings.TrimSpace(string(got)), size)
	}
}
