package store

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A file of entries that somebody wrote by hand, or put together of two, is told
// of with the line; nothing of it counts.
func TestEntriesThatAreNone(t *testing.T) {
	const look = `{"id":"1","record":"r","what":"look","at":"2026-01-02T03:04:05Z","text":"TP7: good","seen":{"id":"TP7","test_point":"TP7","input":"B","frequency_hz":1e9,"seen":"good"}}`
	file := filepath.Join(t.TempDir(), "answers.jsonl")
	for _, x := range []struct{ name, text, wrong string }{
		{"one", look + "\n", ""},
		{"revoked twice", look + "\n" + revoke("2", "1") + "\n" + revoke("3", "1") + "\n", ""},
		{"the same id again", look + "\n" + look + "\n", `line 2: is no entry of isolate: id is "1"`},
		{"no id", strings.Replace(look, `"id":"1",`, "", 1) + "\n", `line 1: is no entry of isolate: id is ""`},
		{"nothing seen", `{"id":"1","record":"r","what":"look","at":"2026-01-02T03:04:05Z","text":"x"}` + "\n", "has to have seen"},
		{"seen nowhere", strings.Replace(look, `"test_point":"TP7",`, "", 1) + "\n", "has to have seen with a test_point"},
		{"a revocation that saw something", strings.Replace(look, `"look"`, `"prepared"`, 1) + "\n", "can't have seen"},
		{"revokes what is not there", look + "\n" + revoke("2", "9") + "\n", `line 2: is no entry of isolate: revokes is "9"`},
		{"two on a line", look + look + "\n", "more than one entry"},
		{"of another record", strings.Replace(look, `"record":"r"`, `"record":"s"`, 1) + "\n", "is about record s, not r"},
		{"cut off", look, "line 1: is cut off"},
		{"an empty line", "\n", "line 1: is no entry"},
	} {
		require.NoError(t, os.WriteFile(file, []byte(x.text), 0o600))
		list, err := ReadEntries(file, "r")
		if x.wrong == "" {
			require.NoError(t, err, x.name)
			continue
		}
		require.ErrorContains(t, err, x.wrong, x.name)
		require.Empty(t, list, x.name)
	}
}

func revoke(id, of string) string {
	return `{"id":"` + id + `","record":"r","what":"revoked","at":"2026-01-02T03:04:05Z","text":"1","revokes":"` + of + `"}`
}
