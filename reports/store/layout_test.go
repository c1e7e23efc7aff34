package store_test

import (
	"database/sql"
	"net/url"
	"strings"
	"testing"

	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/reports/store/storetest"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// A store of an earlier layout is copied, brought up to date, and finds its records
// by what that layout did not know.
func earlierLayout(t *testing.T, place empty) {
	where := place(t)
	s := open(t, where)
	r := some("one", "1", runner.AsFound, at(1))
	r.Standards = []record.Standard{{Name: "house standard", Standard: procedures.Standard{Certificate: "C-1"}}}
	add(t, s, r)
	_, err := s.Begin(t.Context(), store.Header{ID: "open", Kind: runner.AsFound, Started: at(2)})
	require.NoError(t, err)
	_, err = s.Begin(t.Context(), store.Header{ID: "one", Kind: runner.AsFound, Started: at(1)})
	require.NoError(t, err)
	was, err := s.Sealed(t.Context(), "one")
	require.NoError(t, err)
	s.DownTo(t, 8)
	require.NoError(t, s.Close())

	s = open(t, where)
	require.Len(t, s.Notes(), 1)
	require.Contains(t, s.Notes()[0], "is brought up to date (from 8 to ")
	require.Equal(t, []string{"one"}, ids(t, s, store.Query{Standard: "C-1", Words: "test"}))
	got, err := s.Sealed(t.Context(), "one")
	require.NoError(t, err)
	require.Equal(t, was, got)
	left, err := s.Interrupted(t.Context())
	require.NoError(t, err)
	require.Len(t, left, 1)
	require.Equal(t, "open", left[0].Header.ID)
	add(t, s, some("two", "1", runner.AsLeft, at(3)))
	v, err := s.Verify(t.Context(), record.Expect{}, nil)
	require.NoError(t, err)
	require.True(t, v.Holds(), "%+v", v.Findings)

	_, kept, _ := strings.Cut(s.Notes()[0], "it is kept in ")
	var db *sql.DB
	table := "record"
	if store.OnServer(where) {
		db, table = storetest.Open(t, where), strings.TrimSuffix(strings.TrimPrefix(kept, "schema "), " of the same database")+".record"
	} else {
		db, err = sql.Open("sqlite", "file:"+(&url.URL{Path: kept}).EscapedPath())
		require.NoError(t, err)
		defer func() { require.NoError(t, db.Close()) }()
	}
	var id, seal string
	require.NoError(t, db.QueryRow("SELECT id, seal FROM "+table).Scan(&id, &seal))
	require.Equal(t, []string{"one", string(was.SealBytes)}, []string{id, seal})
	require.NoError(t, s.Close())
	again := open(t, where)
	require.Empty(t, again.Notes())
}
