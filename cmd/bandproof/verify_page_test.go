package main

import (
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The commands of reports/record/VERIFY.md, as they stand there, on the records
// of a demo and on the same with a digit changed, with nothing else on the path.
func TestCheckingByHand(t *testing.T) {
	if os.Getenv("BANDPROOF_NO_PEERS") == "1" {
		t.Skip("NOT TESTED against independent programs: BANDPROOF_NO_PEERS=1 is set")
	}
	page, err := os.ReadFile("../../reports/record/VERIFY.md")
	require.NoError(t, err)
	blocks := shellBlocks(string(page))
	require.Len(t, blocks, 7)
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	for _, args := range [][]string{{"demo", "--out", at("tour")}, {"records", "export", "--all", "--to", at("archive.zip"), "--store", at("tour/bandproof.db")}} {
		require.Contains(t, []int{exitOK, exitFailed}, execute(t.Context(), args, strings.NewReader(""), io.Discard, io.Discard), args)
	}
	for to, from := range map[string]string{"earlier": "as-found-*", "record": "as-left-*"} {
		for _, ending := range []string{".json", ".seal", ".sig"} {
			found, err := filepath.Glob(at("tour/" + from + ending))
			require.NoError(t, err)
			require.Len(t, found, 1, from+ending)
			text, err := os.ReadFile(found[0])
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(at(to+ending), text, 0o600))
		}
	}
	path := onlyTools(t, "sh", "sha256sum", "basenc", "openssl", "jq", "unzip", "cut", "tr", "sed", "sort", "cat", "mkdir")
	run := func(block string) (string, error) {
		c := exec.CommandContext(t.Context(), filepath.Join(path, "sh"), "-e", "-c", block)
		c.Dir, c.Env = dir, []string{"PATH=" + path}
		out, err := c.CombinedOutput()
		return string(out), err
	}
	want := []string{"the record is the one that was sealed", "Signature Verified Successfully", "-", "no record between them is missing", "2\n", "A-005", "every record is sealed and signed"}
	for k, block := range blocks {
		says, err := run(block)
		require.NoError(t, err, "%s\n%s", block, says)
		require.Contains(t, says, want[k], block)
	}
	text, err := os.ReadFile(at("record.json"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(at("record.json"), []byte(strings.Replace(string(text), "Example", "Exampel", 1)), 0o600))
	_, err = run(blocks[0])
	require.Error(t, err, "a changed record")
	seal, err := os.ReadFile(at("record.seal"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(at("record.seal"), []byte(strings.Replace(string(seal), `"number":2`, `"number":3`, 1)), 0o600))
	_, err = run(blocks[1])
	require.Error(t, err, "a changed seal")
	_, err = run(blocks[3])
	require.Error(t, err, "a changed number")
}

// shellBlocks are the commands of a page.
func shellBlocks(page string) (list []string) {
	for rest := page; ; {
		_, after, ok := strings.Cut(rest, "```sh\n")
		if !ok {
			return list
		}
		block, next, _ := strings.Cut(after, "```")
		list, rest = append(list, block), next
	}
}

// onlyTools is a folder with links to these programs alone.
func onlyTools(t *testing.T, names ...string) string {
	t.Helper()
	dir := t.TempDir()
	for _, name := range names {
		file, err := exec.LookPath(name)
		require.NoError(t, err, "needs coreutils, openssl, jq, unzip: apt-get install them (or set BANDPROOF_NO_PEERS=1)")
		require.NoError(t, os.Symlink(file, filepath.Join(dir, name)))
	}
	return dir
}
