// Package peer finds the programs of others that tests hold this one against.
package peer

import (
	"os"
	"os/exec"
	"testing"
)

// Program is the path of a program that comes with a package of Debian. Where it
// is missing the test fails, or with BANDPROOF_NO_PEERS=1 is left out and says
// what was not done.
func Program(t testing.TB, name, pack, notDone string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		Missing(t, name+" is missing: apt-get install "+pack, notDone)
	}
	return path
}

// Missing ends a test that lacks what it needs.
func Missing(t testing.TB, what, notDone string) {
	t.Helper()
	if os.Getenv("BANDPROOF_NO_PEERS") == "1" {
		t.Skipf("NOT CHECKED, BANDPROOF_NO_PEERS=1: %s (%s)", notDone, what)
	}
	t.Fatalf("%s (or set BANDPROOF_NO_PEERS=1 to leave this check out)", what)
}
