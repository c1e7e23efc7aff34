package record_test

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/reports/record"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the schemas in testdata anew")

func compiled(t testing.TB, of string) *jsonschema.Schema {
	t.Helper()
	text, err := record.JSONSchema(of)
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	require.NoError(t, c.AddResource("s.json", doc))
	s, err := c.Compile("s.json")
	require.NoError(t, err)
	return s
}

func validate(t testing.TB, s *jsonschema.Schema, text []byte) error {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	return s.Validate(doc)
}

// The published schemas are those of the types; a change of one is seen.
func TestPublishedSchemas(t *testing.T) {
	for _, of := range record.Schemas() {
		got, err := record.JSONSchema(of)
		require.NoError(t, err)
		file := filepath.Join("testdata", of+".schema.json")
		if *update {
			require.NoError(t, os.MkdirAll("testdata", 0o755))
			require.NoError(t, os.WriteFile(file, got, 0o644))
		}
		want, err := os.ReadFile(file)
		require.NoError(t, err)
		require.Equal(t, string(want), string(got), "go test ./reports/record -run Schemas -update; then read the change, and think of a new version")
	}
	_, err := record.JSONSchema("nonsense")
	require.ErrorContains(t, err, "there are record, seal")
}

// An independent validator accepts what the program writes, and refuses what is
// broken.
func TestSchemasJudged(t *testing.T) {
	s := chain(t, "c", 1, testKey)[0]
	records, seals := compiled(t, "record"), compiled(t, "seal")
	require.NoError(t, validate(t, records, s.Bytes))
	require.NoError(t, validate(t, seals, s.SealBytes))
	correction, err := reads(t, full()).Correct("new", correctedAt, reads(t, full()).Job, "r", "w", true)
	require.NoError(t, err)
	text, err := correction.Encode()
	require.NoError(t, err)
	require.NoError(t, validate(t, records, text))
	for name, c := range map[string]struct{ old, new string }{
		"another version":    {`"bandproof record 2"`, `"bandproof record 3"`},
		"unknown member":     {`"invented":true`, `"invented":true,"isbn":1`},
		"exact as a number":  {`"error_hz":"-1/3"`, `"error_hz":-0.333`},
		"exact with a unit":  {`"error_hz":"-1/3"`, `"error_hz":"-1/3 Hz"`},
		"quantity as number": {`"frequency":"40 MHz"`, `"frequency":40000000`},
		"another verdict":    {`"word":"fail"`, `"word":"failed"`},
		"another kind":       {`"kind":"as-left"`, `"kind":"left"`},
		"another use":        {`"use":"discarded"`, `"use":"dropped"`},
		"no model":           {`"model":"",`, ``},
		"time without zone":  {`"created":"2026-11-25T08:00:00.123456789Z"`, `"created":"2026-11-25T08:00:00"`},
		"local time":         {`"created":"2026-11-25T08:00:00.123456789Z"`, `"created":"2026-11-25T09:00:00.123456789+01:00"`},
	} {
		require.Contains(t, string(s.Bytes), c.old, name)
		require.Error(t, validate(t, records, []byte(strings.Replace(string(s.Bytes), c.old, c.new, 1))), name)
	}
	for name, c := range map[string]struct{ old, new string }{
		"number as text": {`"number":1`, `"number":"1"`}, "no key": {`"key":`, `"kee":`},
	} {
		require.Error(t, validate(t, seals, []byte(strings.Replace(string(s.SealBytes), c.old, c.new, 1))), name)
	}
}
