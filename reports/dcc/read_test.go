package dcc

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/reports/record"
	"bandproof/runner"
	"bandproof/runner/kinds"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// kindsRecords are runs of every kind of measurement on the virtual bench.
func kindsRecords(t testing.TB) map[string]record.Record {
	text, err := os.ReadFile(filepath.Join(runnertest.Root(t), "testdata/kinds/procedure.toml"))
	require.NoError(t, err)
	all := map[string]record.Record{}
	for name, faults := range map[string][]string{"good": nil,
		"islands, and a digit": {"dead-above:input=B,from=1 GHz,to=1.05 GHz", "dead-above:input=B,from=1.1 GHz", "stuck-digit:input=A,amount=3:7", "self-test-fails"},
		"source":               {"source-unlock:instrument=LF,from=5 MHz"}} {
		r := runnertest.New(t, runnertest.Options{Text: string(text), Kinds: kinds.All(), Faults: faults})
		all[name] = record.New(record.Parts{ID: "EX-" + strings.ReplaceAll(name, " ", "-"), Now: r.Clock.Now(), Procedure: r.Setup.Procedure, Bench: r.Setup.Bench, Run: r.Run(), Invented: true,
			ProcedureFile: record.NewSource("procedure.toml", "p", "1", text), BenchFile: record.NewSource("bench.toml", "b", "1", text)})
	}
	return all
}

// tree is the record's JSON as any reader sees it; numbers keep their digits.
func tree(t testing.TB, r record.Record) map[string]any {
	t.Helper()
	text, err := json.Marshal(r)
	require.NoError(t, err)
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	var m map[string]any
	require.NoError(t, d.Decode(&m))
	return m
}

func at(m any, path ...string) any {
	for _, key := range path {
		x, ok := m.(map[string]any)
		if !ok {
			return nil
		}
		m = x[key]
	}
	return m
}

// rational reads an exact text, a fraction or a number of a record.
func rational(t testing.TB, v any) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(fmt.Sprint(v))
	require.True(t, ok, "%v is no number", v)
	return r
}

// equalValue holds that a quantity of the certificate is that of the record: to
// the last digit where that has an end, else to a millionth of u.
func equalValue(t testing.TB, q *node, want any, unit string, u *big.Rat, what string) {
	t.Helper()
	require.NotNil(t, q, what)
	require.Equal(t, unit, q.says(t, "si:real", "si:unit"), what)
	got, w := rational(t, q.says(t, "si:real", "si:value")), rational(t, want)
	if _, exact := w.FloatPrec(); exact {
		require.Zero(t, got.Cmp(w), "%s: certificate %s, record %s", what, got.FloatString(30), w.FloatString(30))
		return
	}
	diff := new(big.Rat).Sub(got, w)
	bound := new(big.Rat).Mul(u, big.NewRat(1, 1_000_000))
	require.True(t, diff.Abs(diff).Cmp(bound) < 0, "%s: certificate %s, record %s", what, got.FloatString(30), w.FloatString(30))
}

// words that the schema has for those of a record.
var words = map[string]string{"pass": "pass", "conditional pass": "conditionalPass", "conditional fail": "conditionalFail", "fail": "fail", "not judged": ""}

// Every point and every finding is read back from the file, with a reader that
// knows nothing of what wrote it, and compared with the record's JSON.
func TestReadBack(t *testing.T) {
	records := kindsRecords(t)
	records["fixture"] = foundRecord(t)
	for name, r := range records {
		t.Run(name, func(t *testing.T) {
			root := parsed(t, certified(t, Options{Country: "ZZ"}, r))
			require.Empty(t, faults(root))
			lists := map[string]*node{}
			var findings []*node
			for _, l := range root.all("dcc:measurementResults", "dcc:measurementResult", "dcc:results", "dcc:result", "dcc:data", "dcc:list") {
				switch l.attrs["refType"] {
				case "bandproof_point":
					id := strings.TrimPrefix(l.says(t, "dcc:name", "dcc:content"), "Point ")
					require.Nil(t, lists[id], "point %s twice", id)
					lists[id] = l
				case "bandproof_finding":
					findings = append(findings, l)
				}
			}
			points, _ := at(tree(t, r), "run", "points").([]any)
			require.Len(t, lists, len(points))
			for _, p := range points {
				id := at(p, "point", "id").(string)
				comparePoint(t, lists[id], p, id)
			}
			outcomes, _ := at(tree(t, r), "run", "outcomes").([]any)
			n := 0
			for _, o := range byTable(outcomes) {
				rows, _ := at(o, "rows").([]any)
				for _, row := range rows {
					compareFinding(t, findings[n], row)
					n++
				}
			}
			require.Len(t, findings, n)
			t.Logf("%d points, %d findings", len(points), n)
		})
	}
}

// byTable puts outcomes of one table and input together, in order of their first.
func byTable(outcomes []any) []any {
	var order []string
	by := map[string][]any{}
	for _, o := range outcomes {
		k := fmt.Sprint(at(o, "task", "measure"), "|", at(o, "task", "input"))
		if by[k] == nil {
			order = append(order, k)
		}
		by[k] = append(by[k], o)
	}
	var list []any
	for _, k := range order {
		list = append(list, by[k]...)
	}
	return list
}

func comparePoint(t *testing.T, l *node, p any, id string) {
	t.Helper()
	require.NotNil(t, l, id)
	u := rational(t, at(p, "reported_uncertainty", "expanded_uncertainty_hz"))
	nominal := strings.Fields(at(p, "point", "frequency").(string))
	factor := map[string]int64{"Hz": 1, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}[nominal[1]]
	equalValue(t, l.quantityOf(t, "basic_nominalValue"), new(big.Rat).Mul(rational(t, nominal[0]), big.NewRat(factor, 1)).RatString(), `\hertz`, u, id+" nominal")
	if rational(t, at(p, "limit", "limit_hz")).Sign() > 0 {
		equalValue(t, l.quantityOf(t, "bandproof_limit"), at(p, "limit", "limit_hz"), `\hertz`, u, id+" limit")
	}
	e := l.quantityOf(t, "basic_measurementError")
	require.NotNil(t, e, id)
	compareVerdict(t, e, at(p, "verdict"), id)
	if fmt.Sprint(at(p, "counted")) == "0" {
		require.NotEmpty(t, e.says(t, "dcc:noQuantity", "dcc:content"), id)
		require.NotEmpty(t, l.quantityOf(t, "basic_measuredValue").says(t, "dcc:noQuantity", "dcc:content"), id)
		return
	}
	equalValue(t, l.quantityOf(t, "basic_referenceValue"), at(p, "reference_hz"), `\hertz`, u, id+" reference")
	equalValue(t, l.quantityOf(t, "basic_measuredValue"), at(p, "mean_hz"), `\hertz`, u, id+" mean")
	equalValue(t, e, at(p, "error_hz"), `\hertz`, u, id+" error")
	x := e.one(t, "si:real", "si:expandedUnc")
	require.NotNil(t, x, id)
	require.Zero(t, rational(t, x.says(t, "si:uncertainty")).Cmp(u), "%s U", id)
	require.Zero(t, rational(t, x.says(t, "si:coverageFactor")).Cmp(rational(t, at(p, "reported_uncertainty", "coverage_factor"))), "%s k", id)
	require.Equal(t, "0.9545", x.says(t, "si:coverageProbability"), id)
}

func compareVerdict(t *testing.T, q *node, verdict any, what string) {
	t.Helper()
	word, _ := at(verdict, "word").(string)
	conformity, declared := "", ""
	for _, m := range q.all("dcc:measurementMetaData", "dcc:metaData") {
		if m.attrs["refType"] == "basic_conformity" {
			conformity, declared = m.says(t, "dcc:conformity"), strings.Join(texts(m.all("dcc:declaration", "dcc:content")), " ")
		}
	}
	require.Equal(t, words[word], conformity, what)
	require.Contains(t, declared, word, what)
	reason, _ := at(verdict, "reason").(string)
	require.Contains(t, declared, strings.TrimPrefix(reason, "error "), what) // a finding need not be an error
}

func texts(list []*node) []string {
	var all []string
	for _, n := range list {
		all = append(all, n.text)
	}
	return all
}

// units of findings: what one is in the SI, and decibels by their definition
// (0 dBm = 1 mW, 0 dBV = 1 V).
var rowUnits = map[string]struct {
	si     string
	factor string
	db     func(float64) float64
}{
	"Hz": {`\hertz`, "1", nil}, "V": {`\volt`, "1", nil}, "s": {`\second`, "1", nil}, "1": {`\one`, "1", nil}, "ppm": {`\one`, "1/1000000", nil}, "1/d": {`\second\tothe{-1}`, "1/86400", nil},
	"dBm": {`\watt`, "", func(x float64) float64 { return 0.001 * math.Pow(10, x/10) }}, "dBV": {`\volt`, "", func(x float64) float64 { return math.Pow(10, x/20) }},
	"dB": {`\one`, "", func(x float64) float64 { return math.Pow(10, x/10) }},
}

func compareFinding(t *testing.T, l *node, row any) {
	t.Helper()
	what, _ := at(row, "what").(string)
	require.Equal(t, what, l.says(t, "dcc:name", "dcc:content"))
	q := l.quantityOf(t, "basic_measuredValue")
	require.NotNil(t, q, what)
	compareVerdict(t, q, at(row, "verdict"), what)
	found := at(row, "found")
	if found == nil {
		require.NotNil(t, q.one(t, "dcc:noQuantity"), what)
		return
	}
	name, _ := at(row, "unit").(string)
	unit, known := rowUnits[name]
	require.True(t, known, "unit %q of %s", name, what)
	u := big.NewRat(1, 1)
	expanded := at(row, "uncertainty", "expanded_uncertainty_hz")
	if expanded != nil {
		u = rational(t, expanded)
	}
	if unit.db == nil {
		factor := rational(t, unit.factor)
		scaled := new(big.Rat).Mul(rational(t, found), factor)
		u.Mul(u, factor)
		if u.Sign() == 0 {
			u.SetInt64(1)
		}
		equalValue(t, q, scaled.RatString(), unit.si, u, what)
		if limit := at(row, "limit"); limit != nil {
			ref := map[string]string{"at most": "bandproof_limitAtMost", "at least": "bandproof_limitAtLeast", "within ±": "bandproof_limit"}[fmt.Sprint(at(row, "side"))]
			equalValue(t, l.quantityOf(t, ref), new(big.Rat).Mul(rational(t, limit), factor).RatString(), unit.si, u, what+" limit")
		}
	} else {
		f, _ := rational(t, found).Float64()
		got, _ := rational(t, q.says(t, "si:real", "si:value")).Float64()
		require.InEpsilon(t, unit.db(f), got, 1e-9, what)
		require.Equal(t, unit.si, q.says(t, "si:real", "si:unit"), what)
		require.Contains(t, q.all("dcc:measurementMetaData", "dcc:metaData")[0].says(t, "dcc:nonSIDefinition"), fmt.Sprint(found)+" "+name)
	}
	if k := at(row, "uncertainty", "coverage_factor"); k != nil {
		x := q.one(t, "si:real", "si:expandedUnc")
		require.NotNil(t, x, what)
		require.Zero(t, rational(t, x.says(t, "si:coverageFactor")).Cmp(rational(t, k)), what)
		if unit.db == nil {
			got := rational(t, x.says(t, "si:uncertainty"))
			if _, ends := u.FloatPrec(); ends {
				require.Zero(t, got.Cmp(u), "%s U: certificate %s, record %s", what, got.FloatString(30), u.FloatString(30))
			} else {
				difference := got.Sub(got, u)
				require.Negative(t, difference.Abs(difference).Cmp(new(big.Rat).Mul(u, big.NewRat(1, 1_000_000))), what)
			}
		} else {
			f, _ := rational(t, found).Float64()
			e, _ := rational(t, expanded).Float64()
			got, _ := rational(t, x.says(t, "si:uncertainty")).Float64()
			require.InEpsilon(t, unit.db(f+e)-unit.db(f), got, 1e-8, what)
		}
	}
}

// States of the unit, one condition each: what the schema's words mean for a
// unit in each of its runs.
func TestStatesOfTheUnit(t *testing.T) {
	root := parsed(t, certified(t, options(), foundRecord(t), betweenRecord(t), leftRecord(t)))
	got := map[string][]string{}
	for _, m := range root.all("dcc:measurementResults", "dcc:measurementResult") {
		for _, c := range m.all("dcc:influenceConditions", "dcc:influenceCondition", "dcc:status") {
			got[m.attrs["id"]] = append(got[m.attrs["id"]], c.text)
		}
	}
	require.Equal(t, map[string][]string{"as-found": {"beforeRepair", "beforeAdjustment"}, "after-repair": {"afterRepair", "beforeAdjustment"}, "as-left": {"afterRepair", "afterAdjustment"}}, got)
	alone := foundRecord(t)
	alone.Run.Kind = runner.AsLeft
	root = parsed(t, certified(t, options(), alone))
	require.Empty(t, root.all("dcc:measurementResults", "dcc:measurementResult", "dcc:influenceConditions", "dcc:influenceCondition", "dcc:status"), "nothing says that it was altered")
}
