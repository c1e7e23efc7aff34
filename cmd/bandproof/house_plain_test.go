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
	oneAtATime = regexp.MustCompile(`(?m)^ONE_AT_A_TIME = ((?:.*\\\n)*.*)$`)
	atOnce     = regexp.MustCompile(`^(?:Test|[a-z])\w*AtOnce$`)
)

// besides are the functions of these packages that start something all the same,
// and the watched test that calls each.
var besides = map[string]string{"reports/store/verify.go: add": "TestForgedRecordsExaminedAtOnce"}

// The packages that make check tests without the race detector start nothing
// beside what they do, but for besides; a test of theirs that does has a name by
// which it is run with the detector too.
func TestPackagesTestedPlainDoOneThingAtATime(t *testing.T) {
	text, err := os.ReadFile("../../Makefile")
	require.NoError(t, err)
	named := oneAtATime.FindSubmatch(text)
	require.NotNil(t, named, "ONE_AT_A_TIME of the Makefile")
	files, watched, started := 0, map[string]bool{}, map[string]bool{}
	for _, room := range strings.Fields(strings.ReplaceAll(string(named[1]), "\\\n", " ")) {
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
				name := ""
				if f, ok := d.(*ast.FuncDecl); ok {
					name = f.Name.Name
				}
				where := strings.TrimPrefix(path, "../../") + ": " + name
				switch {
				case strings.HasSuffix(path, "_test.go") && atOnce.MatchString(name):
					watched[name] = true
				case startsAnother(d):
					started[where] = true
					require.NotEmpty(t, besides[where], "%s starts a goroutine: let its test be named …AtOnce, or take the package out of ONE_AT_A_TIME in the Makefile", where)
				}
			}
			return nil
		}))
	}
	require.Greater(t, files, 100)
	for where, test := range besides {
		require.True(t, started[where], where)
		require.True(t, watched[test], test)
	}
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
