//go:build linux

package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A search at a terminal: cautions first, an answer by number, one as a
// frequency, Ctrl-C, and on again; each answer is on disk before the next
// question.
func TestLookingAtATerminal(t *testing.T) {
	bandproof, _ := programs(t)
	dir := t.TempDir()
	x := startAtTerminal(t, bandproof, "demo", "--out", dir)
	x.ends(exitOK)
	found, err := filepath.Glob(filepath.Join(dir, "as-found-*.json"))
	require.NoError(t, err)
	answers := filepath.Join(dir, "answers.jsonl")
	ask := func() *atTerminal {
		return startAtTerminal(t, bandproof, "isolate", found[0], "--model", "testdata/isolate/three.toml", "--ask", "--answers", answers)
	}
	kept := func(n int) {
		text, err := os.ReadFile(answers)
		require.NoError(t, err)
		require.Equal(t, n, countLines(text))
	}

	x = ask()
	x.sees("before you look inside")
	x.sees("may you do this work where you are? [yes/no]")
	x.types("yes\r")
	x.sees(">> TP7: what is there?")
	x.types("1\r")
	x.sees("kept: TP7 at B 1.28 GHz: as it should be")
	x.sees(">> TP8: what is there?")
	kept(1)
	x.types("\x03")
	x.sees("what was entered is kept")
	x.ends(exitOK)

	x = ask()
	x.sees("suspects: B amplifier")
	x.sees("[yes/no]")
	x.types("y\r")
	x.sees(">> TP8: what is there?")
	x.types("1.28 GHz, low\r")
	x.sees("found: B amplifier (95 % or more)")
	x.ends(exitOK)
	kept(2)

	// The person leaves: the terminal's end of input ends it as well.
	require.NoError(t, os.Remove(answers))
	x = ask()
	x.sees("[yes/no]")
	x.types("\x04")
	x.sees("what was entered is kept")
	x.ends(exitOK)
}

func countLines(text []byte) (n int) {
	for _, b := range text {
		if b == '\n' {
			n++
		}
	}
	return n
}
