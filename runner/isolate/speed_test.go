package isolate

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

const (
	largeInputs = 6
	largeBands  = 3 // of each input
	largeRow    = 13
)

// largeModel is a unit of 300 stages: six inputs of three bands each, switched
// by lines of their own, mixed with a common oscillator, selected, gated and
// counted; about every fifth stage has a test point, or as many as are asked for.
func largeModel(points int) string {
	var b strings.Builder
	var stages []string
	fmt.Fprintf(&b, "schema = %q\nname = \"large\"\nunit = \"large\"\norigin = \"a test\"\nreading = \"counting chain\"\n", ModelSchema)
	b.WriteString("[[internal]]\nname = \"lo\"\nfrequency = \"200 MHz\"\n[[internal]]\nname = \"n\"\nexpression = \"floor(f / lo)\"\n")
	stage := func(name, kind, more string) {
		fmt.Fprintf(&b, "[[stage]]\nname = %q\nkind = %q\n%s", name, kind, more)
		stages = append(stages, name)
	}
	join := func(from, to, more string) { fmt.Fprintf(&b, "[[connection]]\nfrom = %q\nto = %q\n%s", from, to, more) }
	stage("timebase", "timebase", "")
	before := "timebase"
	for k := range 8 {
		name := fmt.Sprintf("reference %d", k)
		stage(name, "buffer", "")
		join(before, name, "carries = \"1e7\"\n")
		before = name
	}
	stage("gate control", "gate control", "")
	join(before, "gate control", "as = \"clock\"\ncarries = \"1e7\"\n")
	stage("local oscillator", "oscillator", "")
	join(before, "local oscillator", "as = \"clock\"\ncarries = \"1e7\"\n")
	before = "local oscillator"
	for k := range 7 {
		name := fmt.Sprintf("multiplier %d", k)
		stage(name, "multiplier", "")
		join(before, name, "carries = \"lo\"\n")
		before = name
	}
	comb := before
	stage("input control", "control line", "")
	stage("input selector", "switch", "")
	join("input control", "input selector", "as = \"control\"\n")
	kinds := []string{"attenuator", "amplifier", "filter", "amplifier", "mixer", "filter", "amplifier", "buffer", "trigger", "divider", "buffer", "amplifier", "other"}
	for i := range largeInputs {
		in := string(rune('A' + i))
		stage(in, "connector", fmt.Sprintf("input = %q\n", in))
		stage(in+" limiter", "limiter", "")
		stage(in+" band control", "control line", "")
		stage(in+" band switch", "switch", "")
		join(in, in+" limiter", "")
		join(in+" limiter", in+" band switch", "")
		join(in+" band control", in+" band switch", "as = \"control\"\n")
		for band := range largeBands {
			way := fmt.Sprintf("%s band %d", in, band)
			fmt.Fprintf(&b, "[[way]]\nname = %q\ninput = %q\nfrom = \"%d MHz\"\nto = \"%d MHz\"\n", way, in, 1+1000*band, 1000+1000*band)
			ways, before := fmt.Sprintf("ways = [%q]\n", way), in+" band switch"
			for k := range largeRow {
				name, carries := fmt.Sprintf("%s %d %s", way, k, kinds[k]), ""
				stage(name, kinds[k], "")
				if k > 4 {
					carries = "carries = \"abs(f - n * lo)\"\n"
				}
				if kinds[k] == "mixer" {
					join(comb, name, "as = \"oscillator\"\ncarries = \"n * lo\"\n"+ways)
				}
				join(before, name, carries+ways)
				before = name
			}
			join(before, "input selector", "carries = \"abs(f - n * lo)\"\n"+ways)
		}
	}
	before = "input selector"
	for k := len(stages); k < 298; k++ {
		name := fmt.Sprintf("common %d", k)
		stage(name, "amplifier", "")
		join(before, name, "carries = \"abs(f - n * lo)\"\n")
		before = name
	}
	stage("gate", "gate", "")
	join(before, "gate", "carries = \"abs(f - n * lo)\"\n")
	join("gate control", "gate", "as = \"control\"\n")
	stage("counting chain", "counting chain", "")
	join("gate", "counting chain", "carries = \"abs(f - n * lo)\"\n")
	for k := range points {
		fmt.Fprintf(&b, "[[test_point]]\nname = \"TP%d\"\nafter = %q\naccess = \"probe\"\n", k, stages[k*len(stages)/points])
	}
	return b.String()
}

// largeEvidence is 200 points over all inputs and bands, of which those that
// fail says show nothing.
func largeEvidence(fail func(input, band, k int) symptom.Kind) []Observation {
	var list []Observation
	for k := range 200 {
		i, band, step := k%largeInputs, k/largeInputs%largeBands, k/largeInputs/largeBands
		f := (1 + 1000*float64(band) + 80*float64(step) + 40) * 1e6
		margin := 6.0
		list = append(list, Observation{ID: fmt.Sprint(k), Input: string(rune('A' + i)), Frequency: f, Margin: &margin, Kind: fail(i, band, step),
			Readings: 3, Powered: 1800 + 20*float64(k)})
	}
	return list
}

// largeCases are what a record may show of the large unit.
func largeCases() map[string][]Observation {
	good := func(int, int, int) symptom.Kind { return symptom.Good }
	return map[string][]Observation{
		"a band of an input is dead": largeEvidence(func(i, band, _ int) symptom.Kind {
			if i == 2 && band == 1 {
				return symptom.None
			}
			return symptom.Good
		}),
		"an input rolls off": largeEvidence(func(i, band, k int) symptom.Kind {
			if i == 1 && (band == 2 || band == 1 && k > 5) {
				return symptom.None
			}
			return symptom.Good
		}),
		"two bands of different inputs": largeEvidence(func(i, band, k int) symptom.Kind {
			if i == 0 && band == 0 || i == 4 && band == 2 {
				return symptom.TooFew
			}
			return symptom.Good
		}),
		"all is wrong a little": largeEvidence(func(int, int, int) symptom.Kind { return symptom.Off }),
		"all is good":           largeEvidence(good),
		"nothing is known":      nil,
		"weak and ambiguous": append(largeEvidence(good)[:3:3],
			Observation{ID: "x", Input: "A", Frequency: 5e8, Kind: symptom.Intermittent}, Observation{ID: "y", Input: "B", Frequency: 15e8, Kind: symptom.Noisy}),
	}
}

// whole is all that a person is told about a record.
func whole(t require.TestingT, text string, evidence []Observation) *Posterior {
	n, err := Load("large.toml", []byte(text))
	require.NoError(t, err)
	post, err := n.Infer(context.Background(), evidence, Options{})
	require.NoError(t, err)
	suspects := post.Suspects()
	Alike(suspects, 0.01)
	post.Pairs(0.01)
	post.Unexplained()
	_, err = post.Probes(context.Background(), nil)
	require.NoError(t, err)
	_, _, err = post.Expected(context.Background(), nil)
	require.NoError(t, err)
	return post
}

func BenchmarkWhole(b *testing.B) {
	text := largeModel(60)
	for name, evidence := range largeCases() {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				post := whole(b, text, evidence)
				b.ReportMetric(post.Lost, "lost")
			}
		})
	}
}

// A unit of 300 stages is weighed in full: what is left out of pairs does not
// matter, and what was made wrong comes out on top.
func TestLargeUnitIsWeighedInFull(t *testing.T) {
	text := largeModel(60)
	top := map[string]string{"a band of an input is dead": "C band 1 ", "an input rolls off": "B ", "two bands of different inputs": "", "all is wrong a little": "timebase"}
	for name, evidence := range largeCases() {
		post := whole(t, text, evidence)
		require.Len(t, post.network.Model.Stages, 300)
		require.LessOrEqual(t, post.Lost, 1e-9, name)
		if want, ok := top[name]; ok {
			require.Contains(t, post.Suspects()[0].Stage, want, name)
			require.Less(t, post.Good(), 1e-6, name)
			require.Empty(t, post.Unexplained(), name)
		}
	}
}

// Whoever waits no longer need not wait for the end of it.
func TestCancellationStopsSoon(t *testing.T) {
	n := loaded(t, largeModel(200))
	evidence := largeCases()["two bands of different inputs"]
	post, err := n.Infer(t.Context(), evidence, Options{})
	require.NoError(t, err)
	for name, work := range map[string]func(context.Context) error{
		"infer":    func(ctx context.Context) error { _, err := n.Infer(ctx, evidence, Options{}); return err },
		"probes":   func(ctx context.Context) error { _, err := post.Probes(ctx, nil); return err },
		"expected": func(ctx context.Context) error { _, _, err := post.Expected(ctx, nil); return err },
	} {
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		start := time.Now()
		require.ErrorIs(t, work(ctx), context.Canceled, name)
		t.Logf("%s: %v", name, time.Since(start))
		require.Less(t, time.Since(start), time.Second, name) // 50 ms on a machine that does nothing else
	}
}

func BenchmarkTestability(b *testing.B) {
	n := loaded(b, largeModel(200))
	b.ReportAllocs()
	for b.Loop() {
		n.Splits(n.Testability())
	}
}
