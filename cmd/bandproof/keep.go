package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"bandproof/reports/record"
	"bandproof/reports/sheet"
	"bandproof/reports/store"
	"bandproof/runner"
)

// keep writes the files and, last, stores the record, which seals the run: one
// that is killed before goes on here. Whatever goes wrong with one of them, the
// other is still done: a night's readings must not be lost because an older record
// can't be read or a disk is full. A run that ended early has no record yet.
func (w sweep) keep(ctx context.Context, result runner.Result) (finished, error) {
	if !result.Complete && !w.resumed.over() {
		return w.interrupted(result), nil
	}
	earlier := w.earlier(ctx, result)
	follows := ""
	if len(earlier) > 0 {
		follows = earlier[len(earlier)-1].ID
	}
	if len(result.Only) > 0 {
		earlier = nil // an added run has a data sheet of its own
	}
	if follows != "" {
		w.terminal.note("this run follows record %s", follows)
	}
	r := w.record(result, follows)
	r.Adjustments = w.adjustments(ctx, result, earlier)
	done := summarise(r)
	files, written := writeAll(w.out, string(w.kind), append(earlier, r)...)
	done.Files = files
	stored := w.store.Add(ctx, r)
	if stored != nil && written == nil {
		w.terminal.note("warning: the record could not be kept in the store, but stands in %s; once the store can be written, %q keeps it there", files[0], w.resume(r.ID))
	}
	return done, errors.Join(stored, written)
}

// record is that of a result. It is created when the run ended, so that it is the
// same whenever it is made.
func (w sweep) record(result runner.Result, follows string) record.Record {
	return record.New(record.Parts{ID: result.ID, Follows: follows, Now: result.Finished, Job: w.job, Procedure: w.files.procedure, ProcedureFile: w.files.procedureFile,
		Bench: w.files.bench, BenchFile: w.files.benchFile, Run: result, Invented: w.invented})
}

// earlier finds the records that stand before this one on the data sheet. What
// can't be found or read is a warning: this run's record must be kept anyhow.
func (w sweep) earlier(ctx context.Context, result runner.Result) []record.Record {
	if w.follows != "" {
		r, err := w.store.Record(ctx, w.follows)
		if err != nil {
			w.terminal.note("warning: --follows: %v; the data sheet shows this run alone", err)
			return nil
		}
		return []record.Record{r}
	}
	if len(w.only) > 0 {
		return w.addsTo(ctx, result)
	}
	if w.kind == runner.AsFound {
		return nil
	}
	list, err := w.store.Before(ctx, w.kind, w.serial(result), w.files.procedureFile.SHA256, result.Started)
	if err == nil && len(list) > 0 {
		return list
	}
	w.terminal.note("warning: no as-found record of this unit (serial %q) by this very procedure file could be taken from the store; the data sheet shows this run alone", w.serial(result))
	if err != nil {
		w.terminal.note("warning: %v", err)
	}
	if rows, err := w.store.List(ctx, store.Query{Serial: w.serial(result), Kind: string(runner.AsFound)}); err == nil && len(rows) > 0 {
		w.terminal.note("the newest as-found record of the unit is %s, by another procedure file or broken; \"bandproof sheet %s %s\" tries both on one sheet", rows[0].ID, rows[0].ID, result.ID)
	}
	return nil
}

// addsTo finds the newest record of a whole run, of the same kind, unit and
// procedure, which an added run stands beside.
func (w sweep) addsTo(ctx context.Context, result runner.Result) []record.Record {
	rows, err := w.store.List(ctx, store.Query{Serial: w.serial(result), Kind: string(w.kind)})
	for _, row := range rows {
		r, e := w.store.Record(ctx, row.ID)
		if err = e; err != nil {
			break
		}
		if r.Procedure.SHA256 == w.files.procedureFile.SHA256 && len(r.Run.Only) == 0 {
			return []record.Record{r}
		}
	}
	if err != nil {
		w.terminal.note("warning: the run that this one adds to could not be taken from the store: %v", err)
	}
	return nil
}

// adjustments are those of the unit between its as-found run and this one.
func (w sweep) adjustments(ctx context.Context, result runner.Result, earlier []record.Record) []record.Adjustment {
	if w.kind == runner.AsFound {
		return nil
	}
	var after time.Time
	if len(earlier) > 0 {
		after = earlier[0].Run.Finished
	}
	list, err := w.store.Adjustments(ctx, w.serial(result), w.files.procedureFile.SHA256, after, result.Started)
	if err != nil {
		w.terminal.note("warning: adjustments since the as-found run could not be read from the store: %v", err)
	}
	return list
}

func (w sweep) serial(result runner.Result) string {
	if w.job.Serial != "" {
		return w.job.Serial
	}
	return result.Unit.Serial
}

func summarise(r record.Record) finished {
	return finished{Schema: "bandproof run 1", Record: r, ID: r.ID, Kind: string(r.Run.Kind), Statement: string(r.Run.Statement), Only: r.Run.Only, Tally: r.Run.Tally()}
}

// writeAll writes the last record as JSON and the data sheet of all records as
// PDF and CSV, each file whole or not at all.
func writeAll(dir, name string, records ...record.Record) ([]string, error) {
	last := records[len(records)-1]
	text, err := last.Encode()
	if err != nil {
		return nil, err
	}
	s, err := sheet.New(records...)
	if err != nil {
		return nil, fmt.Errorf("data sheet: %w", err)
	}
	var pdf, csv strings.Builder
	if err := s.PDF(&pdf); err != nil {
		return nil, fmt.Errorf("data sheet: %w", err)
	}
	if err := s.CSV(&csv); err != nil {
		return nil, fmt.Errorf("data sheet: %w", err)
	}
	base := filepath.Join(dir, name+"-"+shortID(last.ID))
	var list []string
	for _, f := range []struct {
		file string
		text []byte
	}{{base + ".json", text}, {base + ".pdf", []byte(pdf.String())}, {base + ".csv", []byte(csv.String())}} {
		if err := writeFile(f.file, f.text); err != nil {
			return list, err
		}
		list = append(list, f.file)
	}
	return list, nil
}

// shortID is the tail of an id: of a time-ordered one, the part that differs.
func shortID(id string) string { return id[max(0, len(id)-8):] }

// writeFile writes a file whole or not at all.
func writeFile(file string, text []byte) error {
	tmp, err := os.CreateTemp(filepath.Dir(file), ".bandproof-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", file, err)
	}
	_, err = tmp.Write(text)
	err = errors.Join(err, tmp.Sync(), tmp.Chmod(0o644), tmp.Close())
	if err == nil {
		err = os.Rename(tmp.Name(), file)
	}
	if err != nil {
		_ = os.Remove(tmp.Name())
		return fmt.Errorf("write %s: %w", file, err)
	}
	return nil
}
