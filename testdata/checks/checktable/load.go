package checktable

import (
	"os"
	"testing"

	"github.com/pelletier/go-toml/v2"
)

// Load reads the entries of a file of check values into C. An entry without a
// name or a source, or a name that stands twice, fails the test.
func Load[C any](t testing.TB, file string) []C {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var entries struct {
		Check []C `toml:"check"`
	}
	var heads struct {
		Check []struct {
			ID     string `toml:"id"`
			Source string `toml:"source"`
		} `toml:"check"`
	}
	for _, to := range []any{&entries, &heads} {
		if err := toml.Unmarshal(text, to); err != nil {
			t.Fatalf("%s: %v", file, err)
		}
	}
	if len(heads.Check) == 0 {
		t.Fatalf("%s holds no check", file)
	}
	seen := map[string]bool{}
	for k, c := range heads.Check {
		if c.ID == "" || c.Source == "" || seen[c.ID] {
			t.Fatalf("%s: check %d, id %q: expected an id of its own and a source", file, k+1, c.ID)
		}
		seen[c.ID] = true
	}
	return entries.Check
}
