//go:build !windows

package record_test

import (
	"crypto/ed25519"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"bandproof/reports/record"

	"github.com/stretchr/testify/require"
)

// Whoever comes first makes the key; all others get the same.
func TestOneKeyForAllWhoMakeItAtOnce(t *testing.T) {
	file := filepath.Join(t.TempDir(), "of", "mine", "signing-key")
	keys := make([]ed25519.PrivateKey, 20)
	errs := make([]error, len(keys))
	var made sync.Map
	var all sync.WaitGroup
	for k := range keys {
		all.Go(func() {
			var is bool
			keys[k], is, errs[k] = record.OpenKey(file, nil)
			if is {
				made.Store(k, true)
			}
		})
	}
	all.Wait()
	n := 0
	made.Range(func(any, any) bool { n++; return true })
	require.Equal(t, 1, n, "made once")
	require.NoError(t, errors.Join(errs...))
	for _, key := range keys {
		require.Equal(t, keys[0], key)
	}
	info, err := os.Stat(file)
	require.NoError(t, err)
	require.Equal(t, fs.FileMode(0o600), info.Mode())
	info, err = os.Stat(filepath.Dir(file))
	require.NoError(t, err)
	require.Equal(t, fs.FileMode(0o700), info.Mode().Perm())
	left, err := os.ReadDir(filepath.Dir(file))
	require.NoError(t, err)
	require.Len(t, left, 1, "nothing else is left behind")
}

func TestKeysThatAreRefused(t *testing.T) {
	for name, c := range map[string]struct {
		prepare func(t *testing.T, dir, file string) string
		want    string
	}{
		"others can read it": {func(t *testing.T, _, file string) string {
			require.NoError(t, os.Chmod(file, 0o640))
			return file
		}, "others can read it (mode 0640)"},
		"a folder for everybody": {func(t *testing.T, dir, file string) string {
			require.NoError(t, os.Chmod(dir, 0o777))
			return file
		}, "everybody can write in"},
		"a link to where everybody writes": {func(t *testing.T, dir, file string) string {
			open := filepath.Join(dir, "open")
			require.NoError(t, os.Mkdir(open, 0o700))
			require.NoError(t, os.Chmod(open, 0o777|fs.ModeSticky))
			require.NoError(t, os.Rename(file, filepath.Join(open, "key")))
			require.NoError(t, os.Symlink(filepath.Join(open, "key"), file))
			return file
		}, "is a link into"},
		"a link to nothing": {func(t *testing.T, dir, _ string) string {
			link := filepath.Join(dir, "link")
			require.NoError(t, os.Symlink(filepath.Join(dir, "nothing"), link))
			return link
		}, "leads nowhere"},
		"no key": {func(t *testing.T, _, file string) string {
			require.NoError(t, os.WriteFile(file, []byte("hello"), 0o600))
			return file
		}, "signing key"},
		"a folder": {func(_ *testing.T, dir, _ string) string { return dir }, "is a directory"},
	} {
		dir := filepath.Join(t.TempDir(), "keys")
		file := filepath.Join(dir, "key")
		_, _, err := record.OpenKey(file, nil)
		require.NoError(t, err, name)
		_, _, err = record.OpenKey(c.prepare(t, dir, file), nil)
		require.ErrorIs(t, err, record.ErrKey, name)
		require.ErrorContains(t, err, c.want, name)
	}
}

func TestPassphrases(t *testing.T) {
	file := filepath.Join(t.TempDir(), "key")
	says := func(text string) func(bool) ([]byte, error) {
		return func(bool) ([]byte, error) { return []byte(text), nil }
	}
	key, made, err := record.OpenKey(file, nil)
	require.NoError(t, err)
	require.True(t, made)
	require.NoError(t, record.SetPassphrase(file, key, []byte("größer als α")))
	has, err := record.HasPassphrase(file)
	require.NoError(t, err)
	require.True(t, has)
	same, _, err := record.OpenKey(file, says("größer als α"))
	require.NoError(t, err)
	require.Equal(t, key, same)
	for text, want := range map[string]string{"": "which was not given", "other": "it is another one"} {
		_, _, err = record.OpenKey(file, says(text))
		require.ErrorIs(t, err, record.ErrPassphrase)
		require.ErrorContains(t, err, want)
	}
	require.NoError(t, record.SetPassphrase(file, key, nil))
	same, _, err = record.OpenKey(file, nil)
	require.NoError(t, err)
	require.Equal(t, key, same)
	_, err = record.MakeKey(file, nil)
	require.ErrorIs(t, err, fs.ErrExist)
	require.ErrorContains(t, err, "a key is never replaced")
	info, err := os.Stat(file)
	require.NoError(t, err)
	require.Equal(t, fs.FileMode(0o600), info.Mode())
}
