package procedures

import (
	"encoding/json"
	"fmt"
	"reflect"

	"github.com/invopop/jsonschema"
)

// Schemas lists the files that have a JSON Schema.
func Schemas() []string { return []string{"procedure", "bench", "job"} }

// JSONSchema returns the JSON Schema (draft 2020-12) of a file, made from the
// Go types that read it, so that an editor can complete and check it.
func JSONSchema(file string) ([]byte, error) {
	var of any
	switch file {
	case "procedure":
		of = &Procedure{}
	case "bench":
		of = &Bench{}
	case "job":
		of = &Job{}
	default:
		return nil, fmt.Errorf("no schema for %q; there are %v", file, Schemas())
	}
	r := jsonschema.Reflector{FieldNameTag: "toml", ExpandedStruct: true, Mapper: quantitySchema}
	s := r.Reflect(of)
	s.ID = jsonschema.ID("urn:bandproof:" + file + ":1")
	s.Title = "bandproof " + file + " file"
	out, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("schema of %s: %w", file, err)
	}
	return append(out, '\n'), nil
}

// patterned is every quantity: text of a known form.
type patterned interface {
	Pattern() (pattern, example string)
}

var lossEntry = reflect.TypeFor[LossEntry]()

func quantitySchema(t reflect.Type) *jsonschema.Schema {
	if p, ok := reflect.Zero(t).Interface().(patterned); ok && t.Kind() != reflect.Pointer {
		pattern, example := p.Pattern()
		return &jsonschema.Schema{Type: "string", Pattern: pattern, Examples: []any{example}}
	}
	if t == lossEntry {
		text := &jsonschema.Schema{Type: "string"}
		two := uint64(2)
		return &jsonschema.Schema{OneOf: []*jsonschema.Schema{
			{Type: "array", Items: text, MinItems: &two, MaxItems: &two, Examples: []any{[]string{"100 MHz", "0.4 dB"}}},
			{Type: "object", Required: []string{"at", "loss"}},
		}}
	}
	return nil
}
