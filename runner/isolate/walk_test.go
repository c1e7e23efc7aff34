package isolate_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"bandproof/drivers/virtual"
	"bandproof/procedures"
	"bandproof/runner/isolate"
	"bandproof/runner/symptom"

	"github.com/stretchr/testify/require"
)

// walk is a fault, what the sweep showed of it, and how it was looked for.
type walk struct {
	Stage  string `json:"stage"`
	Mode   string `json:"mode"`
	Amount string `json:"amount,omitempty"`
	Seed   int    `json:"seed"`
	// Shown is at how many points the sweep shows something, Shows what.
	Shown int    `json:"shown"`
	Shows string `json:"shows,omitempty"`
	// Rank of the true stage after the sweep, and Place where stages that the
	// evidence does not tell apart share one.
	Rank  int `json:"rank"`
	Place int `json:"place"`
	// Apart: by the check of the model, readings and looks tell it from every
	// fault of other stages.
	Apart    bool     `json:"apart"`
	Settled  string   `json:"settled,omitempty"`
	Left     []string `json:"left,omitempty"` // that share 95 % of what is believed
	Looks    int      `json:"looks"`
	Expected float64  `json:"looks_expected"` // after the sweep
	Minutes  float64  `json:"minutes"`
	Between  []string `json:"along_left,omitempty"`
	AlongAt  int      `json:"along_looks"`
	AlongMin float64  `json:"along_minutes"`
}

func (w walk) key() string { return strings.TrimSpace(w.Stage + ": " + w.Mode + " " + w.Amount) }

// cost of looks.
type cost struct {
	looks   int
	minutes float64
	done    map[string]bool
}

func newCost(*isolate.Network) cost { return cost{done: map[string]bool{}} }

// usual is what a look takes by its access, min.
var usual = map[string]float64{"connector": 2, "probe": 5, "solder": 15, "board-out": 30}

func (c *cost) add(p isolate.TestPoint) {
	c.looks++
	c.minutes += usual[p.Access]
	if p.Needs != "" && !c.done[p.Needs] {
		c.done[p.Needs] = true
		c.minutes += p.NeedsTime.Float() / 60
	}
}

func testPoint(n *isolate.Network, name string) isolate.TestPoint {
	k := slices.IndexFunc(n.Model.TestPoints, func(p isolate.TestPoint) bool { return p.Name == name })
	return n.Model.TestPoints[k]
}

func (u *unit) answer(good *unit, testPoint string, at procedures.Point) symptom.Kind {
	return answer(u.probe(testPoint, at), good.probe(testPoint, at), at.Frequency.Float())
}

// modeOf is the mode of the model that a fault of the virtual unit is one of.
func modeOf(kind, mode string) isolate.Mode {
	switch {
	case mode == "dead" || mode == "stuck-closed":
		return isolate.Dead
	case mode == "weak", kind == "limiter", kind == "attenuator":
		return isolate.Weak
	case mode == "rolls-off" || mode == "detuned" || mode == "slow":
		return isolate.RollsOff
	case mode == "noisy" || mode == "jitter":
		return isolate.Scatters
	case mode == "intermittent":
		return isolate.ComesAndGoes
	case mode == "oscillates" || mode == "leaky":
		return isolate.Strays
	case mode == "double":
		return isolate.Doubles
	case mode == "ratio":
		return isolate.WrongRatio
	case mode == "misses":
		return isolate.Misses
	case mode == "dead-way":
		return isolate.DeadOneWay
	case mode == "stuck":
		return isolate.StaysOneWay
	case mode == "off-frequency" || mode == "pulled":
		return isolate.OffFrequency
	case mode == "stays":
		return isolate.ShortGates
	case mode == "unstable":
		return isolate.Unstable
	case strings.HasSuffix(mode, "-digit"), mode == "stuck-decade":
		return isolate.WrongDigits
	}
	return isolate.WrongTime // short, stuck-open, wrong-length
}

// rankOf is the place of a stage among the suspects, and the same where those
// that the evidence does not tell apart share one.
func rankOf(list []isolate.Suspect, stage string) (rank, place int) {
	group := map[string]string{}
	for _, g := range isolate.Alike(list, 0) {
		for _, s := range g {
			group[s] = g[0]
		}
	}
	seen := map[string]bool{}
	for k, s := range list {
		name := s.Stage
		if g, ok := group[name]; ok {
			name = g
		}
		if seen[name] = true; s.Stage == stage {
			return k + 1, len(seen)
		}
	}
	return 0, 0
}

// seek runs the sweep on a faulty unit and follows what is proposed, until a
// stage is settled or no look is worth taking. Log is told of every step.
func seek(t testing.TB, n *isolate.Network, good *unit, w walk, kind string, log func(string, ...any)) walk {
	t.Helper()
	u := sweep(t, w.Seed, virtual.Fault{Name: virtual.StageFault, Stage: w.Stage, Mode: w.Mode, Amount: w.Amount})
	evidence := u.evidence()
	kinds := map[symptom.Kind]int{}
	var first *isolate.Observation // that is bad
	for k, o := range evidence {
		if o.Kind == symptom.Good {
			continue
		}
		w.Shown++
		kinds[o.Kind]++
		if o.Input != "" && (first == nil || first.Sensitivity && !o.Sensitivity) {
			first = &evidence[k]
		}
		log("%s %s %g Hz: %s, %s", o.ID, o.Input, o.Frequency, o.Kind, o.Says)
	}
	w.Shows = shows(kinds)
	w.Apart = n.Testability().Distinguishable(w.Stage, modeOf(kind, w.Mode))
	post := infer(t, n, evidence)
	w.Rank, w.Place = rankOf(post.Suspects(), w.Stage)
	if w.Shown == 0 {
		return w
	}
	var err error
	w.Expected, _, err = post.Expected(t.Context(), nil)
	require.NoError(t, err)
	w.Expected = math.Round(100*w.Expected) / 100
	took := newCost(n)
	for took.looks < 40 {
		log("%s", suspects(post))
		if _, ok := post.Settled(); ok {
			break
		}
		probes, err := post.Probes(t.Context(), took.done)
		require.NoError(t, err)
		if len(probes) == 0 || probes[0].Information < isolate.LeastInformation {
			break
		}
		p := probes[0]
		seen := u.answer(good, p.TestPoint, u.point(p.Input, p.Frequency))
		log("  %s (after %s), input %s at %g Hz: %s", p.TestPoint, p.After, p.Input, p.Frequency, seen)
		took.add(testPoint(n, p.TestPoint))
		evidence = append(evidence, p.Observation(seen))
		post = infer(t, n, evidence)
	}
	w.Settled, _ = post.Settled()
	w.Looks, w.Minutes = took.looks, took.minutes
	for sum, k := 0.0, 0; sum < isolate.Found && k < len(post.Suspects()); k++ {
		s := post.Suspects()[k]
		sum, w.Left = sum+s.Probability, append(w.Left, s.Stage)
	}
	at := u.rig.Setup.Plan.Points[0] // where the self-test alone is bad
	if first != nil {
		at = u.point(first.Input, first.Frequency)
	}
	w.Between, took = u.goAlong(n, good, at)
	w.AlongAt, w.AlongMin = took.looks, took.minutes
	return w
}

func infer(t testing.TB, n *isolate.Network, evidence []isolate.Observation) *isolate.Posterior {
	t.Helper()
	post, err := n.Infer(t.Context(), evidence, isolate.Options{})
	require.NoError(t, err)
	require.Empty(t, post.Outside)
	return post
}

func suspects(post *isolate.Posterior) string {
	var parts []string
	for _, s := range post.Suspects()[:4] {
		if len(s.Modes) > 0 {
			parts = append(parts, fmt.Sprintf("%s %.3f (%s)", s.Stage, s.Probability, s.Modes[0].Says))
		}
	}
	return strings.Join(parts, ", ")
}

func shows(kinds map[symptom.Kind]int) string {
	var parts []string
	for _, k := range symptom.Kinds() {
		if kinds[k] > 0 {
			parts = append(parts, fmt.Sprintf("%s %d", k, kinds[k]))
		}
	}
	return strings.Join(parts, ", ")
}

// A good unit shows at every test point what the model of it says: the frequency
// that a look is told to expect.
func TestGoodUnitIsAsItsModelSays(t *testing.T) {
	n, u := demoModel(t), sweep(t, 1)
	post := infer(t, n, u.evidence())
	probes, err := post.Probes(t.Context(), nil)
	require.NoError(t, err)
	require.NotEmpty(t, probes)
	looked := map[string]bool{}
	for _, p := range probes {
		found := u.probe(p.TestPoint, u.point(p.Input, p.Frequency))
		require.Equal(t, p.After, found.Stage, p.TestPoint)
		require.True(t, found.Present, "%s, input %s at %g Hz", p.TestPoint, p.Input, p.Frequency)
		looked[p.TestPoint] = true
		if p.Expect == nil || *p.Expect == 0 {
			continue // a control line, or the gate's pulse
		}
		require.InEpsilon(t, *p.Expect, found.Frequency.Float(), math.Max(1, p.Frequency / *p.Expect)*reference, "%s, input %s at %g Hz", p.TestPoint, p.Input, p.Frequency)
	}
	require.Len(t, looked, len(n.Model.TestPoints))
	require.Len(t, u.rig.Bench.TestPoints(), len(n.Model.TestPoints))
	for _, s := range u.rig.Bench.Stages() {
		require.True(t, slices.ContainsFunc(n.Model.Stages, func(x isolate.Stage) bool { return x.Name == s.Name }), s.Name)
	}
}

// A unit without a fault is said to be good.
func TestGoodUnitIsGood(t *testing.T) {
	n := demoModel(t)
	for seed := range 4 {
		post := infer(t, n, sweep(t, seed+1).evidence())
		t.Logf("seed %d: good with probability %.4f; then %s", seed+1, post.Good(), suspects(post))
		require.Greater(t, post.Good(), isolate.Found, "seed %d", seed+1)
	}
}
