package store_test

import (
	"os"
	"path/filepath"
	"testing"

	"bandproof/reports/store/storetest"

	"github.com/stretchr/testify/require"
)

// empty makes an empty store of one kind and returns its place.
type empty func(t testing.TB) string

// What holds of a store, wherever it lies.
var conformance = map[string]func(t *testing.T, place empty){
	"records come back whole":                       recordsComeBackWhole,
	"bench log":                                     benchLog,
	"entries of who looks for a fault":              entries,
	"journal keeps points in order":                 journalKeepsPointsInOrderAndTheLastWordOnEach,
	"journal keeps the last word on an outcome":     journalKeepsTheLastWordOnAnOutcome,
	"what belongs before a record":                  whatBelongsBeforeARecord,
	"an as-found record of later is none of before": anAsFoundRecordOfLaterDoesNotBelongBefore,
	"journal survives kill":                         journalSurvivesKill,
	"earlier is what the run told":                  earlierIsWhatTheRunTold,
	"outbox loses nothing":                          outboxLosesNothing,
	"wire logs come back":                           wireLogsComeBack,
	"imported results come in once":                 importedResultsComeInOnce,
	"search":                                        search,
	"moves":                                         moves,
	"earlier layout":                                earlierLayout,
	"some move":                                     someMove,
	"conflicts":                                     conflicts,
	"pages":                                         pages,
	"hostile texts":                                 hostileTexts,
	"one chain of many writers":                     oneChainOfManyWriters,
}

func TestSQLite(t *testing.T) {
	conform(t, func(t testing.TB) string { return filepath.Join(t.TempDir(), "with space & ünïcode?.db") })
}

func TestPostgres(t *testing.T) {
	conform(t, storetest.NewServer(t).Place)
}

func conform(t *testing.T, place empty) {
	for name, test := range conformance {
		t.Run(name, func(t *testing.T) { test(t, place) })
	}
}

// Each layout has the same number in both databases.
func TestLayoutsMatch(t *testing.T) {
	names := func(folder string) (list []string) {
		entries, err := os.ReadDir(filepath.Join("migrations", folder))
		require.NoError(t, err)
		for _, e := range entries {
			list = append(list, e.Name())
		}
		return list
	}
	require.Equal(t, names("sqlite"), names("postgres"))
	stray, err := filepath.Glob("migrations/*.sql")
	require.NoError(t, err)
	require.Empty(t, stray, "a migration stands in both folders")
}
