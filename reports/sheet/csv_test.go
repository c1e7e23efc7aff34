package sheet

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"bandproof/procedures/quantity"
	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// rfc4180 reads by the grammar of RFC 4180, section 2, with nothing tolerated:
//
//	file        = header CRLF record *(CRLF record) [CRLF]
//	record      = field *(COMMA field)
//	field       = (escaped / non-escaped)
//	escaped     = DQUOTE *(TEXTDATA / COMMA / CR / LF / 2DQUOTE) DQUOTE
//	non-escaped = *TEXTDATA
//	TEXTDATA    = %x20-21 / %x23-2B / %x2D-7E
//
// and, as RFC 7111, section 5.1, has it, characters of UTF-8 beyond ASCII. Every
// record has as many fields as the header (section 2, item 4).
func rfc4180(text string) ([][]string, error) {
	if !utf8.ValidString(text) {
		return nil, errors.New("not UTF-8")
	}
	p := &grammar{left: text}
	var rows [][]string
	for {
		row, err := p.record()
		if err != nil {
			return nil, fmt.Errorf("record %d: %w", len(rows)+1, err)
		}
		rows = append(rows, row)
		if len(row) != len(rows[0]) {
			return nil, fmt.Errorf("record %d has %d fields, the header %d", len(rows), len(row), len(rows[0]))
		}
		if p.left == "" {
			return rows, nil
		}
		if !p.take("\r\n") {
			return nil, fmt.Errorf("record %d: %.20q where CRLF belongs", len(rows), p.left)
		}
		if p.left == "" {
			return rows, nil
		}
	}
}

type grammar struct{ left string }

func (p *grammar) take(s string) bool {
	rest, ok := strings.CutPrefix(p.left, s)
	p.left = rest
	return ok
}

func (p *grammar) record() ([]string, error) {
	var row []string
	for {
		f, err := p.field()
		if err != nil {
			return nil, err
		}
		row = append(row, f)
		if !p.take(",") {
			return row, nil
		}
	}
}

func (p *grammar) field() (string, error) {
	if !p.take(`"`) {
		n := strings.IndexFunc(p.left, func(r rune) bool { return !textData(r) })
		if n < 0 {
			n = len(p.left)
		}
		f := p.left[:n]
		p.left = p.left[n:]
		return f, nil
	}
	var b strings.Builder
	for p.left != "" {
		if p.take(`""`) {
			b.WriteByte('"')
			continue
		}
		if p.take(`"`) {
			return b.String(), nil
		}
		r, size := utf8.DecodeRuneInString(p.left)
		if !textData(r) && !strings.ContainsRune(",\r\n", r) {
			return "", fmt.Errorf("character %U in a quoted field", r)
		}
		b.WriteRune(r)
		p.left = p.left[size:]
	}
	return "", errors.New("a quoted field that does not end")
}

// textData is TEXTDATA of the grammar.
func textData(r rune) bool {
	return r != ',' && r != '"' && r >= 0x20 && r != 0x7f
}

// The reader itself refuses what the grammar has no place for.
func TestGrammarOfRFC4180(t *testing.T) {
	for text, want := range map[string]string{
		"a,b\r\nc,d\r\n":                   `[["a","b"],["c","d"]]`,
		"a,b\r\nc,d":                       `[["a","b"],["c","d"]]`,
		"a,b\r\n,\r\n":                     `[["a","b"],["",""]]`,
		"\"a\"\"b\",\"c,\r\nd\"\r\n\"\",µ": `[["a\"b","c,\r\nd"],["","µ"]]`,
		" a , b ":                          `[[" a "," b "]]`,
	} {
		rows, err := rfc4180(text)
		require.NoError(t, err, "%q", text)
		got, err := json.Marshal(rows)
		require.NoError(t, err)
		assert.Equal(t, want, string(got), "%q", text)
	}
	for _, text := range []string{"a\nb", "a\r", "a,b\r\nc", "a\"b", "\"a", "\"a\"b", "a\tb", "a\x00", "\"\x07\"", "\xff", "a\r\n\r\nb,c"} {
		_, err := rfc4180(text)
		assert.Error(t, err, "%q", text)
	}
}

// strict reads a data sheet by the grammar, by Go's reader and by Python's in its
// strict mode, which must agree.
func strict(t *testing.T, text string) [][]string {
	t.Helper()
	rows, err := rfc4180(text)
	require.NoError(t, err)
	require.True(t, strings.HasSuffix(text, "\r\n"))
	require.False(t, strings.HasPrefix(text, "\ufeff"), "no byte order mark")
	again, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	require.NoError(t, err)
	require.Equal(t, rows, again)
	return rows
}

func TestCSVIsStrict(t *testing.T) {
	sheets := cases(t)
	sheets["hostile"] = sheetOf(t, hostile(t))
	folder := t.TempDir()
	all := map[string][][]string{}
	for name, s := range sheets {
		text := csvOf(t, s)
		all[name] = strict(t, text)
		require.Equal(t, csvHead, all[name][0])
		require.NoError(t, os.WriteFile(filepath.Join(folder, name+".csv"), []byte(text), 0o644))
	}
	const program = `
import csv, json, os, sys
out = {}
for name in os.listdir(sys.argv[1]):
    with open(os.path.join(sys.argv[1], name), encoding="utf-8", newline="") as f:
        out[name[:-4]] = list(csv.reader(f, strict=True))
json.dump(out, sys.stdout)
`
	var python map[string][][]string
	require.NoError(t, json.Unmarshal([]byte(byPeer(t, "python3", "/usr/bin/python3", "-c", program, folder)), &python))
	assert.Equal(t, all, python)
}

func TestCSVOfAnyText(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		x := record.Record{ID: rapid.String().Draw(r, "id"), Maker: string(rapid.SliceOf(rapid.Byte()).Draw(r, "maker")), Run: runner.Result{Kind: runner.AsFound}}
		p := runner.PointResult{Symptom: rapid.String().Draw(r, "symptom"), Notes: []string{rapid.StringMatching(`[",\r\n ;'=+@-]{0,9}`).Draw(r, "note")}}
		x.Run.Points = []runner.PointResult{p}
		s, err := New(x)
		require.NoError(r, err)
		var b strings.Builder
		require.NoError(r, s.CSV(&b))
		rows, err := rfc4180(b.String())
		require.NoError(r, err)
		require.Len(r, rows, 2)
		cell := func(name string) string { return strings.TrimPrefix(rows[1][csvAt(name)], "'") }
		require.Equal(r, oneLine(x.ID), cell("record_id"))
		require.Equal(r, oneLine(p.Symptom), cell("symptom"))
	})
}

// Negative numbers stay as they are; what a spreadsheet would run does not.
func TestCSVInjection(t *testing.T) {
	for text, want := range map[string]string{
		"-3.2": "-3.2", "-0.0000000002": "-0.0000000002", "+7": "+7", "1e-9": "1e-9", "": "", "pass": "pass", "A-001": "A-001",
		"=1+2": "'=1+2", "-2+3": "'-2+3", "+cmd|' /C calc'!A0": "'+cmd|' /C calc'!A0", "@SUM(A1)": "'@SUM(A1)", "-": "'-", " =1": "' =1", "\t=1": "' =1", "\r=1": "' =1", "＝1": "'＝1",
		"'": "''", "'=1": "''=1", "%0A=1": "'%0A=1", "\u00a0=1": "'\u00a0=1",
	} {
		assert.Equal(t, want, csvText(text), "%q", text)
	}
	r := fixture(t, runner.AsFound)
	r.Run.Points[8].Error = quantity.ExactFloat(-0.5)
	rows := strict(t, csvOf(t, sheetOf(t, r)))
	assert.Equal(t, "-0.5", rows[9][csvAt("error_hz")])
}

// What a verdict rests on stands in its row.
func TestCSVBehindTheVerdict(t *testing.T) {
	r := fixture(t, runner.AsFound)
	r.Run.Points[1].StoppedEarly = "2 of 3 readings: the rest would not change the verdict"
	longest := quantity.MustParse[quantity.Second]("20 s")
	r.Run.Points[1].Point.Longest = &longest
	s := sheetOf(t, r).Sealed([]record.Seal{{ID: r.ID, Record: strings.Repeat("ab", 32), Key: strings.Repeat("00", 32)}}, "", 0)
	row := strict(t, csvOf(t, s))[2]
	for name, want := range map[string]string{"point": "A-002", "coverage_factor": "2.0000", "standards": "LF; house standard", "stopped_early": r.Run.Points[1].StoppedEarly, "longest_gate_s": "20",
		"limit_terms": "counts 0.1; timebase 0.00008", "resolution_hz": "0.1", "reference_hz": "100.0000000002", "decision_rule": "guarded acceptance", "record_sha256": strings.Repeat("ab", 32),
		"maker": r.Maker, "serial": "TC3-0042", "procedure_revision": "3", "locked": "yes", "spread_hz": "0"} {
		if name == "coverage_factor" {
			assert.Regexp(t, `^2(\.0+[0-9]*)?$`, row[csvAt(name)])
			continue
		}
		assert.Contains(t, row[csvAt(name)], want, name)
	}
	assert.NotEmpty(t, row[csvAt("key_fingerprint")])
	seen := map[string]bool{}
	for _, name := range csvHead {
		assert.Regexp(t, `^[a-z0-9_]+$`, name)
		assert.False(t, seen[name], name)
		seen[name] = true
	}
}

// Every column is told of.
func TestCSVColumnsAreDocumented(t *testing.T) {
	text, err := os.ReadFile("CSV.md")
	require.NoError(t, err)
	for _, name := range csvHead {
		assert.Contains(t, string(text), "`"+name+"`")
	}
}
