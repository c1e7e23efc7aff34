package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/require"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"bandproof": main})
}

// TestScripts runs every way of using the program, and every mistake, as a
// person would: each file of testdata/script is one.
func TestScripts(t *testing.T) {
	fixtures, err := filepath.Abs("../../procedures/testdata")
	require.NoError(t, err)
	demo, err := filepath.Abs("demo")
	require.NoError(t, err)
	switched, err := filepath.Abs("../../testdata/switched")
	require.NoError(t, err)
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			e.Vars = append(e.Vars, "FIXTURES="+fixtures, "DEMO="+demo, "SWITCHED="+switched)
			return nil
		},
		Cmds:                map[string]func(ts *testscript.TestScript, neg bool, args []string){"exitcode": exitcode},
		UpdateScripts:       os.Getenv("UPDATE_SCRIPTS") != "",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
	})
}

// exitcode N COMMAND ARGS... runs a command and holds its exit code.
func exitcode(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exitcode N command args...")
	}
	err := ts.Exec(args[1], args[2:]...)
	got := "0"
	if err != nil {
		got = err.Error()[len("exit status "):]
	}
	if got != args[0] {
		ts.Fatalf("%v: exit code %s, want %s", args[1:], got, args[0])
	}
}
