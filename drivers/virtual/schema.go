package virtual

import "bandproof/procedures/quantity/tomlfile"

// JSONSchema returns the JSON Schema of a scenario file, made from the types
// that read it.
func JSONSchema() ([]byte, error) {
	return tomlfile.JSONSchema(&Scenario{}, "urn:bandproof:scenario:1", "bandproof scenario file (virtual bench)")
}
