package store_test

import (
	"bytes"
	"database/sql"
	"image"
	"image/png"
	"path/filepath"
	"sync"
	"testing"

	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/reports/store/storetest"

	"github.com/stretchr/testify/require"
)

func aLogo(t testing.TB, side int) record.Picture {
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, image.NewGray(image.Rect(0, 0, side, side))))
	p, err := record.NewPicture("logo.png", b.Bytes())
	require.NoError(t, err)
	return p
}

// A logo is kept once, also by several runs that begin at the same time, in both
// databases.
func TestLogosComeBackAtOnce(t *testing.T) {
	t.Run("SQLite", func(t *testing.T) { logosComeBackAtOnce(t, filepath.Join(t.TempDir(), "s.db")) })
	t.Run("PostgreSQL", func(t *testing.T) { logosComeBackAtOnce(t, storetest.NewServer(t).Place(t)) })
}

func logosComeBackAtOnce(t *testing.T, where string) {
	one, two := aLogo(t, 3), aLogo(t, 4)
	open(t, where)
	var all sync.WaitGroup
	for range 4 {
		s := open(t, where)
		all.Go(func() {
			for _, p := range []record.Picture{one, two, one} {
				if err := s.AddLogo(t.Context(), p); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	s := open(t, where)
	for _, p := range []record.Picture{one, two} {
		got, err := s.Logo(t.Context(), p.Logo)
		require.NoError(t, err)
		require.Equal(t, p, got)
	}
	_, err := s.Logo(t.Context(), aLogo(t, 5).Logo)
	require.ErrorIs(t, err, store.ErrNoLogo)
	require.ErrorContains(t, err, "logo.png")
}

func TestLogosAreNeverChangedAndChecked(t *testing.T) {
	file := filepath.Join(t.TempDir(), "s.db")
	s := open(t, file)
	p := aLogo(t, 3)
	require.NoError(t, s.AddLogo(t.Context(), p))
	db, err := sql.Open("sqlite", file)
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	for _, q := range []string{"UPDATE logo SET body = x''", "DELETE FROM logo", "INSERT OR REPLACE INTO logo SELECT sha256, x'' FROM logo"} {
		_, err := db.Exec(q)
		require.ErrorContains(t, err, "never", q)
	}
	_, err = db.Exec("DROP TRIGGER logo_is_final")
	require.NoError(t, err)
	_, err = db.Exec("UPDATE logo SET body = CAST(x'00' || substr(body, 2) AS BLOB)")
	require.NoError(t, err)
	_, err = s.Logo(t.Context(), p.Logo)
	require.ErrorIs(t, err, record.ErrLogo)
	require.ErrorContains(t, err, "is damaged")
	require.Error(t, s.AddLogo(t.Context(), p), "not kept again over a damaged one, which is told")
}
