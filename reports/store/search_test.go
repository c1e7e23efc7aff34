package store_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// ids are those of a list, in its order.
func ids(t *testing.T, s *store.Store, q store.Query) []string {
	t.Helper()
	rows, err := s.List(t.Context(), q)
	require.NoError(t, err, "%+v", q)
	list := []string{}
	for _, r := range rows {
		list = append(list, r.ID)
	}
	n, err := s.Count(t.Context(), q, 1000)
	require.NoError(t, err)
	if q.Limit == 0 {
		require.Equal(t, len(list), n, "%+v", q)
	}
	return list
}

func search(t *testing.T, place empty) {
	s := open(t, place(t))
	day := func(n int) time.Time { return time.Date(2026, 11, n, 12, 0, 0, 0, time.UTC) }
	house := record.Standard{Name: "house standard", Role: "reference", Standard: procedures.Standard{Serial: "H-1", Certificate: "C-2025-7"}}
	again := house
	again.Certificate = "C-2026-9"
	source := record.Standard{Name: "MW", Role: "source", Standard: procedures.Standard{Serial: "S-1", Certificate: "C-1"}}
	for k, x := range []struct {
		id, asset, serial, customer string
		statement                   runner.Statement
		standards                   []record.Standard
	}{
		{"r-1", "EX-1", "0815-A", "Example Ltd (invented)", runner.Outside, []record.Standard{house, source}},
		{"r-2", "EX-1", "0815-A", "Example Ltd (invented)", runner.WithinShown, []record.Standard{house}},
		{"r-3", "EX-2", "0816-a", "Ärzte_100% (invented)", runner.Incomplete, []record.Standard{again, source}},
		{"r-4", "", "", "", runner.WithinAll, nil},
	} {
		r := some(x.id, x.serial, runner.AsFound, day(k+1))
		r.Job.Asset, r.Job.Customer, r.Run.Statement, r.Standards = x.asset, x.customer, x.statement, x.standards
		r.Run.Started, r.Run.Finished = day(k+1).Add(-2*time.Hour), day(k+1)
		r.Run.Points = []runner.PointResult{{Point: procedures.Point{ID: "a"}, Standards: []string{"house standard"}},
			{Point: procedures.Point{ID: "b"}, Standards: []string{"house standard"}, Other: &runner.PointResult{Standards: []string{"house standard", "MW"}}}}
		add(t, s, r)
	}
	for _, c := range []struct {
		q    store.Query
		want string
	}{
		{store.Query{}, "r-4 r-3 r-2 r-1"},
		{store.Query{Limit: 2}, "r-4 r-3"},
		{store.Query{Limit: 2, After: "r-3"}, "r-2 r-1"},
		{store.Query{After: "r-1"}, ""},
		{store.Query{Statement: "outside"}, "r-1"},
		{store.Query{Statement: "within"}, "r-4 r-2"},
		{store.Query{Statement: "Incomplete"}, "r-3"},
		{store.Query{Words: "ex-1"}, "r-2 r-1"},
		{store.Query{Words: "0816-A"}, "r-3"},
		{store.Query{Words: "081 ltd"}, "r-2 r-1"},
		{store.Query{Words: "ärzte"}, "r-3"},
		{store.Query{Words: "100%"}, "r-3"},
		{store.Query{Words: "_"}, "r-3"},
		{store.Query{Words: "%"}, "r-3"},
		{store.Query{Words: "test counter"}, "r-4 r-3 r-2 r-1"},
		{store.Query{Words: "' OR 1=1 --"}, ""},
		{store.Query{Since: day(3)}, "r-4 r-3"},
		{store.Query{Until: day(1).Add(-2*time.Hour + 1)}, "r-1"},
		{store.Query{Until: day(1).Add(-2 * time.Hour)}, ""},
		{store.Query{Since: day(1).Add(1), Until: day(3)}, "r-3 r-2"},
		{store.Query{Standard: "house standard"}, "r-3 r-2 r-1"},
		{store.Query{Standard: "H-1"}, "r-3 r-2 r-1"},
		{store.Query{Standard: "C-2025-7"}, "r-2 r-1"},
		{store.Query{Standard: "C-2026-9"}, "r-3"},
		{store.Query{Standard: "MW", Since: day(2)}, "r-3"},
		{store.Query{Standard: "MW", Statement: "outside"}, "r-1"},
		{store.Query{Standard: "house"}, ""},
		{store.Query{Asset: "EX-1", Serial: "0815-A", Customer: "Example Ltd (invented)", Kind: "as-found", Statement: "within", Words: "ex", Since: day(1), Until: day(9), Standard: "H-1"}, "r-2"},
	} {
		require.Equal(t, strings.Fields(c.want), ids(t, s, c.q), "%+v", c.q)
	}
	rows, err := s.List(t.Context(), store.Query{Standard: "MW"})
	require.NoError(t, err)
	require.Equal(t, 1, rows[0].Points, "a second look rests on it too")
	rows, err = s.List(t.Context(), store.Query{Standard: "H-1"})
	require.NoError(t, err)
	require.Equal(t, 2, rows[0].Points)
	for _, q := range []store.Query{{Statement: "fine"}, {Kind: "as found"}, {Since: day(2), Until: day(2)}, {Limit: -1}} {
		_, err := s.List(t.Context(), q)
		require.ErrorIs(t, err, store.ErrQuery, "%+v", q)
	}
	_, err = s.List(t.Context(), store.Query{After: "none"})
	require.ErrorIs(t, err, store.ErrNotFound)
}

// Pages put together are the whole list, also where many records are of one instant.
func pages(t *testing.T, place empty) {
	s := open(t, place(t))
	for k := range 23 {
		add(t, s, some(fmt.Sprintf("r-%02d", k), "1", runner.AsFound, time.Date(2026, 11, 1+k/10, 0, 0, 0, 0, time.UTC)))
	}
	var list []string
	for after := ""; ; {
		page := ids(t, s, store.Query{After: after, Limit: 5})
		if len(page) == 0 {
			break
		}
		list, after = append(list, page...), page[len(page)-1]
	}
	require.Equal(t, ids(t, s, store.Query{}), list)
}

// Texts as they may come from anywhere are kept as they are, and found again.
func hostileTexts(t *testing.T, place empty) {
	s := open(t, place(t))
	long := strings.Repeat("Ω", 10_000)
	for k, x := range []string{"a\x00b", "<script>alert(1)</script>", "\u202Egnol", long, long[:19_998] + "µ", "'; DROP TABLE record; --", "line\nfeed\ttab\x1b[31m", "\U0001F4A5", "%_\\"} {
		r := some(fmt.Sprintf("r-%d", k), x, runner.AsFound, time.Date(2026, 11, 25, 9, k, 0, 0, time.UTC))
		r.Job.Asset, r.Job.Customer, r.Model = x, x, x
		r.Standards = []record.Standard{{Name: x, Standard: procedures.Standard{Serial: x, Certificate: x}}}
		add(t, s, r)
		got, err := s.Record(t.Context(), r.ID)
		require.NoError(t, err)
		require.Equal(t, x, got.Job.Asset)
		for _, q := range []store.Query{{Asset: x}, {Serial: x}, {Customer: x}, {Standard: x}} {
			require.Equal(t, []string{r.ID}, ids(t, s, q), "%.40q", x)
		}
		require.Contains(t, ids(t, s, store.Query{Words: strings.Fields(x)[0]}), r.ID, "%.40q", x)
		j, err := s.Begin(t.Context(), store.Header{ID: fmt.Sprintf("run-%d", k), Job: r.Job})
		require.NoError(t, err)
		require.NoError(t, j.Entry(t.Context(), runner.Entry{Asked: x, Answer: x}))
		require.NoError(t, s.KeepHold(t.Context(), store.Held{ID: fmt.Sprint(k), Serial: x}))
		e, err := s.Earlier(t.Context(), fmt.Sprintf("run-%d", k))
		require.NoError(t, err)
		require.Equal(t, x, e.Entries[0].Answer)
		log, err := s.BenchLog(t.Context(), x)
		require.NoError(t, err)
		require.Len(t, log, 1)
	}
}
