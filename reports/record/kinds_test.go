package record_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"bandproof/reports/record"
	"bandproof/runner/kinds"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// Whatever the kinds of measurement find, the record of it holds together and
// reads back as it was.
func TestRecordsOfEveryKind(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(runnertest.Root(t), "testdata/kinds/procedure.toml"))
	require.NoError(t, err)
	for _, row := range []struct {
		name   string
		faults []string
		only   []string
	}{
		{"good", nil, nil},
		{"islands, and a digit", []string{"dead-above:input=B,from=1 GHz,to=1.05 GHz", "dead-above:input=B,from=1.1 GHz", "stuck-digit:input=A,amount=3:7", "self-test-fails"}, nil},
		{"gate, and behind the timebase", []string{"gate-stays:input=A,amount=100 ms", "wrong-harmonic:input=B,amount=60 Hz,to=120 MHz"}, nil},
		{"source", []string{"source-unlock:instrument=LF,from=5 MHz"}, nil},
		{"added run", nil, []string{"B-003", "A-gate-and-resolution-001"}},
	} {
		if testing.Short() && len(row.faults) != 2 {
			continue
		}
		t.Run(row.name, func(t *testing.T) {
			r := runnertest.New(t, runnertest.Options{Text: string(text), Kinds: kinds.All(), Faults: row.faults})
			if row.only != nil {
				require.NoError(t, r.Setup.Plan.Restrict(r.Setup.Bench, row.only))
			}
			run := r.Run()
			rec := record.New(record.Parts{ID: "1", Now: r.Clock.Now(), Procedure: r.Setup.Procedure, Bench: r.Setup.Bench, Run: run,
				ProcedureFile: record.NewSource("procedure.toml", "p", "1", text), BenchFile: record.NewSource("bench.toml", "b", "1", text)})
			body, err := rec.Encode()
			require.NoError(t, err)
			require.NoError(t, validate(t, compiled(t, "record"), shortened(t, body)))
			back, err := record.Decode(body)
			require.NoError(t, err)
			again, err := back.Encode()
			require.NoError(t, err)
			require.Equal(t, string(body), string(again))
			require.Equal(t, run.Only, back.Run.Only)
			t.Logf("%d bytes, %d outcomes", len(body), len(run.Outcomes))
		})
	}
}

// shortened leaves of each long list its ends: what a schema says of one element
// it says of all, and these records have tens of thousands.
func shortened(t *testing.T, text []byte) []byte {
	t.Helper()
	const most, ends = 40, 4
	var doc any
	require.NoError(t, json.Unmarshal(text, &doc))
	var walk func(any) any
	walk = func(v any) any {
		switch x := v.(type) {
		case []any:
			if len(x) > most {
				x = append(x[:ends:ends], x[len(x)-ends:]...)
			}
			for k := range x {
				x[k] = walk(x[k])
			}
			return x
		case map[string]any:
			for name := range x {
				x[name] = walk(x[name])
			}
		}
		return v
	}
	out, err := json.Marshal(walk(doc))
	require.NoError(t, err)
	return out
}
