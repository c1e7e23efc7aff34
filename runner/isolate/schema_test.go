package isolate

import (
	"bytes"
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write golden files")

// The published schema is that of the types; a change of one is seen.
func TestPublishedSchema(t *testing.T) {
	got, err := JSONSchema()
	require.NoError(t, err)
	const file = "testdata/block-model.schema.json"
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(file, got, 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got), "go test ./runner/isolate -run Schema -update; then read the change, and think of a new version")
}

// An independent validator accepts a model that the program reads, and refuses
// what an editor can see is wrong.
func TestSchemaJudged(t *testing.T) {
	text, err := os.ReadFile("../../cmd/bandproof/testdata/isolate/three.toml")
	require.NoError(t, err)
	schema, err := JSONSchema()
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(schema))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("urn:bandproof:block-model:1", doc))
	s, err := c.Compile("urn:bandproof:block-model:1")
	require.NoError(t, err)
	judge := func(text string) error {
		var v any
		require.NoError(t, toml.Unmarshal([]byte(text), &v))
		return s.Validate(v)
	}
	require.NoError(t, judge(string(text)))
	for name, change := range map[string][2]string{
		"unknown key":   {"reading = ", "colour = \"red\"\nreading = "},
		"no name":       {"name = \"Demo Counter Three, small\"\n", ""},
		"a bare number": {`from = "10 Hz"`, `from = 10`},
	} {
		t.Run(name, func(t *testing.T) {
			bad := strings.Replace(string(text), change[0], change[1], 1)
			require.NotEqual(t, string(text), bad)
			require.Error(t, judge(bad))
			_, err := Load("bad.toml", []byte(bad))
			require.Error(t, err)
		})
	}
}
