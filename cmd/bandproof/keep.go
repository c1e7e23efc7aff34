package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"bandproof/reports/record"
	"bandproof/reports/sheet"
	"bandproof/reports/store"
	"bandproof/runner"
)

// keep seals the record, writes the files and, last, stores the record, which ends
// the run: one that is killed before goes on here. Whatever goes wrong with one of
// them, the other is still done: a night's readings must not be lost because an
// older record can't be read or a disk is full. A run that ended early has no
// record yet.
func (w sweep) keep(ctx context.Context, result runner.Result) (finished, error) {
	if !result.Complete && !w.resumed.over() {
		return w.interrupted(result), nil
	}
	earlier := w.earlier(ctx, result)
	result = w.stated(result, earlier)
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
	seals := w.seals(ctx, earlier) // before the store is held
	var files []string
	var written error
	write := func(sealed record.Sealed) {
		files, written = w.writeAll(sealed, seals, append(earlier, r)...)
	}
	_, stored := w.store.Add(ctx, r, w.key, w.clock.Now(), write)
	if stored != nil && files == nil { // what there is, without a seal
		text, err := r.Encode()
		stored = errors.Join(stored, err)
		write(record.Sealed{Bytes: text})
	}
	done.Files = files
	if stored != nil && written == nil {
		w.terminal.note("warning: the record could not be kept in the store, but stands in %s; once the store can be written, %q keeps it there", files[0], w.resume(r.ID))
	}
	return done, errors.Join(stored, written)
}

// record is that of a result. It is created when the run ended, so that it is the
// same whenever it is made.
func (w sweep) record(result runner.Result, follows string) record.Record {
	return record.New(record.Parts{ID: result.ID, Follows: follows, Now: result.Finished, Job: w.job, Procedure: w.files.procedure, ProcedureFile: w.files.procedureFile,
		Bench: w.files.bench, BenchFile: w.files.benchFile, Run: result, Logo: nameOf(w.logo), Invented: w.invented, Place: w.place})
}

// earlier finds the records that stand before this one on the data sheet. What
// can't be found or read is a warning: this run's record must be kept anyhow.
func (w sweep) earlier(ctx context.Context, result runner.Result) []record.Record {
	if w.follows != "" {
		r, err := w.store.Newest(ctx, w.follows)
		if err == nil && r.Corrects != nil && r.Corrects.Withdrawn {
			err = fmt.Errorf("record %s was withdrawn (%s)", r.Corrects.ID, r.Corrects.Reason)
		}
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

// stated keeps with the run that a person said which record it follows.
func (w sweep) stated(result runner.Result, earlier []record.Record) runner.Result {
	switch {
	case w.follows == "":
	case len(earlier) > 0:
		result.Events = append(slices.Clone(result.Events), runner.Event{At: result.Finished, Text: "follows record " + earlier[0].ID + ", as a person stated (--follows)"})
	default:
		result.Warnings = append(slices.Clone(result.Warnings), fmt.Sprintf("record %s, which the run was to follow (--follows), could not be taken from the store, or was withdrawn", w.follows))
	}
	return result
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
		if row.CorrectedBy == "" && (r.Corrects == nil || !r.Corrects.Withdrawn) && r.Procedure.SHA256 == w.files.procedureFile.SHA256 && len(r.Run.Only) == 0 {
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

// writeAll writes the last record with its seal, and the data sheet of all
// records as PDF and CSV, each file whole or not at all. seals are those of the
// earlier ones.
func (w sweep) writeAll(sealed record.Sealed, seals []record.Seal, records ...record.Record) ([]string, error) {
	last := records[len(records)-1]
	s, err := sheet.New(records...)
	if err != nil {
		return nil, fmt.Errorf("data sheet: %w", err)
	}
	if sealed.IsSealed() {
		s = s.Sealed(append(seals, sealed.Seal), sealed.Head(), sealed.Seal.Number)
	}
	s = w.terminal.withLogo(s, w.logo)
	var pdf, csv strings.Builder
	if err := s.PDF(&pdf); err != nil {
		return nil, fmt.Errorf("data sheet: %w", err)
	}
	if err := s.CSV(&csv); err != nil {
		return nil, fmt.Errorf("data sheet: %w", err)
	}
	base := filepath.Join(w.out, string(w.kind)+"-"+shortID(last.ID))
	list := []outFile{{base + ".json", sealed.Bytes}, {base + ".pdf", []byte(pdf.String())}, {base + ".csv", []byte(csv.String())}}
	return writeFiles(append(list, sealFiles(base, sealed)...))
}

// seals reads the seals of earlier records.
func (w sweep) seals(ctx context.Context, records []record.Record) (list []record.Seal) {
	for _, r := range records {
		one, err := w.store.Sealed(ctx, r.ID)
		if err != nil {
			w.terminal.note("warning: the seal of the earlier record could not be read: %v", err)
			continue
		}
		list = append(list, one.Seal)
	}
	return list
}

// outFile is a file to be written.
type outFile struct {
	name string
	text []byte
}

// sealFiles are the seal beside a record file, as bytes that anybody can check
// with open tools; none where the record is not sealed.
func sealFiles(base string, s record.Sealed) []outFile {
	if !s.IsSealed() {
		return nil
	}
	return []outFile{{base + ".seal", s.SealBytes}, {base + ".sig", s.Signature}}
}

// writeFiles tells which it could write.
func writeFiles(files []outFile) (list []string, err error) {
	for _, f := range files {
		if err := writeFile(f.name, f.text); err != nil {
			return list, err
		}
		list = append(list, f.name)
	}
	return list, nil
}

// shortID is the tail of an id: of a time-ordered one, the part that differs.
func shortID(id string) string { return id[max(0, len(id)-8):] }

// writeFile writes a file whole or not at all.
func writeFile(file string, text []byte) error {
	return writeFileBy(file, func(w io.Writer) error {
		_, err := w.Write(text)
		return err
	})
}

// writeFileBy is writeFile for what is too long to be held in memory.
func writeFileBy(file string, write func(io.Writer) error) error {
	tmp, err := os.CreateTemp(filepath.Dir(file), ".bandproof-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", file, err)
	}
	err = errors.Join(write(tmp), tmp.Sync(), tmp.Chmod(0o644), tmp.Close())
	if err == nil {
		err = os.Rename(tmp.Name(), file)
	}
	if err != nil {
		_ = os.Remove(tmp.Name())
		return fmt.Errorf("write %s: %w", file, err)
	}
	return nil
}
