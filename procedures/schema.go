package procedures

import (
	"fmt"
	"strings"

	"bandproof/procedures/quantity/tomlfile"
)

// Schemas lists the files of this package that have a JSON Schema.
func Schemas() []string { return []string{"procedure", "bench", "job"} }

// JSONSchema returns the JSON Schema of a file, made from the Go types that
// read it; the procedure's [[measure]] tables are of the given kinds.
func JSONSchema(file string, kinds ...MeasureKind) ([]byte, error) {
	of := map[string]any{"procedure": &Procedure{}, "bench": &Bench{}, "job": &Job{}}[file]
	if of == nil {
		return nil, fmt.Errorf("no schema for %q; there are %s", file, strings.Join(Schemas(), ", "))
	}
	var variants []tomlfile.Variant
	for _, k := range kinds {
		variants = append(variants, tomlfile.Variant{Open: "Measure", Key: "kind", Value: k.Kind(), Keys: k.Keys()})
	}
	return tomlfile.JSONSchema(of, "urn:bandproof:"+file+":1", "bandproof "+file+" file", variants...)
}
