package store

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/reports/store/storetest"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// scale is how many records the benchmarks search through.
func scale(b *testing.B) int {
	if text := os.Getenv("BANDPROOF_BENCH_RECORDS"); text != "" {
		n, err := strconv.Atoi(text)
		require.NoError(b, err)
		return n
	}
	return 100_000
}

// sample is a record of real size: that of the demo, with points repeated until
// there are as many as asked for.
func sample(tb testing.TB, points int) record.Record {
	s, err := Open(tb.Context(), oldStore(tb))
	require.NoError(tb, err)
	defer func() { require.NoError(tb, s.Close()) }()
	rows, err := s.List(tb.Context(), Query{Kind: "as-left"})
	require.NoError(tb, err)
	r, err := s.Record(tb.Context(), rows[0].ID)
	require.NoError(tb, err)
	r.Schema, r.Follows = record.Schema, ""
	for k := 0; len(r.Run.Points) < points; k++ {
		p := r.Run.Points[k]
		p.Point.ID += "-again"
		r.Run.Points = append(r.Run.Points, p)
	}
	r.Run.Planned = len(r.Run.Points)
	return r
}

// varied makes the k-th of many records: 20,000 units of 500 customers, each
// calibrated again and again over years, with standards that get new certificates.
func varied(r record.Record, k int) record.Record {
	at := time.Date(2015, 1, 5, 8, 0, 0, 0, time.UTC).Add(time.Duration(k) * time.Hour)
	unit := k % 20_000
	r.ID = fmt.Sprintf("%08x-%04x-7%03x-8%03x-%012x", k/16, k%16<<12, k%4096, k%4096, uint64(k)*0x9E3779B97F4A7C15>>16)
	r.Created = at.Add(time.Hour)
	r.Run.Started, r.Run.Finished = at, at.Add(time.Hour)
	r.Job.Asset, r.Job.Serial = fmt.Sprintf("EX-%05d", unit), fmt.Sprintf("DC3-%06d", unit*7)
	r.Job.Customer = fmt.Sprintf("Customer %03d (invented)", unit%500)
	r.Model = fmt.Sprintf("Model %02d (invented)", unit%40)
	r.Run.Kind = []runner.Kind{runner.AsFound, runner.AsLeft}[k%2]
	r.Run.Statement = []runner.Statement{runner.WithinShown, runner.WithinAll, runner.WithinShown, runner.Outside}[k/2%4]
	if k%97 == 0 {
		r.Run.Statement = runner.Incomplete
	}
	list := make([]record.Standard, len(r.Standards))
	for n, x := range r.Standards {
		x.Certificate = fmt.Sprintf("%s-%d", x.Certificate, at.Year())
		list[n] = x
	}
	if k%5000 == 1 { // one that was seldom used
		list = append(list, record.Standard{Name: "spare", Role: "source", Standard: procedures.Standard{Serial: "SP-1", Certificate: "SP-C-1"}})
	}
	r.Standards = list
	return r
}

// fill puts many records into a store. Their bytes are those of one, packed once:
// what is measured is the store, and what it keeps has real size.
func fill(tb testing.TB, s *Store, n int) (packed int) {
	r := sample(tb, 60)
	key := ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize))
	sealed, err := r.Seal(record.Link{Chain: "chain", Number: 1}, time.Now(), key)
	require.NoError(tb, err)
	body, err := pack(sealed.Bytes)
	require.NoError(tb, err)
	tb.Logf("each record: %d points, %d bytes, packed %d, seal %d", len(r.Run.Points), len(sealed.Bytes), len(body), len(sealed.SealBytes))
	for from := 0; from < n; from += 1000 {
		require.NoError(tb, s.within(tb.Context(), func(tx txn) error {
			for k := from; k < min(n, from+1000); k++ {
				if err := fillOne(tb.Context(), tx, varied(r, k), k, sealed, body); err != nil {
					return err
				}
			}
			return nil
		}))
	}
	return len(body)
}

func fillOne(ctx context.Context, tx txn, r record.Record, k int, s record.Sealed, body []byte) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO record (id, kind, created, asset, serial, customer, model, statement, follows, corrects, chain, number, seal, signature, packed_sha256, body)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, '', '', $9, $10, $11, $12, $13, $14)`, r.ID, string(r.Run.Kind), stamp(r.Created), r.Job.Asset, r.Job.Serial, r.Job.Customer,
		r.Model, string(r.Run.Statement), s.Seal.Chain, k+1, string(s.SealBytes), s.Signature, record.Hash(body), body)
	if err != nil {
		return err
	}
	return list(ctx, tx, linesOf(r))
}

// BenchmarkManyRecords searches a store of very many records. Asked for: each list
// and search under 100 ms, opening a record under 20 ms.
func BenchmarkManyRecords(b *testing.B) {
	b.Run("SQLite", func(b *testing.B) {
		searches(b, filepath.Join(b.TempDir(), "s.db"))
	})
	b.Run("PostgreSQL", func(b *testing.B) {
		searches(b, storetest.NewServer(b).Place(b))
	})
}

func searches(b *testing.B, place string) {
	n := scale(b)
	s, err := Open(b.Context(), place)
	require.NoError(b, err)
	fill(b, s, n)
	if OnServer(place) { // as the server does by itself within minutes
		_, err := s.exec(b.Context(), "ANALYZE")
		require.NoError(b, err)
	}
	require.NoError(b, s.Close())
	b.Run("open the store", func(b *testing.B) {
		for b.Loop() {
			s, err := Open(b.Context(), place)
			require.NoError(b, err)
			require.NoError(b, s.Close())
		}
	})
	if s, err = Open(b.Context(), place); err != nil {
		b.Fatal(err)
	}
	defer func() { require.NoError(b, s.Close()) }()
	mid := varied(record.Record{}, n/2/8*8+6)
	at := mid.Created
	for _, c := range []struct {
		name string
		q    Query
		none bool
	}{
		{"newest", Query{}, false},
		{"asset", Query{Asset: mid.Job.Asset}, false},
		{"serial", Query{Serial: mid.Job.Serial}, false},
		{"customer", Query{Customer: mid.Job.Customer}, false},
		{"kind", Query{Kind: "as-left"}, false},
		{"outside", Query{Statement: "outside"}, false},
		{"incomplete", Query{Statement: "incomplete"}, false},
		{"dates", Query{Since: at.AddDate(0, -1, 0), Until: at}, false},
		{"words", Query{Words: "0" + mid.Job.Asset[len(mid.Job.Asset)-4:] + " model"}, false},
		{"words that nothing has", Query{Words: "no such words"}, true},
		{"standard of every record", Query{Standard: sample(b, 1).Standards[0].Name}, false},
		{"standard seldom used", Query{Standard: "SP-C-1"}, false},
		{"standard since a date", Query{Standard: sample(b, 1).Standards[0].Name, Since: at}, false},
		{"standard of none", Query{Standard: "unknown"}, true},
		{"customer, outside, words, standard", Query{Customer: mid.Job.Customer, Statement: "outside", Words: "dc3", Standard: sample(b, 1).Standards[0].Name}, false},
		{"a page far behind", Query{After: varied(record.Record{}, 1000).ID}, false},
	} {
		c.q.Limit = 100
		b.Run("list/"+c.name, func(b *testing.B) {
			for b.Loop() {
				rows, err := s.List(b.Context(), c.q)
				require.NoError(b, err)
				require.Equal(b, c.none, len(rows) == 0)
			}
			peak(b)
		})
		b.Run("count/"+c.name, func(b *testing.B) {
			for b.Loop() {
				_, err := s.Count(b.Context(), c.q, 1000)
				require.NoError(b, err)
			}
		})
	}
	for name, id := range map[string]string{"id": mid.ID, "end of id": mid.ID[len(mid.ID)-8:], "beginning of id": mid.ID[:16]} {
		b.Run("record by "+name, func(b *testing.B) {
			for b.Loop() {
				_, err := s.Sealed(b.Context(), id)
				require.NoError(b, err)
			}
			peak(b)
		})
	}
}

// peak reports the memory that the program has ever taken from the system: a
// store must not hold what it searches through.
func peak(b *testing.B) {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.Sys)/(1<<20), "MB-from-system")
}
