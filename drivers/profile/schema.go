package profile

import "bandproof/procedures/quantity/tomlfile"

// JSONSchema returns the JSON Schema of a profile file, made from the types
// that read it.
func JSONSchema() ([]byte, error) {
	return tomlfile.JSONSchema(&File{}, "urn:bandproof:profile:1", "bandproof profile file")
}
