package store_test

import (
	"database/sql"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

func wireLogsComeBack(t *testing.T, place empty) {
	s := open(t, place(t))
	for _, run := range []string{"one", "two", "none"} {
		_, err := s.Begin(t.Context(), store.Header{ID: run, Kind: runner.AsFound})
		require.NoError(t, err)
	}
	line := strings.Repeat("2026-11-25T11:20:33.123456Z TCPIP0::192.0.2.7::5025::SOCKET sent \"*IDN?\\n\"\n", 100)
	one, two := s.WireLog(t.Context(), "one"), s.WireLog(t.Context(), "two")
	for k := range 30 {
		_, err := one.Write([]byte(line))
		require.NoError(t, err, k)
		_, err = two.Write([]byte("x"))
		require.NoError(t, err, k)
	}
	got, err := s.ReadWireLog(t.Context(), "one")
	require.NoError(t, err)
	require.Equal(t, strings.Repeat(line, 30), string(got))
	got, err = s.ReadWireLog(t.Context(), "two")
	require.NoError(t, err)
	require.Equal(t, strings.Repeat("x", 30), string(got))

	_, err = s.ReadWireLog(t.Context(), "none")
	require.ErrorIs(t, err, store.ErrNoWireLog)
	_, err = s.WireLog(t.Context(), "no such run").Write([]byte("x"))
	require.ErrorIs(t, err, store.ErrStore)
}

func TestWireLogsAreKeptCompressedAndNeverChanged(t *testing.T) {
	file := filepath.Join(t.TempDir(), "s.db")
	s := open(t, file)
	_, err := s.Begin(t.Context(), store.Header{ID: "one", Kind: runner.AsFound})
	require.NoError(t, err)
	line := strings.Repeat("2026-11-25T11:20:33.123456Z TCPIP0::192.0.2.7::5025::SOCKET sent \"*IDN?\\n\"\n", 100)
	for range 30 {
		_, err := s.WireLog(t.Context(), "one").Write([]byte(line))
		require.NoError(t, err)
	}
	db, err := sql.Open("sqlite", file)
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	for _, q := range []string{"UPDATE wire_log SET body = x''", "DELETE FROM wire_log",
		"INSERT OR REPLACE INTO wire_log (seq, run, body) VALUES (1, 'one', x'')"} {
		_, err := db.Exec(q)
		require.ErrorContains(t, err, "never", q)
	}
	var bytes int
	require.NoError(t, db.QueryRow("SELECT sum(length(body)) FROM wire_log WHERE run = 'one'").Scan(&bytes))
	require.Less(t, bytes*5, 30*len(line), "compressed")
}
