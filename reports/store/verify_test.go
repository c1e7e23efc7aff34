package store_test

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// sealedStore holds n records, and gives a way around its triggers.
func sealedStore(t *testing.T, n int) (*store.Store, *sql.DB, string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "s.db")
	s := open(t, file)
	at := time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC)
	for k := range n {
		r := some(fmt.Sprintf("rec-%d", k+1), fmt.Sprint(k), runner.AsFound, at.Add(time.Duration(k)*time.Hour))
		r.Standards = []record.Standard{{Name: "house standard", Role: "reference", Standard: procedures.Standard{Serial: "R-1"}}}
		add(t, s, r)
	}
	raw, err := sql.Open("sqlite", "file:"+file+"?_pragma=busy_timeout(5000)")
	require.NoError(t, err)
	t.Cleanup(func() { _ = raw.Close() })
	forge(t, raw, "DROP TRIGGER record_is_final", "DROP TRIGGER record_stays", "DROP TRIGGER record_is_not_replaced", "DROP INDEX record_chain",
		"DROP TRIGGER listed_is_final", "DROP TRIGGER record_standard_is_final", "DROP TRIGGER record_standard_stays", "PRAGMA synchronous = OFF")
	return s, raw, file
}

func forge(t *testing.T, raw *sql.DB, statements ...string) {
	t.Helper()
	for _, q := range statements {
		_, err := raw.ExecContext(t.Context(), q)
		require.NoError(t, err, q)
	}
}

func verified(t *testing.T, s *store.Store, expect record.Expect) record.Verification {
	t.Helper()
	v, err := s.Verify(t.Context(), expect, nil)
	require.NoError(t, err)
	return v
}

// Every byte of every column of a record's row.
func TestEveryByteOfARowCounts(t *testing.T) {
	s, raw, _ := sealedStore(t, 1)
	require.Equal(t, 1, verified(t, s, record.Expect{}).Proven)
	for _, column := range []string{"id", "kind", "created", "asset", "serial", "customer", "model", "statement", "follows", "corrects", "chain", "seal", "packed_sha256", "signature", "body"} {
		var was []byte
		require.NoError(t, raw.QueryRowContext(t.Context(), "SELECT CAST("+column+" AS BLOB) FROM record").Scan(&was))
		kind := "TEXT"
		if column == "signature" || column == "body" {
			kind = "BLOB"
		}
		was = append([]byte{}, was...)
		put := func(b []byte) {
			_, err := raw.ExecContext(t.Context(), "UPDATE record SET "+column+" = CAST(? AS "+kind+")", b)
			require.NoError(t, err)
		}
		tried := 0
		try := func(b []byte, what string) {
			tried++
			put(b)
			if v := verified(t, s, record.Expect{}); v.Holds() {
				t.Fatalf("%s: %s: not found", column, what)
			}
		}
		step := 1
		if testing.Short() && len(was) > 64 {
			step = 41
		}
		for at := 0; at < len(was); at += step {
			x := was[at]
			for _, to := range []byte{x ^ 0x20, "0 "[at%2]} {
				if to != x {
					b := bytes.Clone(was)
					b[at] = to
					try(b, fmt.Sprintf("byte %d from %q to %q", at, x, to))
				}
			}
		}
		try(append(bytes.Clone(was), ' '), "a space at the end")
		if len(was) > 0 {
			try([]byte{}, "emptied")
		}
		put(was)
		t.Logf("%s: %d changes of %d bytes", column, tried, len(was))
	}
	for _, n := range []int{0, 2, -1, 1 << 40} {
		_, err := raw.ExecContext(t.Context(), "UPDATE record SET number = ?", n)
		require.NoError(t, err)
		require.False(t, verified(t, s, record.Expect{}).Holds(), n)
	}
	forge(t, raw, "UPDATE record SET number = 1")
	require.True(t, verified(t, s, record.Expect{}).Holds(), "as it was")
}

// What somebody with the file, but without the key, may do to the records, which
// are examined several at a time.
func TestForgedRecordsExaminedAtOnce(t *testing.T) {
	const columns = "id, kind, created, asset, serial, customer, model, statement, follows, corrects, chain, number, seal, signature, packed_sha256, body"
	for name, c := range map[string]struct {
		forge []string
		want  string
	}{
		"removed from the middle": {[]string{"DELETE FROM record WHERE number = 2"}, "record number 2 of the chain is missing"},
		"the first removed":       {[]string{"DELETE FROM record WHERE number = 1"}, "record number 1 of the chain is missing"},
		"renumbered": {[]string{"DELETE FROM record WHERE number = 2", "UPDATE record SET number = number - 1 WHERE number > 2"},
			"is kept as number 2 of chain"},
		"swapped": {[]string{"UPDATE record SET number = 9 WHERE number = 2", "UPDATE record SET number = 2 WHERE number = 3", "UPDATE record SET number = 3 WHERE number = 9"},
			"is kept as number 3 of chain"},
		"put in twice":                 {[]string{"INSERT INTO record (" + columns + ") SELECT 'again', kind, created, asset, serial, customer, model, statement, follows, corrects, chain, number, seal, signature, packed_sha256, body FROM record WHERE number = 2"}, `column "id" beside the record`},
		"filed as another":             {[]string{"UPDATE record SET serial = '0' WHERE number = 2"}, `column "serial" beside the record is not what the record says`},
		"seal taken away":              {[]string{"UPDATE record SET seal = '', signature = x'', chain = '', number = 0 WHERE number = 4"}, "has no seal"},
		"hidden from a search by date": {[]string{"UPDATE listed SET began = '2031-01-01T00:00:00.000000000Z', ended = began WHERE record = (SELECT id FROM record WHERE number = 2)"}, "searches by date have it from"},
		"hidden from the standard":     {[]string{"DELETE FROM record_standard WHERE record = (SELECT id FROM record WHERE number = 2)"}, "searches do not find it by standard"},
		"said to rest on it":           {[]string{"UPDATE record_standard SET points = points + 1 WHERE record = (SELECT id FROM record WHERE number = 3)"}, "which is not what the record says"},
		"another standard":             {[]string{"UPDATE standard SET serial = 'X'"}, "searches do not find it by standard"},
		"another chain":                {[]string{"UPDATE chain SET id = 'mine'"}, "the store does not know of chain"},
	} {
		s, raw, _ := sealedStore(t, 4)
		forge(t, raw, c.forge...)
		v := verified(t, s, record.Expect{})
		require.False(t, v.Holds(), name)
		require.Contains(t, fmt.Sprint(v.Findings), c.want, name)
	}
}

// A tail that was cut off is found by head and number of records alone, and the
// program says so where they are not given; a chain of another key by the key.
func TestTailAndKey(t *testing.T) {
	s, raw, _ := sealedStore(t, 4)
	v := verified(t, s, record.Expect{})
	require.Len(t, v.Chains, 1)
	require.True(t, v.Chains[0].Own)
	head := record.Expect{Head: v.Chains[0].Head, Count: 4}
	require.True(t, verified(t, s, head).Holds())
	forge(t, raw, "DELETE FROM record WHERE number = 4")
	v = verified(t, s, record.Expect{})
	require.True(t, v.Holds())
	require.Contains(t, fmt.Sprint(v.Open), "cut off the store can't be excluded")
	require.Contains(t, fmt.Sprint(verified(t, s, head).Findings), "the tail was cut off")
	public, _ := testKey.Public().(ed25519.PublicKey)
	require.True(t, verified(t, s, record.Expect{Keys: []string{record.Fingerprint(public)}}).Holds())
	require.Contains(t, fmt.Sprint(verified(t, s, record.Expect{Keys: []string{"0000-0000-0000-0000"}}).Findings), "is signed by key")
}

// Records of two stores in one file, put together by hand.
func TestMergedStores(t *testing.T) {
	a, raw, _ := sealedStore(t, 2)
	_, other, file := sealedStore(t, 3)
	forge(t, other, "UPDATE record SET id = id")
	require.NoError(t, other.Close())
	forge(t, raw, "ATTACH '"+file+"' AS o", "INSERT INTO record SELECT * FROM o.record WHERE id NOT IN (SELECT id FROM record)")
	v := verified(t, a, record.Expect{})
	require.False(t, v.Holds())
	require.Contains(t, fmt.Sprint(v.Findings), "the store does not know of chain")
}

// The journal, where it is still there, tells what the reading was.
func TestJournalNamesTheReading(t *testing.T) {
	s, raw, _ := sealedStore(t, 0)
	at := time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC)
	r := some("run-1", "1", runner.AsFound, at)
	p := readOnce("B-007", "225000012", at)
	r.Run.Points, r.Run.Planned, r.Run.Complete = []runner.PointResult{readOnce("B-006", "224000000", at), p}, 2, true
	j, err := s.Begin(t.Context(), store.Header{ID: "run-1", Started: at, Kind: runner.AsFound, Procedure: r.Procedure, Bench: r.Bench})
	require.NoError(t, err)
	for _, p := range r.Run.Points {
		require.NoError(t, j.Point(t.Context(), p))
	}
	add(t, s, r)
	require.True(t, verified(t, s, record.Expect{}).Holds())
	sealed, err := s.Sealed(t.Context(), "run-1")
	require.NoError(t, err)
	forged := bytes.Replace(sealed.Bytes, []byte(`"text":"225000012"`), []byte(`"text":"225000002"`), 1)
	sum := sha256.Sum256(forged)
	_, err = raw.ExecContext(t.Context(), "UPDATE record SET body = ?, packed_sha256 = ?", forged, hex.EncodeToString(sum[:]))
	require.NoError(t, err)
	v := verified(t, s, record.Expect{})
	require.Len(t, v.Findings, 1)
	require.Equal(t, `point B-007, readings/0/text (/run/points/1/readings/0/text): was "225000012", is "225000002"`, v.Findings[0].String())
	one, err := s.VerifyRecord(t.Context(), "run-1", record.Expect{})
	require.NoError(t, err)
	require.Equal(t, v.Findings, one.Findings)
}

// One record is proven with its neighbours in the chain.
func TestVerifyOneRecord(t *testing.T) {
	s, raw, _ := sealedStore(t, 5)
	v, err := s.VerifyRecord(t.Context(), "rec-3", record.Expect{})
	require.NoError(t, err)
	require.True(t, v.Holds())
	require.Equal(t, 3, v.Records)
	require.Contains(t, v.Shown, "before it in its chain: rec-2; behind it: rec-4")
	v, err = s.VerifyRecord(t.Context(), "rec-5", record.Expect{})
	require.NoError(t, err)
	require.Contains(t, v.Shown, "before it in its chain: rec-4; behind it: nothing, it is the newest")
	forge(t, raw, "DELETE FROM record WHERE number = 2")
	v, err = s.VerifyRecord(t.Context(), "rec-3", record.Expect{})
	require.NoError(t, err)
	require.Contains(t, fmt.Sprint(v.Findings), "record number 2 of the chain is missing")
	_, err = s.VerifyRecord(t.Context(), "nobody", record.Expect{})
	require.ErrorIs(t, err, store.ErrNotFound)
}

// readOnce is a point with one reading that shows no count at the unit.
func readOnce(id, text string, at time.Time) runner.PointResult {
	return runner.PointResult{Point: procedures.Point{ID: id}, Readings: []runner.Reading{{Reading: drivers.Reading{Text: text, Mark: drivers.NoSignal, At: at}, Use: runner.Counted}},
		Judgement: procedures.Judgement{Verdict: decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}}, Started: at, Finished: at}
}

// An archive is proven without a store: one from before the newest record lacks a
// tail, one with a changed byte is told of.
func TestVerifyOfAnArchive(t *testing.T) {
	s, _, file := sealedStore(t, 3)
	archive := filepath.Join(filepath.Dir(file), "a.zip")
	_, err := s.Export(t.Context(), archive, store.Export{})
	require.NoError(t, err)
	v, err := store.VerifyArchive(t.Context(), archive, record.Expect{})
	require.NoError(t, err)
	require.True(t, v.Holds())
	require.Equal(t, 3, v.Proven)
	head := record.Expect{Head: v.Chains[0].Head, Count: 3}
	add(t, s, some("rec-4", "9", runner.AsLeft, time.Date(2026, 11, 27, 9, 0, 0, 0, time.UTC)))
	now := verified(t, s, head)
	require.Contains(t, now.Shown[0], "1 record was added since")
	v, err = store.VerifyArchive(t.Context(), archive, record.Expect{Head: now.Chains[0].Head, Count: 4})
	require.NoError(t, err)
	require.Contains(t, fmt.Sprint(v.Findings), "the tail was cut off: the data sheet tells of 4 records, here the last one is number 3")
	text, err := os.ReadFile(archive)
	require.NoError(t, err)
	found := 0
	for at := 40; at < len(text); at += 97 {
		bad := bytes.Clone(text)
		bad[at] ^= 1
		require.NoError(t, os.WriteFile(archive, bad, 0o600))
		if v, err := store.VerifyArchive(t.Context(), archive, head); err != nil || !v.Holds() {
			found++
		} else {
			// What unzip does not look at, such as times and attributes of members.
			t.Logf("byte %d is none of a member", at)
		}
	}
	require.Greater(t, found, len(text)/97*8/10)
}
