package store

import (
	"compress/gzip"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// SetPatience changes how long a statement may take.
func (s *Store) SetPatience(d time.Duration) { s.dialect.patience = d }

// Backend is the server's process for the only connection that is open.
func (s *Store) Backend(tb testing.TB) (pid int) {
	require.NoError(tb, s.first(tb.Context(), "SELECT pg_backend_pid()", nil, &pid))
	return pid
}

// Setting is what holds on a connection of the store.
func (s *Store) Setting(tb testing.TB, name string) (is string) {
	require.NoError(tb, s.first(tb.Context(), "SELECT current_setting($1)", []any{name}, &is))
	return is
}

// OldStore lays out a store of an earlier layout.
func OldStore(tb testing.TB) string { return oldStore(tb) }

func oldStore(tb testing.TB) string {
	tb.Helper()
	f, err := os.Open(filepath.Join("testdata", "layout-5.db.gz"))
	require.NoError(tb, err)
	defer func() { _ = f.Close() }()
	z, err := gzip.NewReader(f)
	require.NoError(tb, err)
	text, err := io.ReadAll(z)
	require.NoError(tb, err)
	file := filepath.Join(tb.TempDir(), "old.db")
	require.NoError(tb, os.WriteFile(file, text, 0o644))
	return file
}

// DownTo takes the layout back to an earlier one.
func (s *Store) DownTo(tb testing.TB, layout int64) {
	p, err := s.dialect.provider(s)
	require.NoError(tb, err)
	_, err = p.DownTo(tb.Context(), layout)
	require.NoError(tb, err)
}
