package store_test

import (
	"bufio"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"bandproof/reports/store"

	"github.com/stretchr/testify/require"
)

// A backup that is taken while another process writes is a store by itself, and
// holds all that was kept before it began, without gaps.
func TestBackupDuringWrites(t *testing.T) {
	file := filepath.Join(t.TempDir(), "s.db")
	writer := child("points", file)
	out, err := writer.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, writer.Start())
	defer func() { _ = writer.Process.Kill(); _ = writer.Wait() }()
	said := bufio.NewScanner(out)
	last := 0
	read := func(n int) {
		for range n {
			require.True(t, said.Scan())
			last, err = strconv.Atoi(said.Text())
			require.NoError(t, err)
		}
	}
	read(30)
	s := open(t, file)
	for k := range 5 {
		read(20)
		to := filepath.Join(t.TempDir(), fmt.Sprintf("backup-%d.db", k))
		require.NoError(t, s.Backup(t.Context(), to))
		db, err := sql.Open("sqlite", to)
		require.NoError(t, err)
		var whole string
		require.NoError(t, db.QueryRow("PRAGMA integrity_check").Scan(&whole))
		require.Equal(t, "ok", whole)
		require.NoError(t, db.Close())
		b := open(t, to)
		points, err := b.Points(t.Context(), "run")
		require.NoError(t, err)
		require.Greater(t, len(points), last, "all that was acknowledged before")
		for n, p := range points {
			require.Equal(t, strconv.Itoa(n), p.Point.ID, "no gaps")
		}
		require.ErrorIs(t, s.Backup(t.Context(), to), store.ErrExists, "a backup takes no other's place")
		entries, err := os.ReadDir(filepath.Dir(to))
		require.NoError(t, err)
		for _, e := range entries {
			require.NotContains(t, e.Name(), ".bandproof-", "nothing half written is left")
		}
	}
	require.ErrorIs(t, s.Backup(t.Context(), filepath.Join(t.TempDir(), "no", "such", "folder.db")), store.ErrStore)
}
