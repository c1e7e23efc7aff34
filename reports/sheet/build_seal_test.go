package sheet

import (
	"strings"
	"testing"
	"time"

	"bandproof/reports/record"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every page names the seal; the full hashes stand once, for comparison.
func TestSealStandsOnEveryPage(t *testing.T) {
	a, b := fixture(t, "as-found"), fixture(t, "as-left")
	hash := strings.Repeat("0123456789abcdef", 4)
	key := strings.Repeat("0", 64)
	s := sheetOf(t, a, b).Sealed([]record.Seal{{ID: a.ID, Record: hash, Key: key, Chain: "c-1", Number: 7}}, strings.Repeat("f", 64), 1234)
	assert.Equal(t, "seal: SHA-256 0123456789abcdef…, not sealed; key 6668-7aad-f862-bd77; chain of 1234 records, head ffffffffffffffff…", s.sealLine())
	assert.Contains(t, dump(s.build()), "EX-2026-118-as-found is number 7 of chain c-1; SHA-256 of its bytes: "+hash)
	for k, page := range pdftotext(t, pdfOf(t, s)) {
		assert.Contains(t, page, "key 6668-7aad-f862-bd77", "page %d", k+1)
	}
	for _, lang := range []string{"de", "fr"} {
		x, err := s.With(Options{Language: lang})
		require.NoError(t, err)
		assert.NotContains(t, x.sealLine(), "seal:")
	}
	assert.Empty(t, sheetOf(t, a).sealLine())
}

// Times in the record are UTC; people read the clock of the bench.
func TestTimesAreThoseOfTheBench(t *testing.T) {
	r := run{words: english(t), Record: record.Record{Zone: record.Zone{Name: "CET", Offset: "+01:00"}}}
	late := time.Date(2026, 11, 24, 23, 30, 0, 0, time.UTC)
	assert.Equal(t, "2026-11-25 00:30 +01:00", r.moment(late))
	assert.Equal(t, "2026-11-25", r.days(late, late))
	assert.Equal(t, "not stated", r.moment(time.Time{}))
	r.Zone = record.Zone{}
	assert.Equal(t, "2026-11-24 23:30 UTC", r.moment(late))
}
