package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/require"
)

// built is the folder of both programs, made by whoever asks first, as they are given out: without cgo.
var built = sync.OnceValues(func() (string, error) {
	dir := filepath.Join(os.Getenv(scratchVariable), "programs")
	c := exec.Command("go", "build", "-o", dir+string(filepath.Separator), "bandproof/cmd/bandproof", "bandproof/cmd/virtualbench")
	c.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := c.CombinedOutput(); err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return dir, nil
})

// programs are the files of both programs, for the tests that run them as processes.
func programs(t *testing.T) (bandproof, bench string) {
	t.Helper()
	dir, err := built()
	require.NoError(t, err)
	return filepath.Join(dir, "bandproof"), filepath.Join(dir, "virtualbench")
}

// watched are the scripts in which the program runs with the race detector, as
// these tests do: in each command that does several things at once.
var watched = map[string]bool{"adjust": true, "demo": true, "find": true, "notices": true, "prompts": true, "resume": true, "switched": true, "talk": true, "wire-log": true}

// chooseProgram gives the other scripts the program as it is given out, which
// is ten times as fast.
func chooseProgram(e *testscript.Env) error {
	name, ok := strings.CutPrefix(filepath.Base(e.WorkDir), "script-")
	if !ok {
		return fmt.Errorf("the folder %s of a script has no name", e.WorkDir)
	}
	if watched[name] {
		return nil
	}
	dir, err := built()
	e.Setenv("PATH", dir+string(filepath.ListSeparator)+e.Getenv("PATH"))
	return err
}
