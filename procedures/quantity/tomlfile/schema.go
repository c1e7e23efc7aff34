package tomlfile

import (
	"encoding/json"
	"fmt"
	"reflect"

	"github.com/invopop/jsonschema"
)

// JSONSchema returns the JSON Schema (draft 2020-12) of the files that Decode
// reads into a struct like of, so that an editor can complete and check them.
// Descriptions come from the fields' jsonschema_description tags. Variants say
// which further keys the tables of an Open struct take.
func JSONSchema(of any, id, title string, variants ...Variant) ([]byte, error) {
	r := jsonschema.Reflector{FieldNameTag: "toml", ExpandedStruct: true, Mapper: ownForm}
	s := r.Reflect(of)
	s.ID = jsonschema.ID(id)
	s.Title = title
	for open := range open(variants) {
		choose(s, open, variants)
	}
	out, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("schema of %s: %w", title, err)
	}
	return append(out, '\n'), nil
}

// Variant is one form of the tables of an Open struct: the one whose Key has
// the Value takes the keys of the struct that Keys points to as well.
type Variant struct {
	Open       string // name of the Go type
	Key, Value string
	Keys       any
}

// open lists the structs that the variants are of.
func open(variants []Variant) map[string]bool {
	list := map[string]bool{}
	for _, v := range variants {
		list[v.Open] = true
	}
	return list
}

// choose makes the schema of an Open struct the choice of its variants.
func choose(s *jsonschema.Schema, open string, variants []Variant) {
	shared := s.Definitions[open]
	if shared == nil {
		return
	}
	choice := &jsonschema.Schema{Description: shared.Description}
	for _, v := range variants {
		if v.Open != open {
			continue
		}
		r := jsonschema.Reflector{FieldNameTag: "toml", ExpandedStruct: true, DoNotReference: true, Anonymous: true, Mapper: ownForm}
		one := r.Reflect(v.Keys)
		one.Version, one.Type, one.AdditionalProperties = "", "object", jsonschema.FalseSchema
		if one.Properties == nil {
			one.Properties = jsonschema.NewProperties()
		}
		for p := shared.Properties.Oldest(); p != nil; p = p.Next() {
			field := *p.Value
			if p.Key == v.Key {
				field.Const = v.Value
			}
			one.Properties.Set(p.Key, &field)
		}
		one.Required = append(one.Required, shared.Required...)
		choice.OneOf = append(choice.OneOf, one)
	}
	s.Definitions[open] = choice
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
		n := required(fields)
		least, most := uint64(n), uint64(len(fields))
		keys := make([]string, n)
		for k, f := range fields[:n] {
			keys[k] = f.key
		}
		return &jsonschema.Schema{OneOf: []*jsonschema.Schema{
			{Type: "array", Items: &jsonschema.Schema{Type: "string"}, MinItems: &least, MaxItems: &most},
			{Type: "object", Required: keys},
		}}
	}
	return nil
}
