package imported_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bandproof/reports/imported"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var today = time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)

const good = "date,serial,run,input,frequency,level,unit_reference,error,uncertainty,k,limit,verdict,laboratory,certificate\r\n" +
	"2024-05-31,S-1,as-found,B,1 GHz,-20 dBm,own,120 Hz,26 Hz,2,0.5 ppm,pass,\"Lab, \"\"North\"\" (invented)\",C-1\r\n" +
	"2024-06-01,S-1,as-left,,,,own,0.02 ppm,1e-9,2.05,0.5 ppm,,,\r\n"

func parse(text string, o imported.Options) (imported.File, error) {
	o.Today = today
	return imported.Parse("r.csv", []byte(text), o)
}

func TestResultsAreRead(t *testing.T) {
	f, err := parse(good, imported.Options{})
	require.NoError(t, err)
	require.Equal(t, []any{",", "point", good}, []any{f.Separator, f.Decimal, f.Text})
	require.Len(t, f.Results, 2)
	r := f.Results[0]
	require.Equal(t, []any{2, "2024-05-31", "S-1", "as-found", "B", "1 GHz", "-20 dBm", "Hz", "120", "26", 2.0, "500", "pass", `Lab, "North" (invented)`, "C-1", false},
		[]any{r.Line, r.Date.String(), r.Serial, string(r.Run), r.Input, r.Frequency.String(), r.Level.String(), r.Unit, r.Error.String(), r.Uncertainty.String(), r.K, r.Limit.String(), string(r.Verdict), r.Laboratory, r.Certificate, r.Timebase()})
	r = f.Results[1]
	require.Equal(t, []any{3, "1", "0.00000002", "0.000000001", 2.05, "0.0000005", true},
		[]any{r.Line, r.Unit, r.Error.String(), r.Uncertainty.String(), r.K, r.Limit.String(), r.Timebase()})
}

// The same results, however the file is written.
func TestWaysToWriteAFile(t *testing.T) {
	want, err := parse(good, imported.Options{})
	require.NoError(t, err)
	semicolons := "date;serial;run;input;frequency;level;unit_reference;reading;reference;uncertainty;k;limit;verdict;laboratory;certificate\n" +
		"2024-05-31;S-1;as-found;B;1 GHz;-20 dBm;own;1,000 000 12 GHz;1 GHz;0,026 kHz;2;500 Hz;pass;\"Lab, \"\"North\"\" (invented)\";C-1\n" +
		"2024-06-01;S-1;as-left;;;;own;;;1e-9;2,05;±0,5 ppm;;;\n"
	for name, c := range map[string]struct {
		text string
		o    imported.Options
		all  bool
	}{
		"byte order mark":               {"\ufeff" + good, imported.Options{}, true},
		"line feeds":                    {strings.ReplaceAll(good, "\r\n", "\n"), imported.Options{}, true},
		"no line end at the end":        {strings.TrimSuffix(good, "\r\n"), imported.Options{}, true},
		"spaces around":                 {strings.ReplaceAll(good, "S-1", " S-1 "), imported.Options{}, true},
		"stated":                        {good, imported.Options{Separator: ",", Decimal: "point"}, true},
		"decimal comma between commas":  {strings.NewReplacer("0.5 ppm", `"0,5 ppm"`, "0.02", `"0,02`, "ppm,1e-9,2.05", `ppm",1e-9,"2,05"`).Replace(good), imported.Options{}, true},
		"semicolons and decimal commas": {semicolons, imported.Options{}, false},
	} {
		got, err := parse(c.text, c.o)
		if c.all {
			require.NoError(t, err, name)
			require.Equal(t, asJSON(t, want.Results), asJSON(t, got.Results), name)
			continue
		}
		require.ErrorContains(t, err, "line 3, column error: is empty, and reading and reference are not both there", name)
		got, err = parse(strings.Join(strings.SplitAfter(c.text, "\n")[:2], ""), c.o)
		require.NoError(t, err, name)
		require.Equal(t, []any{";", "comma"}, []any{got.Separator, got.Decimal}, name)
		require.Equal(t, asJSON(t, want.Results[:1]), asJSON(t, got.Results), name)
	}
}

func asJSON(t *testing.T, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	require.NoError(t, err)
	return string(text)
}

// Each mistake is told with its line and column, and gives no result.
func TestMistakes(t *testing.T) {
	swap := func(pairs ...string) string { return strings.NewReplacer(pairs...).Replace(good) }
	for name, c := range map[string]struct {
		text string
		o    imported.Options
		want string
	}{
		"empty":                  {"", imported.Options{}, "r.csv, line 1: holds no result"},
		"header only":            {strings.SplitAfter(good, "\n")[0], imported.Options{}, "line 1: holds no result"},
		"unknown column":         {swap("verdict", "verdikt"), imported.Options{}, `line 1, column "verdikt": is none that is known; expected date, asset`},
		"column twice":           {swap("verdict", "limit"), imported.Options{}, "line 1, column limit: stands twice"},
		"no date column":         {swap("date,", "asset,"), imported.Options{}, "the columns date, run and unit_reference must be there"},
		"no unit":                {swap("serial", "verdict", "verdict", "level", "level", "asset2"), imported.Options{}, "is none that is known"},
		"no unit at all":         {"date,run,unit_reference,error\n2024-01-01,as-found,own,1 ppm\n", imported.Options{}, "neither a column serial nor asset"},
		"nothing found":          {"date,serial,run,unit_reference\n2024-01-01,S,as-found,own\n", imported.Options{}, "neither a column error nor the two"},
		"uncertainty without k":  {"date,serial,run,unit_reference,error,uncertainty\n2024-01-01,S,as-found,own,1 ppm,1 ppm\n", imported.Options{}, "needs a column k"},
		"field count":            {good + "2024-06-02,S-1\r\n", imported.Options{}, "line 4: has another number of fields than the first line, which has 14 parted by"},
		"bare quote":             {swap(",B,", `,B"x,`), imported.Options{}, "line 2: a quote stands within a field"},
		"quote not closed":       {good + "\"", imported.Options{}, "line 4: a quoted field does not end"},
		"after a quote":          {swap(",B,", `,"B"x,`), imported.Options{}, "line 2: a quoted field does not end, or something follows"},
		"blank line between":     {swap("C-1\r\n", "C-1\r\n\r\n"), imported.Options{}, "line 3: the line is empty"},
		"blank line at the end":  {good + "\r\n", imported.Options{}, "line 4: the line is empty"},
		"not UTF-8":              {swap("North", "N\xf6rd"), imported.Options{}, "line 2: not UTF-8"},
		"UTF-16":                 {"\xff\xfed\x00", imported.Options{}, "UTF-16; save it as UTF-8"},
		"other separator stated": {strings.ReplaceAll(good, "\"", ""), imported.Options{Separator: ";"}, "is none that is known"},
		"date":                   {swap("2024-05-31", "31.05.2024"), imported.Options{}, `line 2, column date: "31.05.2024" is not a date`},
		"day that is none":       {swap("2024-05-31", "2024-02-30"), imported.Options{}, "line 2, column date:"},
		"future":                 {swap("2024-05-31", "2062-05-31"), imported.Options{}, "expected a day from 1950 up to today"},
		"no date":                {swap("2024-05-31", ""), imported.Options{}, "line 2, column date:"},
		"no serial":              {swap("S-1", ""), imported.Options{}, "line 2, column serial: is empty, and so is asset"},
		"run":                    {swap("as-found", "found"), imported.Options{}, `line 2, column run: is "found"; expected as-found, after-repair, as-left`},
		"reference":              {swap(",own,120", ",house,120"), imported.Options{}, `line 2, column unit_reference: is "house"; expected own, external`},
		"frequency":              {swap("1 GHz", "1000000000"), imported.Options{}, "line 2, column frequency:"},
		"frequency of zero":      {swap("1 GHz", "0 Hz"), imported.Options{}, "expected one above zero"},
		"no input":               {swap(",B,", ",,"), imported.Options{}, "line 2, column input: is empty"},
		"no frequency":           {swap("1 GHz", ""), imported.Options{}, "line 2, column frequency: is empty"},
		"timebase from outside":  {swap(",own,0.02", ",external,0.02"), imported.Options{}, "line 3, column unit_reference: is external"},
		"level":                  {swap("-20 dBm", "-20"), imported.Options{}, "line 2, column level:"},
		"error without unit":     {swap("120 Hz", "120"), imported.Options{}, `line 2, column error: "120" has no unit; expected such as "12 Hz" or "0.2 ppm"`},
		"error in volts":         {swap("120 Hz", "120 V"), imported.Options{}, "line 2, column error:"},
		"timebase in hertz":      {swap("0.02 ppm", "2 Hz"), imported.Options{}, "line 3, column error:"},
		"U of zero":              {swap("26 Hz", "0 Hz"), imported.Options{}, "line 2, column uncertainty: is \"0 Hz\"; expected one above zero"},
		"negative U":             {swap("26 Hz", "-26 Hz"), imported.Options{}, "line 2, column uncertainty:"},
		"k":                      {swap("26 Hz,2,", "26 Hz,,"), imported.Options{}, `line 2, column k: is ""; expected the coverage factor`},
		"k below 1":              {swap("26 Hz,2,", "26 Hz,0.5,"), imported.Options{}, "line 2, column k:"},
		"verdict":                {swap(",pass,", ",ok,"), imported.Options{}, `line 2, column verdict: is "ok"; expected pass, conditional pass`},
		"comma and point":        {swap("1e-9", `"1,5e-9"`), imported.Options{}, "numbers have a comma in line 3 and a point in line 2"},
		"thousands":              {swap("120 Hz", `"1,000,120 Hz"`), imported.Options{Decimal: "comma"}, "line 2, column error: \"1,000,120 Hz\" has a mark of thousands"},
		"point stated comma":     {good, imported.Options{Decimal: "comma"}, "has a mark of thousands, or no decimal comma"},
		"control character":      {swap("North", "N\u202eorth"), imported.Options{}, "line 2, column laboratory: holds the control character U+202E"},
		"line break in a field":  {swap("North", "No\nrth"), imported.Options{}, "line 2, column laboratory: holds the control character U+000A"},
		"long":                   {swap("North", strings.Repeat("x", 11_000)), imported.Options{}, "line 2, column laboratory: has"},
		"twice":                  {good + strings.SplitAfter(good, "\n")[1], imported.Options{}, "line 4: the same result as in line 2 stands once more"},
	} {
		f, err := parse(c.text, c.o)
		require.ErrorIs(t, err, imported.ErrFile, name)
		require.ErrorContains(t, err, c.want, name)
		require.Empty(t, f, name)
	}
	_, err := parse(swap("as-found", "found", "1 GHz", "one", "as-left", "left"), imported.Options{})
	require.Len(t, strings.Split(err.Error(), "\n"), 3, "all mistakes are told at once: %v", err)
	many := strings.SplitAfter(good, "\n")[0]
	for k := range 100 {
		many += fmt.Sprintf("never,S-%d,as-found,,,,own,1 ppm,,,,,,\n", k)
	}
	_, err = parse(many, imported.Options{})
	require.Len(t, strings.Split(err.Error(), "\n"), 31)
	require.ErrorContains(t, err, "more mistakes are not told")
}

// What a result says decides its hash, and nothing else does.
func TestHashOfAResult(t *testing.T) {
	a, err := parse(good, imported.Options{})
	require.NoError(t, err)
	lines := strings.SplitAfter(good, "\n")
	b, err := parse(lines[0]+lines[2]+strings.Replace(lines[1], "0.5 ppm", "500 Hz", 1), imported.Options{})
	require.NoError(t, err)
	sum := func(r imported.Result) string {
		text, err := r.SHA256()
		require.NoError(t, err)
		return text
	}
	require.Equal(t, sum(a.Results[0]), sum(b.Results[1]))
	require.NotEqual(t, sum(a.Results[0]), sum(a.Results[1]))
	b.Results[1].K = 3
	require.NotEqual(t, sum(a.Results[0]), sum(b.Results[1]))
}

// Results come back from JSON as they were.
func TestRoundTrip(t *testing.T) {
	f, err := parse(good, imported.Options{})
	require.NoError(t, err)
	var again []imported.Result
	require.NoError(t, json.Unmarshal([]byte(asJSON(t, f.Results)), &again))
	require.Equal(t, asJSON(t, f.Results), asJSON(t, again))
}

// Lines in any order give the same results.
func TestOrderOfLines(t *testing.T) {
	lines := strings.SplitAfter(good, "\n")
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 8).Draw(t, "n")
		var list []string
		for k := range n {
			list = append(list, strings.Replace(lines[1], "1 GHz", fmt.Sprintf("%d MHz", 100+k), 1))
		}
		f, err := parse(lines[0]+strings.Join(rapid.Permutation(list).Draw(t, "order"), ""), imported.Options{})
		require.NoError(t, err)
		seen := map[string]bool{}
		for _, r := range f.Results {
			seen[r.Frequency.String()] = true
		}
		require.Len(t, seen, n)
	})
}

// No text makes the reader panic, and what it takes reads back from JSON.
func FuzzParse(f *testing.F) {
	f.Add([]byte(good), "", "")
	f.Add([]byte("\ufeff"+strings.ReplaceAll(good, ",", ";")), ";", "comma")
	f.Add([]byte("date,serial,run,unit_reference,error\n2024-01-01,S,as-found,own,\"0,1 ppm\"\n\n"), ",", "")
	if text, err := os.ReadFile(filepath.Join("testdata", "earlier.csv")); err == nil {
		f.Add(text, "", "")
	}
	f.Fuzz(func(t *testing.T, text []byte, separator, decimal string) {
		if separator != "" && separator != "," && separator != ";" {
			separator = ""
		}
		got, err := imported.Parse("f.csv", text, imported.Options{Separator: separator, Decimal: decimal, Today: today})
		if err != nil {
			require.ErrorIs(t, err, imported.ErrFile)
			require.Empty(t, got)
			return
		}
		require.NotEmpty(t, got.Results)
		for _, r := range got.Results {
			text, err := json.Marshal(r)
			require.NoError(t, err)
			var again imported.Result
			require.NoError(t, json.Unmarshal(text, &again), "%s", text)
			other, err := json.Marshal(again)
			require.NoError(t, err)
			require.Equal(t, string(text), string(other))
			_, err = r.SHA256()
			require.NoError(t, err)
		}
	})
}
