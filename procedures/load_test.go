package procedures_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/procedures"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden files anew")

func golden(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err, "run with -update to make it, and read the change")
	require.Equal(t, string(want), got, file)
}

// load reads a fixture by what its name begins with.
func load(t *testing.T, file string) error {
	t.Helper()
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	name := filepath.Base(file)
	if strings.HasPrefix(name, "bench") {
		_, err = procedures.LoadBench(name, text)
	} else {
		_, err = procedures.LoadProcedure(name, text)
	}
	return err
}

func TestGoodFilesLoad(t *testing.T) {
	for _, file := range []string{"testdata/procedure.toml", "testdata/bench.toml", "testdata/bench-manual.toml"} {
		require.NoError(t, load(t, file), file)
	}
}

// Each malformed file is named for its damage and has its message beside it.
func TestMalformedFiles(t *testing.T) {
	files, err := filepath.Glob("testdata/bad/*.toml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 20)
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".toml"), func(t *testing.T) {
			err := load(t, file)
			require.Error(t, err)
			golden(t, strings.TrimSuffix(file, ".toml")+".golden", err.Error()+"\n")
		})
	}
}

func FuzzLoad(f *testing.F) {
	for _, file := range []string{"testdata/procedure.toml", "testdata/bench.toml", "testdata/bench-manual.toml", "../testdata/switched/bench.toml", "../cmd/bandproof/demo/procedure.toml"} {
		text, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		_, _ = procedures.LoadProcedure("f", text)
		_, _ = procedures.LoadBench("f", text)
		_, _ = procedures.LoadJob("f", text)
	})
}
