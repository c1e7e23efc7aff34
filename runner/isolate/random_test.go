package isolate

import (
	"context"
	"fmt"
	"strings"

	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// small says how much a random model may hold.
type small struct {
	stages, ways, points int
	modes                []Mode // that stages may have; all where nil
}

// randomModel draws a model as its file states it: stages of all kinds, led to
// each other in any way, loops included.
func randomModel(t *rapid.T, most small) string {
	var b strings.Builder
	inputs := rapid.IntRange(1, 2).Draw(t, "inputs")
	stages := rapid.IntRange(1, most.stages).Draw(t, "stages")
	ways := rapid.IntRange(1, most.ways).Draw(t, "ways")
	name := func(k int) string {
		if k < inputs {
			return fmt.Sprintf("input %c", 'A'+k)
		}
		return fmt.Sprintf("s%d", k-inputs)
	}
	stage := func(label string) string { return name(rapid.IntRange(0, inputs+stages-1).Draw(t, label)) }
	fmt.Fprintf(&b, "schema = %q\nname = \"random\"\nunit = \"random\"\norigin = \"a test\"\nreading = %q\n", ModelSchema, name(inputs+stages-1))
	if rapid.Bool().Draw(t, "states faults") {
		fmt.Fprintf(&b, "faults = %q\n", fmt.Sprint(rapid.SampledFrom([]float64{1e-6, 0.01, 0.5, 3, 10}).Draw(t, "faults")))
	}
	b.WriteString("[[internal]]\nname = \"lo\"\nfrequency = \"200 MHz\"\n[[internal]]\nname = \"n\"\nexpression = \"floor(f / lo)\"\n")
	for k := range ways {
		fmt.Fprintf(&b, "[[way]]\nname = \"w%d\"\n", k)
		if rapid.IntRange(0, 4).Draw(t, "self-test") == 0 {
			b.WriteString("self_test = true\n")
			continue
		}
		fmt.Fprintf(&b, "input = \"%c\"\n", 'A'+rapid.IntRange(0, inputs-1).Draw(t, "input"))
		if rapid.Bool().Draw(t, "has a range") {
			fmt.Fprintf(&b, "from = \"%d MHz\"\nto = \"%d MHz\"\n", rapid.IntRange(1, 300).Draw(t, "from"), rapid.IntRange(301, 900).Draw(t, "to"))
		}
	}
	for k := range inputs + stages {
		kind := "connector"
		if k >= inputs {
			kind = rapid.SampledFrom(kinds()[1:]).Draw(t, "kind").name
		}
		fmt.Fprintf(&b, "[[stage]]\nname = %q\nkind = %q\n", name(k), kind)
		if k < inputs {
			fmt.Fprintf(&b, "input = \"%c\"\n", 'A'+k)
		}
		if rapid.Bool().Draw(t, "states a rate") {
			fmt.Fprintf(&b, "rate = %q\n", fmt.Sprint(rapid.SampledFrom([]float64{1e-6, 0.1, 1, 7, 1e6}).Draw(t, "rate")))
		}
		modes := most.modes
		if modes == nil {
			modes = allModes()
		}
		list := rapid.SliceOfNDistinct(rapid.SampledFrom(modes), 1, min(3, len(modes)), rapid.ID[Mode]).Draw(t, "modes")
		fmt.Fprintf(&b, "modes = %s\n", strings.ReplaceAll(fmt.Sprintf("%q", list), "\" \"", "\", \""))
	}
	connect := func(from, to string) {
		if from == to {
			return
		}
		fmt.Fprintf(&b, "[[connection]]\nfrom = %q\nto = %q\n", from, to)
		if as := rapid.SampledFrom([]string{"", "", "signal", "clock", "oscillator", "control"}).Draw(t, "as"); as != "" {
			fmt.Fprintf(&b, "as = %q\n", as)
		}
		if x := rapid.SampledFrom([]string{"", "", "f / 32", "abs(f - n * lo)", "lo", "0", "1 / (f - f)", "-f"}).Draw(t, "carries"); x != "" {
			fmt.Fprintf(&b, "carries = %q\n", x)
		}
		if rapid.IntRange(0, 2).Draw(t, "only some ways") == 0 {
			fmt.Fprintf(&b, "ways = [\"w%d\"]\n", rapid.IntRange(0, ways-1).Draw(t, "way"))
		}
	}
	for k := inputs; k < inputs+stages; k++ { // a row, of which some links are missing
		if k == inputs || rapid.IntRange(0, 5).Draw(t, "linked") > 0 {
			connect(name(rapid.IntRange(0, k-1).Draw(t, "fed by")), name(k))
		}
	}
	for range rapid.IntRange(0, stages).Draw(t, "more connections") {
		connect(stage("from"), stage("to"))
	}
	for k := range rapid.IntRange(0, most.points).Draw(t, "test points") {
		fmt.Fprintf(&b, "[[test_point]]\nname = \"TP%d\"\nafter = %q\naccess = %q\n", k, stage("after"), rapid.SampledFrom(accesses()).Draw(t, "access"))
	}
	return b.String()
}

func loaded(t require.TestingT, text string) *Network {
	n, err := Load("random.toml", []byte(text))
	require.NoError(t, err, text)
	return n
}

// randomEvidence draws what was seen, nonsense included.
func randomEvidence(t *rapid.T, most int) []Observation {
	list := make([]Observation, rapid.IntRange(0, most).Draw(t, "observations"))
	for k := range list {
		o := Observation{ID: fmt.Sprint(k), Kind: rapid.SampledFrom(append(symptom.Kinds(), symptom.Good, symptom.None)).Draw(t, "seen"),
			Powered: rapid.SampledFrom([]float64{0, 60, 600, 7200}).Draw(t, "powered"), Readings: rapid.IntRange(0, 6).Draw(t, "readings")}
		o.Input = rapid.SampledFrom([]string{"A", "A", "B"}).Draw(t, "input")
		o.Frequency = rapid.SampledFrom([]float64{1e6, 5e6, 3.3e8, 3.5e8, 4.001e8, 8e8, 1e9}).Draw(t, "frequency")
		switch rapid.IntRange(0, 5).Draw(t, "what") {
		case 0:
			o.SelfTest, o.Input, o.Frequency = true, "", 0
		case 1:
			o.Sensitivity = true
		case 2, 3:
			o.TestPoint = fmt.Sprintf("TP%d", rapid.IntRange(0, 3).Draw(t, "test point"))
		}
		if rapid.Bool().Draw(t, "margin is known") {
			margin := rapid.Float64Range(-20, 40).Draw(t, "margin")
			o.Margin = &margin
		}
		list[k] = o
	}
	return list
}

// inferred is an inference that leaves nothing out.
func inferred(t require.TestingT, n *Network, evidence []Observation) *Posterior {
	post, err := n.Infer(context.Background(), evidence, Options{Lose: -1})
	require.NoError(t, err)
	return post
}
