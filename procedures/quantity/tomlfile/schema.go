package tomlfile

import (
	"encoding/json"
	"fmt"
	"reflect"

	"github.com/invopop/jsonschema"
)

// JSONSchema returns the JSON Schema (draft 2020-12) of the files that Decode
// reads into a struct like of, so that an editor can complete and check them.
// Descriptions come from the fields' jsonschema_description tags.
func JSONSchema(of any, id, title string) ([]byte, error) {
	r := jsonschema.Reflector{FieldNameTag: "toml", ExpandedStruct: true, Mapper: ownForm}
	s := r.Reflect(of)
	s.ID = jsonschema.ID(id)
	s.Title = title
	out, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("schema of %s: %w", title, err)
	}
	return append(out, '\n'), nil
}

// patterned is every quantity: text of a known form.
type patterned interface {
	Pattern() (pattern, example string)
}

// ownForm gives the types that are written as text, or as a list, their schema.
func ownForm(t reflect.Type) *jsonschema.Schema {
	if t.Kind() == reflect.Pointer {
		return nil
	}
	if p, ok := reflect.Zero(t).Interface().(patterned); ok {
		pattern, example := p.Pattern()
		return &jsonschema.Schema{Type: "string", Pattern: pattern, Examples: []any{example}}
	}
	if _, ok := reflect.New(t).Interface().(Positional); ok && t.Kind() == reflect.Struct {
		fields := fieldsOf(t)
		count := uint64(len(fields))
		keys := make([]string, len(fields))
		for k, f := range fields {
			keys[k] = f.key
		}
		return &jsonschema.Schema{OneOf: []*jsonschema.Schema{
			{Type: "array", Items: &jsonschema.Schema{Type: "string"}, MinItems: &count, MaxItems: &count},
			{Type: "object", Required: keys},
		}}
	}
	return nil
}
