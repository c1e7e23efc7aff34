package store_test

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bandproof/drivers/drivertest/peer"
	"bandproof/reports/imported"
	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

var madeAt = time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)

// varied is a store file that holds something of everything.
func varied(t testing.TB) *store.Store {
	file := store.OldStore(t) // records without seals, an interrupted run, a wire log, an adjustment
	s := open(t, file)
	for k := range 5 {
		add(t, s, some(fmt.Sprintf("rec-%d", k), fmt.Sprint(k), runner.AsFound, at(k)))
	}
	j, err := s.Begin(t.Context(), store.Header{ID: "rec-9 <&>\u2028", Kind: runner.AsLeft, Started: at(1)})
	require.NoError(t, err)
	require.NoError(t, j.Event(t.Context(), runner.Event{At: at(2), Text: "<b>&\u2028 \x00 Ω"}))
	text := "asset,serial\n1,2\n"
	sum := record.Hash([]byte(text))
	require.NoError(t, s.ImportResults(t.Context(), store.ImportedFile{Imported: madeAt, Who: "N. N. (invented)", File: imported.File{Name: "r.csv", SHA256: sum, Text: text, Separator: ",", Decimal: "."}}))
	return s
}

func export(t testing.TB, s *store.Store, x store.Export) (string, store.Manifest) {
	t.Helper()
	x.Now = madeAt
	file := filepath.Join(t.TempDir(), "archive.zip")
	m, err := s.Export(t.Context(), file, x)
	require.NoError(t, err)
	return file, m
}

// members are the contents of an archive by name.
func members(t testing.TB, file string) map[string]string {
	t.Helper()
	z, err := zip.OpenReader(file)
	require.NoError(t, err)
	defer func() { require.NoError(t, z.Close()) }()
	all := map[string]string{}
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		text, err := io.ReadAll(r)
		require.NoError(t, err)
		all[f.Name] = string(text)
	}
	return all
}

// What is moved from one store to another, on whichever database, and back, is the
// same, byte for byte.
func moves(t *testing.T, place empty) {
	from := varied(t)
	first, m := export(t, from, store.Export{})
	require.True(t, m.Whole)
	require.Equal(t, 7, m.Records)
	require.Equal(t, 2, m.Unsealed)
	require.Equal(t, 4, m.Runs)
	require.Len(t, m.Chains, 1)
	require.Equal(t, 5, m.Chains[0].Count)

	middle := open(t, place(t))
	taken, err := middle.Import(t.Context(), first)
	require.NoError(t, err)
	require.Equal(t, 7, taken.Records)
	second, _ := export(t, middle, store.Export{})
	end := open(t, filepath.Join(t.TempDir(), "end.db"))
	_, err = end.Import(t.Context(), second)
	require.NoError(t, err)
	third, _ := export(t, end, store.Export{})
	for _, again := range []string{second, third} {
		require.Equal(t, members(t, first), members(t, again))
	}

	again, err := middle.Import(t.Context(), first)
	require.NoError(t, err)
	require.Equal(t, []int{0, 7, 0, 0}, []int{again.Records, again.Known, again.Runs, again.Files}, "once more changes nothing")
	v, err := middle.Verify(t.Context(), record.Expect{}, nil)
	require.NoError(t, err)
	require.True(t, v.Holds(), "%+v", v.Findings)
	require.Equal(t, ids(t, from, store.Query{}), ids(t, middle, store.Query{}))
	open, err := middle.Interrupted(t.Context())
	require.NoError(t, err)
	require.Len(t, open, 2)

	// The store's own chain is a new one; the other stays what it was.
	sealed, err := middle.Add(t.Context(), some("own-1", "1", runner.AsFound, at(20)), testKey, at(20), nil)
	require.NoError(t, err)
	require.Equal(t, 1, sealed.Seal.Number)
	require.NotEqual(t, m.Chains[0].Chain, sealed.Seal.Chain)

	// What has come since is taken by the next archive.
	add(t, from, some("rec-5", "5", runner.AsFound, at(30)))
	require.NoError(t, from.Journal("rec-9 <&>\u2028").Event(t.Context(), runner.Event{At: at(31)}))
	later, _ := export(t, from, store.Export{})
	taken, err = middle.Import(t.Context(), later)
	require.NoError(t, err)
	require.Equal(t, []int{1, 7, 1}, []int{taken.Records, taken.Known, taken.Runs})
}

// Some records alone, with their runs; the rest of the chain may follow.
func someMove(t *testing.T, place empty) {
	from := varied(t)
	part, m := export(t, from, store.Export{IDs: []string{"rec-3", "rec-1", "rec-3"}})
	require.False(t, m.Whole)
	require.Equal(t, 2, m.Records)
	require.Equal(t, 5, m.Chains[0].Count, "the head is that of the store")
	require.Equal(t, 2, m.Chains[0].Records)
	to := open(t, place(t))
	_, err := to.Import(t.Context(), part)
	require.NoError(t, err)
	require.Equal(t, []string{"rec-3", "rec-1"}, ids(t, to, store.Query{}))

	// A chain in part is no alarm where it came so, and moves on so.
	v, err := to.Verify(t.Context(), record.Expect{}, nil)
	require.NoError(t, err)
	require.True(t, v.Holds(), "%+v", v.Findings)
	require.Contains(t, fmt.Sprint(v.Open), " before its last one, number ")
	again, m := export(t, to, store.Export{})
	require.False(t, m.Whole)
	third := open(t, place(t))
	_, err = third.Import(t.Context(), again)
	require.NoError(t, err)

	whole, _ := export(t, from, store.Export{})
	taken, err := to.Import(t.Context(), whole)
	require.NoError(t, err)
	require.Equal(t, 5, taken.Records)
	v, err = to.Verify(t.Context(), record.Expect{}, nil)
	require.NoError(t, err)
	require.True(t, v.Holds(), "%+v", v.Findings)
	require.NotContains(t, fmt.Sprint(v.Open), "in part")

	// One that came whole gets no hole.
	moved := open(t, place(t))
	_, err = moved.Import(t.Context(), whole)
	require.NoError(t, err)
	add(t, from, some("rec-6", "5", runner.AsFound, at(30)))
	add(t, from, some("rec-7", "5", runner.AsFound, at(31)))
	last, _ := export(t, from, store.Export{IDs: []string{"rec-7"}})
	_, err = moved.Import(t.Context(), last)
	require.ErrorContains(t, err, "of which the store would then lack 1 before that one; export those too, or all")

	_, err = from.Export(t.Context(), filepath.Join(t.TempDir(), "x.zip"), store.Export{IDs: []string{"none"}, Now: madeAt})
	require.ErrorIs(t, err, store.ErrNotFound)
	_, err = from.Export(t.Context(), part, store.Export{Now: madeAt})
	require.ErrorIs(t, err, store.ErrExists)
}

// Two stores that have gone on with one chain, or with one record, are told apart.
func conflicts(t *testing.T, place empty) {
	base := varied(t)
	copied := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, base.Backup(t.Context(), copied))
	twin := open(t, copied)
	add(t, base, some("mine", "1", runner.AsFound, at(40)))
	add(t, twin, some("theirs", "1", runner.AsFound, at(41)))
	mine, _ := export(t, base, store.Export{})
	theirs, _ := export(t, twin, store.Export{})
	to := open(t, place(t))
	_, err := to.Import(t.Context(), mine)
	require.NoError(t, err)
	before := ids(t, to, store.Query{})
	_, err = to.Import(t.Context(), theirs)
	require.ErrorIs(t, err, store.ErrConflict)
	require.ErrorContains(t, err, "two stores have gone on with one chain")
	require.Equal(t, before, ids(t, to, store.Query{}), "nothing of it was taken")

	other := open(t, filepath.Join(t.TempDir(), "other.db"))
	add(t, other, some("mine", "1", runner.AsFound, at(42)))
	same, _ := export(t, other, store.Export{})
	_, err = to.Import(t.Context(), same)
	require.ErrorIs(t, err, store.ErrConflict)
	require.Equal(t, before, ids(t, to, store.Query{}))
}

// rewrite writes an archive anew with members changed, added or left out; with
// honest, sums and manifest are made to fit, as a forger would.
func rewrite(t testing.TB, file string, honest bool, change func(all map[string]string)) string {
	t.Helper()
	all := members(t, file)
	var order []string
	for _, line := range strings.Split(strings.TrimSpace(all["SHA256SUMS"]), "\n") {
		order = append(order, line[66:])
	}
	change(all)
	if honest {
		var sums strings.Builder
		for _, name := range order {
			if text, there := all[name]; there {
				fmt.Fprintf(&sums, "%x  %s\n", sha256.Sum256([]byte(text)), name)
			}
		}
		all["SHA256SUMS"] = sums.String()
		var m store.Manifest
		require.NoError(t, json.Unmarshal([]byte(all["manifest.json"]), &m))
		m.Sums = record.Hash([]byte(sums.String()))
		text, err := json.Marshal(m)
		require.NoError(t, err)
		all["manifest.json"] = string(text)
	}
	out := filepath.Join(t.TempDir(), "changed.zip")
	f, err := os.Create(out)
	require.NoError(t, err)
	z := zip.NewWriter(f)
	for name, text := range all {
		w, err := z.Create(strings.TrimSuffix(name, "\x00")) // which makes a name twice
		require.NoError(t, err)
		_, err = w.Write([]byte(text))
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	require.NoError(t, f.Close())
	return out
}

// Whatever is wrong with an archive is found before anything is written.
func TestBadArchives(t *testing.T) {
	good, _ := export(t, varied(t), store.Export{})
	whole, err := os.ReadFile(good)
	require.NoError(t, err)
	names := members(t, good)
	first := func(ending string) string {
		for name := range names {
			if strings.Contains(name, "rec-2") && strings.HasSuffix(name, ending) {
				return name
			}
		}
		t.Fatal(ending)
		return ""
	}
	replace := func(name, old, new string) func(map[string]string) {
		return func(all map[string]string) {
			require.Contains(t, all[name], old)
			all[name] = strings.Replace(all[name], old, new, 1)
		}
	}
	for _, c := range []struct {
		name, want string
		honest     bool
		change     func(map[string]string)
	}{
		{"out of its folder", "belongs into no archive", false, func(all map[string]string) { all["../evil.json"] = "{}" }},
		{"out of its folder, further in", "belongs into no archive", false, func(all map[string]string) { all["records/../../evil.json"] = "{}" }},
		{"absolute", "belongs into no archive", false, func(all map[string]string) { all["/etc/evil"] = "{}" }},
		{"of another system", "belongs into no archive", false, func(all map[string]string) { all[`records\000001-x.json`] = "{}" }},
		{"unknown member", "belongs into no archive", true, func(all map[string]string) { all["run-me.sh"] = "true" }},
		{"not named", "is not named", false, func(all map[string]string) { all["records/000099-x.json"] = "{}" }},
		{"twice", "is there twice", false, func(all map[string]string) { all["README.txt\x00"] = "again" }},
		{"bomb", "would unpack to", false, func(all map[string]string) { all["README.txt"] = strings.Repeat("\x00", 50<<20) }},
		{"missing member", "is missing", false, func(all map[string]string) { delete(all, first(".json")) }},
		{"missing manifest", "manifest.json is missing", false, func(all map[string]string) { delete(all, "manifest.json") }},
		{"missing sums", "SHA256SUMS is missing", false, func(all map[string]string) { delete(all, "SHA256SUMS") }},
		{"changed member", "SHA-256", false, replace("README.txt", "archive", "Archive")},
		{"changed sums", "SHA-256", false, replace("SHA256SUMS", "a", "b")},
		{"newer archive", "this program reads", false, replace("manifest.json", "bandproof archive 1", "bandproof archive 2")},
		{"manifest with more", "unknown field", false, replace("manifest.json", `"whole"`, `"else": 1, "whole"`)},
		{"manifest is none", "manifest.json", false, func(all map[string]string) { all["manifest.json"] = "<html>" }},
		{"forged record", "does not prove", true, replace(first(".json"), "Test Counter", "Best Counter")},
		{"forged seal", "does not prove", true, replace(first(".seal"), `"number":3`, `"number":4`)},
		{"signature of another", "does not prove", true, func(all map[string]string) {
			all[first(".sig")] = string(bytes.Repeat([]byte{1}, 64))
		}},
		{"record without its seal", "does not prove", true, func(all map[string]string) { delete(all, first(".seal")); delete(all, first(".sig")) }},
		{"seal without its record", "has no record", true, func(all map[string]string) { delete(all, first(".json")) }},
		{"record left out", "record number 3 of the chain is missing", true, func(all map[string]string) {
			delete(all, first(".json"))
			delete(all, first(".seal"))
			delete(all, first(".sig"))
		}},
		{"tail cut off", "tells of", true, func(all map[string]string) {
			for name := range all {
				if strings.Contains(name, "rec-4") {
					delete(all, name)
				}
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			to := open(t, filepath.Join(t.TempDir(), "to.db"))
			_, err := to.Import(t.Context(), rewrite(t, good, c.honest, c.change))
			require.ErrorIs(t, err, store.ErrArchive)
			require.Regexp(t, c.want, err.Error())
			require.Empty(t, ids(t, to, store.Query{}))
			left, err := to.Interrupted(t.Context())
			require.NoError(t, err)
			require.Empty(t, left)
		})
	}
	to := open(t, filepath.Join(t.TempDir(), "to.db"))
	for size := 0; size < len(whole); size += max(1, len(whole)/20) {
		half := filepath.Join(t.TempDir(), "half.zip")
		require.NoError(t, os.WriteFile(half, whole[:size], 0o644))
		_, err := to.Import(t.Context(), half)
		require.ErrorIs(t, err, store.ErrArchive, size)
	}
	for at := 0; at < len(whole); at += max(1, len(whole)/40) {
		changed := bytes.Clone(whole)
		changed[at] ^= 0x10
		file := filepath.Join(t.TempDir(), "changed.zip")
		require.NoError(t, os.WriteFile(file, changed, 0o644))
		s := open(t, filepath.Join(t.TempDir(), "to.db"))
		if _, err := s.Import(t.Context(), file); err == nil { // a date of a member, which says nothing
			again, _ := export(t, s, store.Export{})
			require.Equal(t, names, members(t, again), "byte %d", at)
		}
	}
	require.Empty(t, ids(t, to, store.Query{}))
	_, err = to.Import(t.Context(), filepath.Join(t.TempDir(), "none.zip"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

// A stranger checks an archive with unzip, sha256sum and openssl alone, as its
// README says.
func TestArchiveByHand(t *testing.T) {
	for _, program := range []string{"unzip", "sha256sum", "openssl"} {
		peer.Program(t, program, "unzip coreutils openssl", "nobody has checked an archive by hand")
	}
	file, m := export(t, varied(t), store.Export{})
	sh := exec.Command("sh", "-euc", `unzip -q "$0"
sha256sum --quiet -c SHA256SUMS
sha256sum SHA256SUMS | cut -d' ' -f1
for seal in records/*.seal; do
  openssl pkeyutl -verify -pubin -inkey keys/*.pem -rawin -in $seal -sigfile ${seal%.seal}.sig
  grep -q "\"record\":\"$(sha256sum ${seal%.seal}.json | cut -d' ' -f1)\"" $seal
done`, file)
	sh.Dir = t.TempDir()
	out, err := sh.CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Contains(t, string(out), m.Sums)
	require.Equal(t, 5, strings.Count(string(out), "Signature Verified Successfully"))
}
