package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"bandproof/reports/imported"
)

// ErrImported: the results are in the store already.
var ErrImported = errors.New("imported already")

// ImportedFile is a file of results as the store has it.
type ImportedFile struct {
	imported.File
	Imported time.Time `json:"imported"`
	Who      string    `json:"who,omitempty"`
}

// ImportedResult is one result with the file that it came in.
type ImportedResult struct {
	imported.Result
	File     string    `json:"file"` // its name
	SHA256   string    `json:"file_sha256"`
	Imported time.Time `json:"imported"`
}

// ImportResults keeps the results of a file and the file, all or nothing. A
// result that the store has already, from this file or another, is an error
// that wraps [ErrImported] and names both lines.
func (s *Store) ImportResults(ctx context.Context, f ImportedFile) error {
	err := s.write(ctx, func(ctx context.Context, tx txn) error {
		if err := isNew(ctx, tx, f); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO imported_file (sha256, name, imported, who, separator, decimal_mark, body)
			VALUES ($1, $2, $3, $4, $5, $6, $7)`, f.SHA256, text(f.Name), stamp(f.Imported), text(f.Who), f.Separator, f.Decimal, []byte(f.Text))
		for k := 0; k < len(f.Results) && err == nil; k++ {
			err = keepResult(ctx, tx, f.SHA256, f.Results[k])
		}
		return err
	})
	if err != nil {
		return wrap(s.file, "import of "+f.Name, err)
	}
	return nil
}

// CheckImport tells what [Store.ImportResults] would say, and keeps nothing.
func (s *Store) CheckImport(ctx context.Context, f ImportedFile) error {
	if err := isNew(ctx, s.db, f); err != nil {
		return wrap(s.file, "import of "+f.Name, err)
	}
	return nil
}

// isNew refuses a file that was imported, and a result that came in another file.
func isNew(ctx context.Context, q querier, f ImportedFile) error {
	switch was, err := fileOf(ctx, q, f.SHA256); {
	case err == nil:
		return fmt.Errorf("%w: the same file, as %s on %s", ErrImported, was.Name, was.Imported.UTC().Format(time.DateOnly))
	case !errors.Is(err, sql.ErrNoRows):
		return err
	}
	for _, r := range f.Results {
		sum, err := r.SHA256()
		if err != nil {
			return err
		}
		var from string
		var line int
		err = q.QueryRowContext(ctx, "SELECT file, line FROM imported_result WHERE sha256 = $1", sum).Scan(&from, &line)
		if errors.Is(err, sql.ErrNoRows) {
			continue
		}
		if err != nil {
			return err
		}
		was, err := fileOf(ctx, q, from)
		if err != nil {
			return err
		}
		return fmt.Errorf("%w: line %d says what line %d of %s said, imported on %s", ErrImported, r.Line, line, was.Name, was.Imported.UTC().Format(time.DateOnly))
	}
	return nil
}

func keepResult(ctx context.Context, tx txn, file string, r imported.Result) error {
	sum, err := r.SHA256()
	if err != nil {
		return err
	}
	body, err := json.Marshal(r)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "INSERT INTO imported_result (sha256, file, line, asset, serial, body) VALUES ($1, $2, $3, $4, $5, $6)",
		sum, file, r.Line, text(r.Asset), text(r.Serial), string(body))
	return err
}

// fileOf returns a file without its text and results.
func fileOf(ctx context.Context, q querier, sum string) (f ImportedFile, err error) {
	var at string
	f.SHA256 = sum
	if err = q.QueryRowContext(ctx, "SELECT name, imported, who, separator, decimal_mark FROM imported_file WHERE sha256 = $1", sum).
		Scan(&f.Name, &at, &f.Who, &f.Separator, &f.Decimal); err != nil {
		return f, err
	}
	f.Imported, err = time.Parse(time.RFC3339Nano, at)
	return f, err
}

// ImportedResults returns the imported results of a unit, by its asset or its
// serial number, in the order of files and lines; none where both are empty.
func (s *Store) ImportedResults(ctx context.Context, asset, serial string) (list []ImportedResult, err error) {
	err = s.each(ctx, func(scan func(...any) error) error {
		var body, at string
		var r ImportedResult
		err := scan(&body, &r.SHA256, &r.File, &at)
		if err == nil {
			r.Result, err = decode[imported.Result](body)
		}
		if err == nil {
			r.Imported, err = time.Parse(time.RFC3339Nano, at)
		}
		list = append(list, r)
		return err
	}, `SELECT r.body, r.file, f.name, f.imported FROM imported_result AS r JOIN imported_file AS f ON f.sha256 = r.file
		WHERE ($1 <> '' AND r.asset = $1) OR ($2 <> '' AND r.serial = $2) ORDER BY f.imported, r.file, r.line`, asset, serial)
	if err != nil {
		return nil, wrap(s.file, "imported results", err)
	}
	return list, nil
}

// ImportedFiles lists the files that were imported, oldest first, without their
// texts, each with the number of its results.
func (s *Store) ImportedFiles(ctx context.Context) (list []ImportedFile, counts []int, err error) {
	err = s.each(ctx, func(scan func(...any) error) error {
		var f ImportedFile
		var at string
		var n int
		err := scan(&f.SHA256, &f.Name, &at, &f.Who, &f.Separator, &f.Decimal, &n)
		if err == nil {
			f.Imported, err = time.Parse(time.RFC3339Nano, at)
		}
		list, counts = append(list, f), append(counts, n)
		return err
	}, `SELECT sha256, name, imported, who, separator, decimal_mark, (SELECT count(*) FROM imported_result AS r WHERE r.file = f.sha256)
		FROM imported_file AS f ORDER BY imported, sha256`)
	if err != nil {
		return nil, nil, wrap(s.file, "imported files", err)
	}
	return list, counts, nil
}

// ImportedText returns the bytes of a file that was imported, as they were.
func (s *Store) ImportedText(ctx context.Context, sha256 string) (body []byte, err error) {
	err = s.first(ctx, "SELECT body FROM imported_file WHERE sha256 = $1", []any{sha256}, &body)
	if errors.Is(err, sql.ErrNoRows) {
		err = fmt.Errorf("%w; \"records imported\" lists them", ErrNotFound)
	}
	if err != nil {
		return nil, wrap(s.file, "imported file "+sha256, err)
	}
	return body, nil
}
