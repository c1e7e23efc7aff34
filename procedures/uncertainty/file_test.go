package uncertainty_test

import (
	"encoding/json"
	"testing"

	"bandproof/procedures/uncertainty"

	"github.com/stretchr/testify/require"
)

const goodFile = `schema = "bandproof budget 1"
name = "Frequency of an invented source"
unit = "Hz"

[[contribution]]
name = "reference"
value = 0.002
distribution = "normal"
k = 2
source = "certificate"

[[contribution]]
name = "repeatability"
value = 0.0005
distribution = "t"
degrees_of_freedom = 9
source = "ten readings"

[[contribution]]
name = "drift"
value = 1e-10
distribution = "rectangular"
degrees_of_freedom = 50
sensitivity = -1e7
source = "history"

[[contribution]]
name = "mean"
value = 0.0001
distribution = "normal"
standard = true
source = "earlier runs"

[[correlation]]
a = "reference"
b = "drift"
r = 0.5
`

func TestLoad(t *testing.T) {
	f, err := uncertainty.Load("f.toml", []byte(goodFile))
	require.NoError(t, err)
	b := f.Budget()
	require.Len(t, b, 4)
	require.InDelta(t, 0.001, b[0].Standard, 1e-15)
	require.Equal(t, 2.0, b[0].Divisor())
	require.Equal(t, 9.0, b[1].DegreesOfFreedom)
	require.InDelta(t, -0.001/1.7320508, b[2].Output(), 1e-9)
	require.Equal(t, 0.0001, b[3].Standard)
	require.Equal(t, []uncertainty.Correlation{{A: "reference", B: "drift", R: 0.5}}, f.Correlations)
	table, err := b.Table(f.Correlations)
	require.NoError(t, err)
	require.Negative(t, table.Covariances[0].Share)
	require.Len(t, table.Notes, 1)
	require.Contains(t, table.Notes[0], `"reference" and "drift"`)
}

func TestLoadTellsEveryMistake(t *testing.T) {
	const head = "schema = \"bandproof budget 1\"\nname = \"n\"\nunit = \"Hz\"\n"
	one := func(rest string) string { return head + "[[contribution]]\nname = \"a\"\nsource = \"s\"\n" + rest }
	normal := func(name string) string {
		return "[[contribution]]\nname = \"" + name + "\"\nsource = \"s\"\nvalue = 1\ndistribution = \"normal\"\nk = 2\n"
	}
	pair := func(rest string) string { return head + normal("a") + normal("b") + "[[correlation]]\n" + rest }
	for _, row := range []struct{ name, text, says string }{
		{"another file", `schema = "bandproof bench 1"`, `f.toml:1: schema: is "bandproof bench 1"; this is read as a budget file, "bandproof budget 1"`},
		{"empty schema", `schema = ""`, `f.toml:1: schema: is ""; this is read as a budget file, "bandproof budget 1"`},
		{"no contributions", head, "f.toml:1: contribution: is missing; it must be given"},
		{"empty list", head + "contribution = []\n", "f.toml:4: contribution: has 0 entries; expected 1 to 500"},
		{"empty unit", "schema = \"bandproof budget 1\"\nname = \"n\"\nunit = \" \"\n" + normal("a"), "f.toml:3: unit: is empty"},
		{"not a number", one("value = nan\ndistribution = \"rectangular\""), `f.toml:7: contribution "a".value: is NaN; expected a finite number of at least zero`},
		{"infinite", one("value = inf\ndistribution = \"rectangular\""), `f.toml:7: contribution "a".value: is +Inf; expected a finite number of at least zero`},
		{"negative", one("value = -1\ndistribution = \"rectangular\""), `f.toml:7: contribution "a".value: is -1; expected a finite number of at least zero`},
		{"freedom below one", one("value = 1\ndistribution = \"t\"\ndegrees_of_freedom = 0.5"), `f.toml:9: contribution "a".degrees_of_freedom: is 0.5; expected at least 1`},
		{"freedom infinite", one("value = 1\ndistribution = \"t\"\ndegrees_of_freedom = inf"), `f.toml:9: contribution "a".degrees_of_freedom: is inf; leave the key out for infinitely many`},
		{"t without freedom", one("value = 1\ndistribution = \"t\""), `f.toml:8: contribution "a".distribution: is t; then degrees_of_freedom must be given`},
		{"t with k", one("value = 1\ndistribution = \"t\"\ndegrees_of_freedom = 3\nk = 2"), `f.toml:10: contribution "a".k: belongs to distribution normal; of t it has no meaning`},
		{"unknown distribution", one("value = 1\ndistribution = \"uniform\""), `f.toml:8: contribution "a".distribution: is "uniform"; expected one of normal, rectangular, triangular, U-shaped, t`},
		{"normal without k", one("value = 1\ndistribution = \"normal\""), `f.toml:8: contribution "a".distribution: is normal; then k must be given, or standard = true where the value is a standard uncertainty`},
		{"normal with both", one("value = 1\ndistribution = \"normal\"\nk = 2\nstandard = true"), `f.toml:10: contribution "a".standard: contradicts k: the value is either a standard uncertainty or k times one`},
		{"k of zero", one("value = 1\ndistribution = \"normal\"\nk = 0"), `f.toml:9: contribution "a".k: is 0; expected a finite number above zero`},
		{"k of a half-width", one("value = 1\ndistribution = \"triangular\"\nk = 2"), `f.toml:9: contribution "a".k: belongs to distribution normal; of triangular it has no meaning`},
		{"sensitivity", one("value = 1\ndistribution = \"triangular\"\nsensitivity = nan"), `f.toml:9: contribution "a".sensitivity: is NaN; expected a finite number`},
		{"product too large", one("value = 1e200\ndistribution = \"normal\"\nk = 1\nsensitivity = 1e200"),
			`f.toml:4: contribution: uncertainty "a" has sensitivity 1e+200; expected a finite number whose product with 1e+200 is finite`},
		{"same name", head + normal("a") + normal("a"), `f.toml:11: contribution "a".name: "a" is given to an earlier contribution already`},
		{"unknown key", one("value = 1\ndistribution = \"t\"\ndegrees_of_freedom = 3\ndivisor = 2"), `f.toml:10: contribution "a".divisor: is not a key here; known keys are degrees_of_freedom, distribution, k, name, sensitivity, source, standard, value`},
		{"correlation beyond one", pair("a = \"a\"\nb = \"b\"\nr = -1.5"), `f.toml:19: correlation[1].r: is -1.5; expected -1 to 1`},
		{"correlation not a number", pair("a = \"a\"\nb = \"b\"\nr = nan"), `f.toml:19: correlation[1].r: is NaN; expected -1 to 1`},
		{"unknown names", pair("a = \"x\"\nb = \"y\"\nr = 0"), "f.toml:17: correlation[1].a: is \"x\"; there is no contribution of that name\n" +
			"f.toml:18: correlation[1].b: is \"y\"; there is no contribution of that name"},
		{"with itself", pair("a = \"a\"\nb = \"a\"\nr = 0"), `f.toml:16: correlation[1]: is of "a" with itself; expected two contributions`},
		{"twice", pair("a = \"a\"\nb = \"b\"\nr = 0.1\n[[correlation]]\na = \"b\"\nb = \"a\"\nr = 0.1\n"), `f.toml:20: correlation[2]: of "b" and "a" is stated already`},
		{"impossible", head + normal("a") + normal("b") + normal("c") + "[[correlation]]\na = \"a\"\nb = \"b\"\nr = 1\n[[correlation]]\na = \"b\"\nb = \"c\"\nr = 1\n",
			`f.toml:22: correlation: correlation of "a", "b" and "c": no quantities can be correlated like this (the matrix is not positive semi-definite, its least eigenvalue is -0.414); ` +
				`pairs that are not stated count as 0, and coefficients near ±1 need all their digits`},
	} {
		t.Run(row.name, func(t *testing.T) {
			_, err := uncertainty.Load("f.toml", []byte(row.text))
			require.EqualError(t, err, row.says)
		})
	}
}

func TestJSONSchema(t *testing.T) {
	text, err := uncertainty.JSONSchema()
	require.NoError(t, err)
	require.True(t, json.Valid(text))
	require.Contains(t, string(text), `"degrees_of_freedom"`)
}

// FuzzLoad: any text is read or refused; what is read combines and is laid out.
func FuzzLoad(f *testing.F) {
	f.Add([]byte(goodFile))
	f.Add([]byte("schema = \"bandproof budget 1\"\ncontribution = [{name='a', value=nan, distribution='t', source=''}]\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		file, err := uncertainty.Load("f", text)
		if err != nil {
			_ = err.Error()
			return
		}
		if _, err := file.Budget().Table(file.Correlations); err != nil {
			t.Fatalf("accepted, but: %v", err)
		}
	})
}
