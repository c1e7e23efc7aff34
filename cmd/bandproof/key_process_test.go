//go:build linux

package main

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// hidden types a secret where it is asked for, once the terminal shows nothing.
func hidden(x *atTerminal, question, secret string) {
	x.t.Helper()
	x.sees(question)
	terminal, err := x.keys.SyscallConn()
	require.NoError(x.t, err)
	require.Eventually(x.t, func() (silent bool) {
		err := terminal.Control(func(fd uintptr) {
			state, err := unix.IoctlGetTermios(int(fd), unix.TCGETS)
			silent = err == nil && state.Lflag&unix.ECHO == 0
		})
		return silent && err == nil
	}, time.Minute, time.Millisecond)
	x.types(secret + "\r")
}

// A passphrase is typed at a terminal, which does not show it: given twice,
// mistyped, given right, and taken away.
func TestPassphraseAtATerminal(t *testing.T) {
	bandproof, _ := programs(t)
	file := filepath.Join(t.TempDir(), "keys", "signing-key")
	key := func(more ...string) *atTerminal {
		return startAtTerminal(t, bandproof, append([]string{"key", "--key", file}, more...)...)
	}
	const secret, wrong = "quartz under glass", "quartz under gloss"

	x := key("--new")
	hidden(x, "new passphrase", secret)
	hidden(x, "the same once more", wrong)
	x.ends(exitUsage)
	require.NotContains(t, x.screen(), "quartz")
	require.NoFileExists(t, file)

	x = key("--new")
	hidden(x, "new passphrase", secret)
	hidden(x, "the same once more", secret)
	x.sees("made signing key ")
	x.ends(exitOK)

	x = key()
	hidden(x, "passphrase of signing key "+file, wrong)
	hidden(x, "passphrase of signing key "+file, secret)
	x.sees("has a passphrase")
	x.ends(exitOK)
	require.NotContains(t, x.screen(), "quartz")

	x = key() // three tries
	for range 3 {
		hidden(x, "passphrase of signing key "+file, wrong)
	}
	x.ends(exitUsage)

	x = key("--remove-passphrase")
	hidden(x, "passphrase of signing key "+file, secret)
	x.ends(exitOK)
	x = key()
	x.sees("has no passphrase")
	x.ends(exitOK)
}
