package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"io/fs"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// allowed lists, for each room, what its packages may import of ours. The
// longest prefix that fits a package counts.
var allowed = map[string][]string{
	"procedures/quantity": {"procedures/quantity"},
	"procedures":          {"procedures"},
	"drivers":             {"drivers", "procedures/quantity"},
	"runner":              {"runner", "drivers", "procedures"},
	"reports":             {"reports", "runner", "drivers", "procedures"},
	"cmd":                 {"drivers", "procedures", "runner", "reports"},
}

// outside lists modules that belong into one place only.
var outside = map[string][]string{
	"go.bug.st/serial":       {"bandproof/drivers/link"},
	"github.com/tarm/serial": {"bandproof/cmd/virtualbench"},
	"modernc.org/sqlite":     {"bandproof/reports/store"},
}

type listed struct {
	ImportPath string
	Imports    []string
	Deps       []string
}

func list(t *testing.T, args ...string) []listed {
	t.Helper()
	out, err := exec.Command("go", append([]string{"list", "-json=ImportPath,Imports,Deps"}, args...)...).Output()
	require.NoError(t, err)
	var all []listed
	d := json.NewDecoder(bytes.NewReader(out))
	for {
		var p listed
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

func within(path, room string) bool { return path == room || strings.HasPrefix(path, room+"/") }

// TestArrowsGoDown holds the floors of the house: imports go down only.
func TestArrowsGoDown(t *testing.T) {
	packages := list(t, "bandproof/...")
	require.Greater(t, len(packages), 10)
	for _, p := range packages {
		here := strings.TrimPrefix(p.ImportPath, "bandproof/")
		room := ""
		for r := range allowed {
			if within(here, r) && len(r) > len(room) {
				room = r
			}
		}
		require.NotEmpty(t, room, "%s is in no room of the house", here)
		for _, i := range p.Imports {
			if ours, ok := strings.CutPrefix(i, "bandproof/"); ok {
				fits := false
				for _, a := range allowed[room] {
					fits = fits || within(ours, a)
				}
				require.True(t, fits, "%s imports %s: arrows go down only", here, ours)
			}
			for module, homes := range outside {
				if within(i, module) {
					require.Contains(t, homes, p.ImportPath, "%s belongs into %v", module, homes)
				}
			}
		}
	}
}

// The main binary must build without cgo everywhere; the second serial library
// belongs to the virtual bench alone.
func TestMainBinaryIsFreeOfTheBenchEnd(t *testing.T) {
	for _, p := range list(t, "bandproof/cmd/bandproof") {
		require.NotContains(t, p.Deps, "github.com/tarm/serial")
	}
}

// TestNobodySleepsPastTheClock: time.Sleep is for tests alone.
func TestNobodySleepsPastTheClock(t *testing.T) {
	root := "../.."
	count := 0
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || filepath.Base(filepath.Dir(path)) == "drivertest" {
			return err
		}
		count++
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if s, ok := n.(*ast.SelectorExpr); ok && s.Sel.Name == "Sleep" {
				if x, ok := s.X.(*ast.Ident); ok && x.Name == "time" {
					t.Errorf("%s: time.Sleep; use a Clock or a timer that the context can end", path)
				}
			}
			return true
		})
		return nil
	}))
	require.Greater(t, count, 50)
}
