package store_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// Of a damaged store everything that can still be read and proven goes into an
// archive, and from there into a new store; the damaged file stays as it is.
func TestSalvage(t *testing.T) {
	file := filepath.Join(t.TempDir(), "s.db")
	s, err := store.Open(t.Context(), file)
	require.NoError(t, err)
	was := map[string]record.Sealed{}
	const n = 40
	for k := range n {
		r := some(fmt.Sprintf("rec-%02d", k), fmt.Sprint(k), runner.AsFound, at(k))
		noise := make([]byte, 3000) // as long as it is packed
		for i := range noise {
			noise[i] = "0123456789abcdef"[(i*i+k*7919+i/3)*2654435761>>7&15]
		}
		r.Job.Remarks = string(noise)
		add(t, s, r)
		was[r.ID], err = s.Sealed(t.Context(), r.ID)
		require.NoError(t, err)
	}
	require.NoError(t, s.Close())
	whole, err := os.ReadFile(file)
	require.NoError(t, err)
	const page = 4096
	refused, saved := 0, 0
	step := 5
	if testing.Short() {
		step = 13
	}
	for k := 1; k < len(whole)/page; k += step {
		damaged := filepath.Join(t.TempDir(), "d.db")
		text := bytes.Clone(whole)
		copy(text[k*page:(k+1)*page], bytes.Repeat([]byte{0x5a, 0xc3, 0x11, 0x07}, page/4))
		require.NoError(t, os.WriteFile(damaged, text, 0o644))
		before := hash(t, damaged)
		if s, err := store.Open(t.Context(), damaged); err == nil {
			require.NoError(t, s.Close())
			continue
		}
		refused++
		s, err := store.OpenToSalvage(t.Context(), damaged)
		if err != nil { // not even the list of tables can be read
			require.ErrorIs(t, err, store.ErrStore)
			continue
		}
		archive := filepath.Join(t.TempDir(), "a.zip")
		m, err := s.Export(t.Context(), archive, store.Export{Salvage: true, Now: madeAt})
		require.NoError(t, err, "page %d", k)
		require.NoError(t, s.Close())
		require.Equal(t, before, hash(t, damaged))
		require.False(t, m.Whole)
		if m.Records == 0 {
			continue
		}
		saved += m.Records
		to := open(t, filepath.Join(t.TempDir(), "to.db"))
		_, err = to.Import(t.Context(), archive)
		require.NoError(t, err, "page %d", k)
		for _, id := range ids(t, to, store.Query{}) {
			got, err := to.Sealed(t.Context(), id)
			require.NoError(t, err)
			require.Equal(t, was[id], got)
		}
	}
	t.Logf("%d damaged files refused, %d of %d records saved from them", refused, saved, refused*n)
	require.Greater(t, refused, 50/step)
	require.Greater(t, saved, refused*n*3/4, "most of what is not damaged is saved")
}
