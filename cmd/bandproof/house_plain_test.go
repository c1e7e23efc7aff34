package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var (
	oneAtATime = regexp.MustCompile(`(?m)^ONE_AT_A_TIME = (.+)$`)
	atOnce     = regexp.MustCompile(`^Test\w*AtOnce$`)
)

// The packages that make check tests without the race detector start nothing
// beside what they do; a test of theirs that does has a name by which it is run
// with the detector too.
func TestPackagesTestedPlainDoOneThingAtATime(t *testing.T) {
	text, err := os.ReadFile("../../Makefile")
	require.NoError(t, err)
	named := oneAtATime.FindSubmatch(text)
	require.NotNil(t, named, "ONE_AT_A_TIME of the Makefile")
	files, watched := 0, 0
	for _, room := range strings.Fields(string(named[1])) {
		require.NoError(t, filepath.WalkDir(filepath.Join("../..", room), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") {
				return err
			}
			files++
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
			if err != nil {
				return err
			}
			for _, d := range f.Decls {
				if f, ok := d.(*ast.FuncDecl); ok && atOnce.MatchString(f.Name.Name) {
					watched++
				} else if startsAnother(d) {
					name := ""
					if ok {
						name = f.Name.Name
					}
					t.Errorf("%s: %s starts a goroutine: let its test be named …AtOnce, or take the package out of ONE_AT_A_TIME in the Makefile", path, name)
				}
			}
			return nil
		}))
	}
	require.Greater(t, files, 100)
	require.Positive(t, watched)
}

// startsAnother tells whether there is a go statement, a group's Go, or a
// parallel test.
func startsAnother(d ast.Decl) (found bool) {
	ast.Inspect(d, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			found = true
		case *ast.CallExpr:
			if s, ok := n.Fun.(*ast.SelectorExpr); ok && (s.Sel.Name == "Go" || s.Sel.Name == "Parallel" || s.Sel.Name == "AfterFunc") {
				found = true
			}
		}
		return true
	})
	return found
}
