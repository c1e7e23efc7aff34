package procedures_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"bandproof/procedures"

	"github.com/pelletier/go-toml/v2"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
)

// The schemas are judged by an independent validator: it accepts what the
// program reads and refuses what an editor can see is wrong.
func TestSchemas(t *testing.T) {
	for _, c := range []struct {
		file, schema string
		valid        bool
	}{
		{"testdata/procedure.toml", "procedure", true},
		{"testdata/bench.toml", "bench", true},
		{"testdata/bench-manual.toml", "bench", true},
		{"testdata/bad/bench-panel-wrong.toml", "bench", false},
		{"testdata/bad/bench-notify-wrong.toml", "bench", false},
		{"testdata/bad/bench-sheet-wrong.toml", "bench", false},
		{"../testdata/switched/bench.toml", "bench", true},
		{"../testdata/switched/procedure.toml", "procedure", true},
		{"../cmd/bandproof/demo/procedure.toml", "procedure", true},
		{"../cmd/bandproof/demo/bench.toml", "bench", true},
		{"../cmd/bandproof/demo/job-as-found.toml", "job", true},
		{"testdata/bad/procedure-unknown-key.toml", "procedure", false},
		{"testdata/bad/procedure-missing-revision.toml", "procedure", false},
		{"testdata/bad/procedure-no-unit.toml", "procedure", false},
		{"testdata/bad/procedure-wrong-unit.toml", "procedure", false},
		{"testdata/bad/procedure-unknown-counting.toml", "procedure", false},
		{"testdata/bad/procedure-unknown-rule.toml", "procedure", false},
		{"testdata/bad/bench-vswr-wrong.toml", "bench", true}, // only its values are wrong: lists with and without their optional entry
		{"testdata/bad/bench-bad-date.toml", "bench", false},
		{"testdata/bad/bench-parity-unknown.toml", "bench", false},
		{"testdata/bad/bench-no-counter-reference.toml", "bench", false},
	} {
		t.Run(filepath.Base(c.file), func(t *testing.T) {
			text, err := procedures.JSONSchema(c.schema)
			require.NoError(t, err)
			doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
			require.NoError(t, err)
			compiler := jsonschema.NewCompiler()
			require.NoError(t, compiler.AddResource("s.json", doc))
			schema, err := compiler.Compile("s.json")
			require.NoError(t, err)
			data, err := os.ReadFile(c.file)
			require.NoError(t, err)
			var v map[string]any
			require.NoError(t, toml.Unmarshal(data, &v))
			err = schema.Validate(v)
			require.Equal(t, c.valid, err == nil, "%v", err)
		})
	}
	_, err := procedures.JSONSchema("nonsense")
	require.ErrorContains(t, err, "there are procedure, bench, job")
}
