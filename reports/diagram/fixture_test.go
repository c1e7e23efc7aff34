package diagram

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bandproof/runner/isolate"
	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

// counter is the model of a counter with three inputs.
func counter(t testing.TB) *isolate.Network {
	t.Helper()
	file := filepath.Join("testdata", "three-input.toml")
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	return load(t, string(text))
}

// demo is the model of the demo's unit, whose inputs are those of counter.
func demo(t testing.TB) *isolate.Network {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "cmd", "bandproof", "demo", "block-model.toml"))
	require.NoError(t, err)
	return load(t, string(text))
}

func load(t testing.TB, text string) *isolate.Network {
	t.Helper()
	n, err := isolate.Load("model.toml", []byte(text))
	require.NoError(t, err)
	return n
}

// deadB is what is believed of the counter when input B shows nothing, and what
// to look at next.
func deadB(t testing.TB, n *isolate.Network) Options {
	t.Helper()
	var seen []isolate.Observation
	for k, f := range []float64{1e6, 1e7, 5e7} {
		seen = append(seen, isolate.Observation{ID: fmt.Sprintf("A-%03d", k), Input: "A", Frequency: f, Kind: symptom.Good})
	}
	for k, f := range []float64{1e8, 4e8, 1e9} {
		seen = append(seen, isolate.Observation{ID: fmt.Sprintf("B-%03d", k), Input: "B", Frequency: f, Kind: symptom.None})
	}
	for k, f := range []float64{2e9, 9e9, 20e9} {
		seen = append(seen, isolate.Observation{ID: fmt.Sprintf("C-%03d", k), Input: "C", Frequency: f, Kind: symptom.Good})
	}
	return believed(t, n, seen)
}

func believed(t testing.TB, n *isolate.Network, seen []isolate.Observation) Options {
	t.Helper()
	post, err := n.Infer(t.Context(), seen, isolate.Options{})
	require.NoError(t, err)
	probes, err := post.Probes(t.Context(), nil)
	require.NoError(t, err)
	o := Options{Posterior: post}
	if len(probes) > 0 {
		o.Next = &probes[0]
	}
	return o
}

// modelText begins a model with one way from one input.
func modelText(reading string) *strings.Builder {
	b := &strings.Builder{}
	fmt.Fprintf(b, "schema = \"bandproof block model 1\"\nname = \"model\"\nunit = \"unit\"\norigin = \"a test\"\nreading = %q\n"+
		"[[way]]\nname = \"A\"\ninput = \"A\"\nfrom = \"1 MHz\"\nto = \"100 MHz\"\n", reading)
	return b
}

func stage(b *strings.Builder, name, kind string) {
	fmt.Fprintf(b, "[[stage]]\nname = %q\nkind = %q\n", name, kind)
	if kind == "connector" {
		b.WriteString("input = \"A\"\n")
	}
}

func connection(b *strings.Builder, from, to, as string) {
	fmt.Fprintf(b, "[[connection]]\nfrom = %q\nto = %q\nas = %q\n", from, to, as)
}

// chainOf is stages in a row.
func chainOf(t testing.TB, n int) *isolate.Network {
	t.Helper()
	b := modelText(fmt.Sprintf("stage %d", n))
	stage(b, "input A", "connector")
	before := "input A"
	for k := 1; k <= n; k++ {
		name := fmt.Sprintf("stage %d", k)
		stage(b, name, []string{"amplifier", "filter", "limiter", "attenuator", "buffer"}[k%5])
		connection(b, before, name, "signal")
		if k < n && k%2 == 0 {
			fmt.Fprintf(b, "[[test_point]]\nname = \"TP%d\"\nafter = %q\naccess = \"probe\"\n", k, name)
		}
		before = name
	}
	return load(t, b.String())
}

// meshOf is rows of stages that are joined here and there, with a way back for
// each row.
func meshOf(t testing.TB, rows, columns int) *isolate.Network {
	t.Helper()
	b := modelText("sum")
	stage(b, "input A", "connector")
	name := func(r, c int) string { return fmt.Sprintf("row %d stage %d", r+1, c+1) }
	kinds := isolateKinds()
	for r := range rows {
		for c := range columns {
			stage(b, name(r, c), kinds[(r*7+c)%len(kinds)])
		}
	}
	stage(b, "sum", "counting chain")
	for r := range rows {
		connection(b, "input A", name(r, 0), "signal")
		for c := 1; c < columns; c++ {
			connection(b, name(r, c-1), name(r, c), "signal")
			if c%4 == 2 && r > 0 {
				connection(b, name(r-1, c-2), name(r, c), "clock")
			}
		}
		if columns > 3 {
			connection(b, name(r, 3), name(r, 1), "control") // automatic level control
		}
		connection(b, name(r, columns-1), "sum", "signal")
	}
	return load(t, b.String())
}

func isolateKinds() []string {
	return []string{"limiter", "attenuator", "amplifier", "trigger", "filter", "switch", "mixer", "oscillator", "timebase", "multiplier",
		"divider", "buffer", "gate", "gate control", "counting chain", "output register", "control line", "supply", "other"}
}
