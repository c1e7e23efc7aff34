package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden files anew")

// visit is one run of the unit on the bench.
type visit struct {
	years  float64 // after the first
	kind   runner.Kind
	offset string // of the unit's timebase
}

// fiveYears is a unit that ages by about 0.11 ppm a year and is adjusted twice.
var fiveYears = []visit{
	{0, runner.AsFound, "0.31 ppm"}, {0.01, runner.AsLeft, "0.02 ppm"},
	{1.02, runner.AsFound, "0.135 ppm"},
	{2.05, runner.AsFound, "0.241 ppm"},
	{3.01, runner.AsFound, "0.352 ppm"}, {3.02, runner.AsLeft, "-0.05 ppm"},
	{4.00, runner.AsFound, "0.058 ppm"},
	{5.03, runner.AsFound, "0.169 ppm"},
}

// years takes the visits of a unit through the whole program into one store; the
// standards of the bench are calibrated anew each year.
func years(t *testing.T, visits []visit) (file string) {
	t.Helper()
	file = filepath.Join(t.TempDir(), "years.db")
	s, err := store.Open(t.Context(), file)
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	for _, v := range visits {
		year := 2026 + int(v.years+0.0001)
		b := newBed(t, night{later: time.Duration(v.years * 365.25 * 24 * float64(time.Hour)), scenario: []string{`offset = "0.12 ppm"`, fmt.Sprintf("offset = %q", v.offset)},
			benchFile: []string{"2027-03", fmt.Sprintf("%d-12", year+1), "2026-03", fmt.Sprintf("%d-03", year), "EX-2026", fmt.Sprintf("EX-%d", year)}})
		b.sweep.store, b.sweep.kind = s, v.kind
		b.sweep.job.Asset = "A-17"
		_, err := b.sweep.do(t.Context())
		require.NoError(t, err, b.said.String())
	}
	return file
}

// bandproof runs the program in this process.
func bandproof(t *testing.T, code int, args ...string) (out, errOut string) {
	t.Helper()
	var o, e bytes.Buffer
	require.Equal(t, code, execute(context.Background(), args, strings.NewReader(""), &o, &e), "%v\n%s%s", args, o.String(), e.String())
	return o.String(), e.String()
}

// golden compares with a file below testdata, or writes it.
func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err, "-update makes it; read it")
	require.Equal(t, string(want), got)
}

func TestFiveYears(t *testing.T) {
	file := years(t, fiveYears)
	s, err := store.Open(t.Context(), file)
	require.NoError(t, err)
	rows, err := s.List(t.Context(), store.Query{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	names := []string{}
	for k := range rows { // newest first
		names = append(names, shortID(rows[len(rows)-1-k].ID), fmt.Sprintf("record-%d", k+1))
	}
	plain := strings.NewReplacer(names...)
	out, _ := bandproof(t, 0, "records", "history", "A-17", "--store", file, "--plot", filepath.Join(t.TempDir(), "p.png"))
	golden(t, "history.txt", plain.Replace(out))
	out, _ = bandproof(t, 0, "records", "history", rows[0].Serial, "--store", file, "--of", "B 1.2 GHz")
	golden(t, "history-point.txt", plain.Replace(out))
	out, _ = bandproof(t, 0, "records", "compare", rows[len(rows)-1].ID, rows[len(rows)-2].ID, "--store", file)
	golden(t, "compare.txt", plain.Replace(out))
	out, _ = bandproof(t, 0, "records", "compare", rows[len(rows)-1].ID, rows[0].ID, "--store", file)
	require.Contains(t, out, "all contributions are taken as independent", "the reference had another certificate five years later")
	withdrawnHistory(t, file, rows)
	hostileHistory(t, file, rows[0].ID)
}

// withdrawnHistory withdraws a record: the history goes without it, and says so.
func withdrawnHistory(t *testing.T, file string, rows []store.Row) {
	t.Helper()
	id := rows[0].ID
	s, err := store.Open(t.Context(), file)
	require.NoError(t, err)
	r, err := s.Record(t.Context(), id)
	require.NoError(t, err)
	r.ID, r.Corrects = "0withdrawal", &record.Correction{ID: id, Reason: "wrong pad (invented)", Who: "A. Example (invented)", Withdrawn: true}
	_, err = s.Add(t.Context(), r, testKey, r.Created, nil)
	require.NoError(t, errors.Join(err, s.Close()))
	out, _ := bandproof(t, 0, "records", "history", "A-17", "--store", file)
	require.Contains(t, out, "asset A-17: 7 runs")
	require.Contains(t, out, "left out: record "+id+" is withdrawn by 0withdrawal: wrong pad (invented)")
	require.NotContains(t, out, "2031-12-07")
	out, _ = bandproof(t, 0, "records", "compare", rows[1].ID, rows[0].ID, "--store", file)
	require.Contains(t, out, "note: B is corrected by record 0withdrawal, which takes its place")
}

// hostileHistory shows a unit whose names would be markup, a formula, or marks of
// direction: they stay text.
func hostileHistory(t *testing.T, file, id string) {
	t.Helper()
	s, err := store.Open(t.Context(), file)
	require.NoError(t, err)
	r, err := s.Record(t.Context(), id)
	require.NoError(t, err)
	r.ID, r.Job.Serial, r.Job.Asset, r.Model = "0hostile", "<script>\u202e=1+1", "\x1b[31m"+strings.Repeat("x", 10_000), "<b>\x07"
	_, err = s.Add(t.Context(), r, testKey, r.Created, nil)
	require.NoError(t, errors.Join(err, s.Close()))
	dir := t.TempDir()
	out, errOut := bandproof(t, 0, "records", "history", r.Job.Serial, "--store", file, "--plot", filepath.Join(dir, "p.svg"), "--to", filepath.Join(dir, "h.csv"))
	for _, mark := range []string{"\u202e", "\x1b", "\x07"} {
		require.NotContains(t, out+errOut, mark)
	}
	picture, err := os.ReadFile(filepath.Join(dir, "p.svg"))
	require.NoError(t, err)
	require.NotContains(t, string(picture), "<script>")
	_, err = os.ReadFile(filepath.Join(dir, "h.csv"))
	require.NoError(t, err)
}
