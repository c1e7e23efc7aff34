package isolate

import (
	"fmt"
	"math"
	"slices"

	"bandproof/runner/symptom"
)

// Testability says what can be found in a unit of this model at all.
type Testability struct {
	// Unreachable stages matter to no reading and no test point in any way.
	Unreachable []string `json:"unreachable,omitempty"`
	// BySweep and ByProbes are groups of faults of different stages that no
	// reading tells apart, and that no test point tells apart either.
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
	faults := n.worst(append(slices.Clone(readings), probes...))
	t.Faults = len(faults)
	for k, s := range n.Model.Stages {
		touched := func(l look) bool { return l.touches(k) }
		if !slices.ContainsFunc(readings, touched) && !slices.ContainsFunc(probes, touched) {
			t.Unreachable = append(t.Unreachable, s.Name)
		}
	}
	signs := n.signatures(faults, readings)
	t.BySweep, _ = n.alike(faults, signs)
	for k, more := range n.signatures(faults, probes) {
		signs[k] = append(signs[k], more...)
	}
	t.ByProbes, t.Hidden = n.alike(faults, signs)
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
			list = append(list, Observation{Input: w.Input, Frequency: f, Kind: symptom.Good})
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

// worst lists each mode of each stage in its clearest form: the variant that
// changes the most looks.
func (n *Network) worst(looks []look) []variant {
	var list []variant
	changes := func(v variant) (sum float64) {
		for k := range looks {
			if looks[k].touches(v.stage) {
				sum += distance(n.predict([]variant{v}, &looks[k]), certain.leaky())
			}
		}
		return sum
	}
	most := math.Inf(-1)
	for _, v := range n.variants(looks) {
		x := changes(v)
		switch last := len(list) - 1; {
		case last < 0 || list[last].stage != v.stage || list[last].mode != v.mode:
			list, most = append(list, v), x
		case x > most:
			list[last], most = v, x
		}
	}
	return list
}

func (n *Network) signatures(faults []variant, looks []look) [][]distribution {
	list := make([][]distribution, len(faults))
	for k, v := range faults {
		list[k] = make([]distribution, len(looks))
		for i := range looks {
			list[k][i] = n.predict([]variant{v}, &looks[i])
		}
	}
	return list
}

// alike groups faults that no look tells apart, and those that no look shows.
func (n *Network) alike(faults []variant, signs [][]distribution) (groups [][]StageMode, hidden []StageMode) {
	name := func(k int) StageMode { return StageMode{n.Model.Stages[faults[k].stage].Name, faults[k].mode} }
	left := make([]bool, len(faults))
	for k := range faults {
		if !slices.ContainsFunc(signs[k], func(d distribution) bool { return distance(d, certain.leaky()) > apart }) {
			hidden, left[k] = append(hidden, name(k)), true
		}
	}
	for k := range faults {
		if left[k] {
			continue
		}
		group := []StageMode{name(k)}
		for i := k + 1; i < len(faults); i++ {
			if !left[i] && !toldApart(signs[k], signs[i]) {
				group, left[i] = append(group, name(i)), true
			}
		}
		if slices.ContainsFunc(group, func(x StageMode) bool { return x.Stage != group[0].Stage }) {
			groups = append(groups, group)
		}
	}
	return groups, hidden
}

func toldApart(a, b []distribution) bool {
	for k := range a {
		if distance(a[k], b[k]) > apart {
			return true
		}
	}
	return false
}

// distance is the total variation distance of two distributions, 0 to 1.
func distance(a, b distribution) float64 {
	sum := 0.0
	for s := range a {
		sum += math.Abs(a[s] - b[s])
	}
	return sum / 2
}
