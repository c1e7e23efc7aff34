package sheet

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
	"bandproof/runner"
)

// csvHead names the columns; quantities are plain numbers in the unit that the
// name ends with.
var csvHead = []string{"record_id", "run", "point", "input", "nominal_hz", "level", "level_unit", "gate_s", "mean_hz", "error_hz", "error_ppm",
	"limit_hz", "limit_ppm", "expanded_uncertainty_hz", "decision_uncertainty_hz", "tur", "verdict", "reason", "symptom",
	"counted_readings", "readings", "started", "finished", "read_by",
	"measured_level", "measured_level_unit", "measured_level_uncertainty_db", "monitor_hz", "monitor_expected_hz", "monitor_allowed_hz", "switch", "position", "level_uncertainty_db",
	"source", "verdict_alone", "other_source", "other_verdict", "other_mean_hz", "other_error_hz", "other_expanded_uncertainty_hz", "other_readings",
	"record_type", "measurement", "kind", "task", "what", "unit", "found", "limit", "side", "margin", "expanded_uncertainty", "coverage_factor", "guard_band", "says", "x", "x_unit", "changed_to",
	"path", "locked", "longest_gate_s", "stopped_early", "reference_hz", "resolution_hz", "limit_terms", "spread_hz", "tur_with_unit", "guard_band_hz", "decision_rule", "conformity_probability",
	"standards", "notes", "maker", "model", "serial", "asset", "procedure", "procedure_revision", "record_sha256", "key_fingerprint", "standing"}

// csvPlaces is where a number without a finite decimal form (a mean of three)
// is rounded; the readings beside it hold its exact value.
const csvPlaces = 20

// CSV writes one row a point and run (RFC 4180: a header, CRLF, as many fields in
// every row; UTF-8 as RFC 7111 has it, and no byte order mark, which would be part
// of the first column's name to most programs), in the order in
// which the points were taken, and after the points of a run its other
// measurements: a row for each finding, each setting with its readings, and each
// value of a curve. The column record_type tells them apart: point, finding,
// setting, curve; a column that a type has no use for is empty. Numbers are
// numbers with every digit, a minus sign included; a text that a spreadsheet might
// run as a formula gets an apostrophe in front, which a reader takes off again, and
// so does one that begins with an apostrophe (OWASP, "CSV Injection"). Stretches that were not shown are no points and have
// no row.
func (s *Sheet) CSV(w io.Writer) error {
	c := csv.NewWriter(w)
	c.UseCRLF = true
	if err := c.Write(csvHead); err != nil {
		return fmt.Errorf("write data sheet as CSV: %w", err)
	}
	for _, r := range s.runs {
		of := s.csvRecord(r)
		for k := range r.Run.Points {
			row := csvPad(append(r.csvRow(&r.Run.Points[k]), "point"))
			row[csvAt("changed_to")] = r.csvChange(&r.Run.Points[k])
			r.csvBehind(row, &r.Run.Points[k])
			copy(row[csvAt("maker"):], of)
			if err := c.Write(s.bareCSV(row)[0]); err != nil {
				return fmt.Errorf("write data sheet as CSV, point %q: %w", r.Run.Points[k].Point.ID, err)
			}
		}
		if err := c.WriteAll(csvShared(r.csvWarmUp(), of)); err != nil {
			return fmt.Errorf("write data sheet as CSV, warm-up: %w", err)
		}
		for _, o := range r.Run.Outcomes {
			if err := c.WriteAll(s.bareCSV(csvShared(r.csvOutcome(o), of)...)); err != nil {
				return fmt.Errorf("write data sheet as CSV, task %q: %w", o.Task.ID, err)
			}
		}
	}
	c.Flush()
	if err := c.Error(); err != nil {
		return fmt.Errorf("write data sheet as CSV: %w", err)
	}
	return nil
}

func (r run) csvRow(p *runner.PointResult) []string {
	level, unit := csvLevel(p.Point.Levels.Input)
	var mean, e, relative, u, du string
	if p.Counted > 0 {
		mean, e, relative = csvExact(p.Mean), csvExact(p.Error), csvFloat(p.ErrorPPM)
		u, du = csvFloat(p.Reported.Expanded), csvFloat(p.Decision.Expanded)
	}
	tur := ""
	if p.TUR != nil {
		tur = csvFloat(*p.TUR)
	}
	row := []string{csvText(r.ID), csvText(string(r.Run.Kind)), csvText(p.Point.ID), csvText(p.Point.Input), p.Point.Frequency.Plain(), level, unit, p.Gate.Plain(),
		mean, e, relative, csvExact(p.Limit.Total), csvFloat(p.LimitPPM), u, du, tur, csvText(string(p.Verdict.Word)), csvText(string(p.Verdict.Reason)), csvText(p.Symptom),
		strconv.Itoa(p.Counted), csvReadings(p), csvTime(p.Started), csvTime(p.Finished), csvText(strings.Join(readers(p), "; "))}
	uncertain := ""
	if p.Point.LevelU > 0 { // not in records of the first version
		uncertain = csvFloat(p.Point.LevelU)
	}
	return append(append(append(row, csvAids(p)...), uncertain), csvOther(p)...)
}

// csvReadings are the replies that count, as they came.
func csvReadings(p *runner.PointResult) string {
	var readings []string
	for _, x := range p.Readings {
		if x.Use == runner.Counted {
			readings = append(readings, strings.ReplaceAll(x.Text, ";", `\x3b`))
		}
	}
	return csvText(strings.Join(readings, ";"))
}

// csvOther are the columns of the look through another source, empty where
// there was none.
func csvOther(p *runner.PointResult) []string {
	row := make([]string, 8)
	row[0] = csvText(p.Point.Source)
	if p.Alone != nil {
		row[1] = csvText(p.Alone.String())
	}
	if o := p.Other; o != nil {
		row[2], row[3], row[7] = csvText(o.Point.Source), csvText(o.Verdict.String()), csvReadings(o)
		if o.Counted > 0 {
			row[4], row[5], row[6] = csvExact(o.Mean), csvExact(o.Error), csvFloat(o.Reported.Expanded)
		}
	}
	return row
}

// csvChange is what a point was when it was repeated later in the run and did
// not pass any more; empty where it was not.
func (r run) csvChange(p *runner.PointResult) string {
	for _, c := range r.Run.Changes {
		if c.Point == p.Point.ID && c.Path == p.Point.Path {
			return csvText(c.Later.String())
		}
	}
	return ""
}

// csvAids are the columns of power meter, monitor (its last reading that counts)
// and switch, empty where there was none.
func csvAids(p *runner.PointResult) []string {
	row := make([]string, 8)
	if p.Level != nil {
		row[0], row[1] = csvLevel(p.Level.Input)
		row[2] = csvFloat(p.Level.Uncertainty)
	}
	for _, w := range p.Monitor {
		if w.Use != runner.Counted {
			continue
		}
		row[3], row[4], row[5] = "", csvExact(w.Expected), csvFloat(w.Allowed.Float()) // that one is computed from uncertainties
		if w.Mark == drivers.None {
			row[3] = w.Frequency.Plain()
		}
	}
	if p.Route != nil {
		row[6], row[7] = csvText(p.Route.Switch), csvText(p.Route.Position)
	}
	return row
}

func csvLevel(l quantity.Level) (number, unit string) {
	if n, ok := l.DBmPlain(); ok {
		return n, "dBm"
	}
	number = strings.TrimSuffix(l.String(), " V")
	if v, err := quantity.Parse[quantity.Volt](l.String()); err == nil {
		number = v.Plain()
	}
	return number, "V"
}

// csvExact writes every digit where the decimal form ends.
func csvExact(x quantity.Exact) string {
	if s := x.String(); !strings.Contains(s, "/") {
		return s
	}
	return x.Fixed(csvPlaces)
}

func csvFloat(f float64) string {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return ""
	}
	return strconv.FormatFloat(f, 'f', -1, 64)
}

func csvTime(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.RFC3339Nano)
}

var plainNumber = regexp.MustCompile(`^[-+]?[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]+)?$`)

// starters begin a formula in one spreadsheet program or another, full-width
// forms among them; an apostrophe is the guard itself.
const starters = "=+-@'|%＝＋－＠"

// csvText makes a text safe to open in a spreadsheet; see CSV.
func csvText(s string) string {
	s = oneLine(s)
	t := strings.TrimLeftFunc(s, unicode.IsSpace) // a spreadsheet may do so too
	if t == "" || plainNumber.MatchString(s) || !strings.ContainsAny(string([]rune(t)[:1]), starters) {
		return s
	}
	return "'" + s
}
