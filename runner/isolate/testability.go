package isolate

import (
	"cmp"
	"fmt"
	"slices"

	"bandproof/runner/symptom"
)

// Testability says what can be found in a unit of this model at all.
type Testability struct {
	// Unreachable stages matter to no reading and no test point in any way.
	Unreachable []string `json:"unreachable,omitempty"`
	// BySweep and ByProbes are groups of faults that no reading tells apart from
	// the first of them, and that no test point does either. Whatever can be taken
	// for a fault of another stage is in one, or in more.
	BySweep  [][]StageMode `json:"alike_by_readings,omitempty"`
	ByProbes [][]StageMode `json:"alike_by_all,omitempty"`
	// Hidden faults change no reading and nothing at a test point.
	Hidden []StageMode `json:"hidden,omitempty"`
	// Faults is how many there are, Stages of how many stages.
	Faults int `json:"faults"`
	Stages int `json:"stages"`
}

// StageMode is one failure mode of one stage.
type StageMode struct {
	Stage string `json:"stage"`
	Mode  Mode   `json:"mode"`
}

// String writes "B amplifier (dead)".
func (s StageMode) String() string { return fmt.Sprintf("%s (%s)", s.Stage, s.Mode) }

// apart is the total variation distance from which on two faults count as told
// apart by a look: half of all that may be seen is different.
const apart = 0.5

// Testability works out which faults could be told apart by readings in each way
// at some frequencies, by the self-test, and by looks at every test point.
func (n *Network) Testability() Testability {
	readings, probes := n.everyLook()
	t := Testability{Stages: len(n.Model.Stages)}
	looks := append(slices.Clone(readings), probes...)
	for k, s := range n.Model.Stages {
		if !slices.ContainsFunc(looks, func(l look) bool { return l.touches(k) }) {
			t.Unreachable = append(t.Unreachable, s.Name)
		}
	}
	g := newSigns(n, n.variants(looks))
	faults := g.worst(looks)
	t.Faults = g.modes(faults)
	signs := g.of(faults, looks)
	t.ByProbes, t.Hidden = g.alike(faults, signs)
	for k := range signs {
		end, _ := slices.BinarySearchFunc(signs[k], len(readings), func(s sign, at int) int { return cmp.Compare(int(s.look), at) })
		signs[k] = signs[k][:end]
	}
	t.BySweep, _ = g.alike(faults, signs)
	return t
}

// Distinguishable tells whether a stage's fault can be told from that of every
// other stage by all looks together.
func (t Testability) Distinguishable(stage string, m Mode) bool {
	self := StageMode{stage, m}
	if slices.Contains(t.Hidden, self) || slices.Contains(t.Unreachable, stage) {
		return false
	}
	for _, g := range t.ByProbes {
		if slices.Contains(g, self) {
			return false
		}
	}
	return true
}

// everyLook lists readings in each way at its edges and in its middle, and looks
// at all test points with the same.
func (n *Network) everyLook() (readings, probes []look) {
	see := n.seeing()
	for _, w := range n.Model.Ways {
		var list []Observation
		if w.SelfTest {
			list = append(list, Observation{SelfTest: true, Kind: symptom.Good})
		}
		for _, f := range w.spread() {
			list = append(list, Observation{Input: w.Input, Frequency: f, Gate: 1, Kind: symptom.Good})
		}
		for _, o := range list {
			if l, ok := see.lookOf(o); ok {
				readings = append(readings, l)
			}
			for _, t := range n.Model.TestPoints {
				o.TestPoint = t.Name
				if l, ok := see.lookOf(o); ok && !o.SelfTest {
					probes = append(probes, l)
				}
			}
		}
	}
	return readings, probes
}

// spread is three frequencies of a way, Hz.
func (w Way) spread() []float64 {
	middle, ok := w.middle()
	switch {
	case w.SelfTest:
		return nil
	case !ok:
		return []float64{1e6}
	case w.From == nil || w.To == nil:
		return []float64{middle}
	}
	return []float64{w.From.Float() * 1.001, middle, w.To.Float() / 1.001}
}
