// Package checktable is test support: it reads the published check values, and
// writes down for each what the program computes and how many digits agree, as
// a table for people. The tables are golden files beside the check values; set
// UPDATE_CHECKS=1 to write them anew.
package checktable

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Table collects the rows of one area.
type Table struct {
	t    testing.TB
	file string
	rows []string
}

// New begins the table of an area; dir is the folder of the check values.
func New(t testing.TB, dir, area string) *Table {
	return &Table{t: t, file: filepath.Join(dir, "RESULTS-"+area+".md")}
}

// Row adds one comparison.
func (x *Table) Row(id, source, what string, expected, got float64) {
	x.rows = append(x.rows, fmt.Sprintf("| %s | %s | %s | %.8g | %.8g | %s |", id, strings.ReplaceAll(source, "|", "/"), what, expected, got, digits(expected, got)))
}

// digits is how many significant digits agree, 12 at most.
func digits(expected, got float64) string {
	if expected == got {
		return "all"
	}
	scale := math.Abs(expected)
	if scale == 0 {
		scale = 1
	}
	return fmt.Sprintf("%d", int(math.Max(0, math.Min(12, math.Floor(-math.Log10(math.Abs(got-expected)/scale))))))
}

// Done compares with the file, or writes it.
func (x *Table) Done() {
	x.t.Helper()
	text := "| check | source | quantity | expected | got | digits agreed |\n| --- | --- | --- | --- | --- | --- |\n" + strings.Join(x.rows, "\n") + "\n"
	if os.Getenv("UPDATE_CHECKS") == "1" {
		if err := os.WriteFile(x.file, []byte(text), 0o644); err != nil {
			x.t.Fatal(err)
		}
	}
	want, err := os.ReadFile(x.file)
	if err != nil {
		x.t.Fatalf("%v; set UPDATE_CHECKS=1 to make it, and read it", err)
	}
	if string(want) != text {
		x.t.Errorf("%s no longer tells what the program computes; set UPDATE_CHECKS=1 to write it anew, and read the change", x.file)
	}
}
