package store_test

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bandproof/reports/imported"
	"bandproof/reports/store"

	"github.com/stretchr/testify/require"
)

// results reads a file of imported results: a line "serial,asset,ppm" each.
func results(t *testing.T, name string, lines ...string) store.ImportedFile {
	t.Helper()
	at := time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC)
	text := "serial,asset,error,date,run,unit_reference,uncertainty,k\r\n"
	for _, l := range lines {
		text += l + " ppm,2024-05-31,as-found,own,0.01 ppm,2\r\n"
	}
	f, err := imported.Parse(name, []byte(text), imported.Options{Today: at})
	require.NoError(t, err)
	return store.ImportedFile{File: f, Imported: at, Who: "A. Example (invented)"}
}

func importedResultsComeInOnce(t *testing.T, place empty) {
	s := open(t, place(t))
	ctx := t.Context()
	one := results(t, "one.csv", "S-1,A-1,0.1", "S-2,,0.2", ",A-1,0.3")
	require.NoError(t, s.CheckImport(ctx, one))
	list, err := s.ImportedResults(ctx, "A-1", "S-1")
	require.NoError(t, err)
	require.Empty(t, list, "a check keeps nothing")

	require.NoError(t, s.ImportResults(ctx, one))
	for _, c := range []struct {
		asset, serial string
		want          []int // lines
	}{{"A-1", "S-1", []int{2, 4}}, {"", "S-1", []int{2}}, {"", "S-2", []int{3}}, {"A-1", "", []int{2, 4}}, {"", "", nil}, {"S-1", "A-1", nil}, {"' OR 1=1 --", "x", nil}} {
		list, err := s.ImportedResults(ctx, c.asset, c.serial)
		require.NoError(t, err)
		var lines []int
		for _, r := range list {
			require.Equal(t, []any{"one.csv", one.SHA256, one.Imported}, []any{r.File, r.SHA256, r.Imported.UTC()})
			require.Equal(t, one.Results[r.Line-2], r.Result)
			lines = append(lines, r.Line)
		}
		require.Equal(t, c.want, lines, "%+v", c)
	}
	files, counts, err := s.ImportedFiles(ctx)
	require.NoError(t, err)
	require.Equal(t, []int{3}, counts)
	require.Equal(t, []string{"one.csv", one.SHA256, "A. Example (invented)", ",", "point", ""}, []string{files[0].Name, files[0].SHA256, files[0].Who, files[0].Separator, files[0].Decimal, files[0].Text})
	text, err := s.ImportedText(ctx, one.SHA256)
	require.NoError(t, err)
	require.Equal(t, one.Text, string(text))
	_, err = s.ImportedText(ctx, "none")
	require.ErrorIs(t, err, store.ErrNotFound)

	// Nothing comes in twice: neither the file, nor a line of it in another file.
	for _, try := range []func() error{func() error { return s.ImportResults(ctx, one) }, func() error { return s.CheckImport(ctx, one) }} {
		err := try()
		require.ErrorIs(t, err, store.ErrImported)
		require.ErrorIs(t, err, store.ErrStore)
		require.ErrorContains(t, err, "the same file, as one.csv on 2026-11-26")
	}
	other := results(t, "other.csv", "S-3,,0.5", "S-2,,0.2")
	for _, try := range []func() error{func() error { return s.CheckImport(ctx, other) }, func() error { return s.ImportResults(ctx, other) }} {
		err := try()
		require.ErrorIs(t, err, store.ErrImported)
		require.ErrorContains(t, err, "line 3 says what line 3 of one.csv said")
	}
	list, err = s.ImportedResults(ctx, "", "S-3")
	require.NoError(t, err)
	require.Empty(t, list, "all or nothing")
	require.NoError(t, s.ImportResults(ctx, results(t, "one.csv", "S-3,,0.5")), "another file of the same name")
}

func TestImportedResultsAreNeverChanged(t *testing.T) {
	file := filepath.Join(t.TempDir(), "s.db")
	s := open(t, file)
	require.NoError(t, s.ImportResults(t.Context(), results(t, "one.csv", "S-1,A-1,0.1")))
	db, err := sql.Open("sqlite", file)
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	for _, table := range []string{"imported_file", "imported_result"} {
		for _, q := range []string{"UPDATE %s SET body = body", "DELETE FROM %s", "INSERT OR REPLACE INTO %[1]s SELECT * FROM %[1]s"} {
			_, err := db.Exec(fmt.Sprintf(strings.ReplaceAll(q, "%s", "%[1]s"), table))
			require.ErrorContains(t, err, "never", "%s: %s", table, q)
		}
	}
}
