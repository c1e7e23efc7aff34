package virtual

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Stage is one stage of the unit with the ways in which it can fail.
type Stage struct {
	Name, Kind string
	From       []string // stages that feed it; none at a connector
	Input      string   // connector that feeds it, if any
	Modes      []StageMode
}

// StageMode is a way in which a stage fails.
type StageMode struct {
	Name    string
	About   string // what is wrong with the stage, in a sentence
	Amount  string // what amount means, empty where there is none
	Default string // the amount unless stated
}

// TestPoint is a place where [Bench.Probe] can look.
type TestPoint struct{ Name, Stage string }

// inside is the unit's block of stages.
type inside struct {
	stages []*stage
	points []TestPoint
	// Of each there is one; -1 only where a caller built a scenario by hand.
	timebase, gate, chain, register int
}

// stage is a StageScenario with its neighbours found. Indices are into
// inside.stages, -1 for none.
type stage struct {
	sc         StageScenario
	index      int
	input      *input
	fedBy      []int
	control    int
	oscillator int
	harmonics  *input
	low, high  float64 // range in which it works, Hz
	modes      []stageMode
}

// newInside builds the stages that LoadScenario has passed; nil where there
// are none.
func newInside(c *counter) *inside {
	if len(c.sc.Stages) == 0 {
		return nil
	}
	n := &inside{timebase: -1, gate: -1, chain: -1, register: -1}
	for _, x := range c.sc.Stages {
		s := &stage{sc: x, index: len(n.stages), input: c.inputNamed(x.Input), harmonics: c.inputNamed(x.Harmonics)}
		for _, name := range x.FedBy {
			if i := n.find(name); i >= 0 {
				s.fedBy = append(s.fedBy, i)
			}
		}
		s.control, s.oscillator = n.find(x.Control), n.find(x.Oscillator)
		n.span(s)
		switch {
		case x.Kind == kindOscillator && len(x.FedBy) == 0:
			n.timebase = s.index
		case x.Kind == kindGate:
			n.gate = s.index
		case x.Kind == kindChain:
			n.chain = s.index
		case x.Kind == kindRegister:
			n.register = s.index
		}
		n.stages = append(n.stages, s)
		s.modes = modesOf(n, s)
	}
	for _, p := range c.sc.TestPoints {
		n.points = append(n.points, TestPoint(p))
	}
	return n
}

func (n *inside) find(name string) int {
	return slices.IndexFunc(n.stages, func(s *stage) bool { return s.sc.Name == name })
}

// span works out the range of a stage: as stated, else that of its input, its
// oscillator, or of all that feeds it.
func (n *inside) span(s *stage) {
	switch {
	case s.sc.Range != nil:
		s.low, s.high = s.sc.Range[0].Float(), s.sc.Range[1].Float()
		return
	case s.sc.Frequency != nil:
		s.low, s.high = s.sc.Frequency.Float(), s.sc.Frequency.Float()
		return
	case s.input != nil:
		s.low, s.high = s.input.sc.Range[0].Float(), s.input.sc.Range[1].Float()
	}
	for k, i := range s.fedBy {
		from := n.stages[i]
		if k == 0 || from.low < s.low {
			s.low = from.low
		}
		s.high = math.Max(s.high, from.high)
	}
	if s.sc.Ratio > 0 {
		s.low, s.high = s.low/float64(s.sc.Ratio), s.high/float64(s.sc.Ratio)
	}
}

// Stages lists the stages of the unit in the order of the scenario; none where
// the scenario states none.
func (b *Bench) Stages() []Stage {
	n := b.counter.inside
	if n == nil {
		return nil
	}
	list := make([]Stage, len(n.stages))
	for i, s := range n.stages {
		list[i] = Stage{Name: s.sc.Name, Kind: s.sc.Kind, From: slices.Clone(s.sc.FedBy), Input: s.sc.Input}
		for _, m := range s.modes {
			list[i].Modes = append(list[i].Modes, m.StageMode)
		}
	}
	return list
}

// TestPoints lists where Probe can look, in the order of the scenario.
func (b *Bench) TestPoints() []TestPoint {
	if b.counter.inside == nil {
		return nil
	}
	return slices.Clone(b.counter.inside.points)
}

// stageNamed finds a stage, or says which there are.
func (n *inside) stageNamed(name string) (*stage, error) {
	if n == nil {
		return nil, fmt.Errorf("the scenario states no stages of the counter")
	}
	if i := n.find(name); i >= 0 {
		return n.stages[i], nil
	}
	names := make([]string, len(n.stages))
	for i, s := range n.stages {
		names[i] = s.sc.Name
	}
	return nil, fmt.Errorf("no stage is called %q; there are %s", name, strings.Join(names, ", "))
}

// modeNamed finds a mode of failure, or says which there are.
func (s *stage) modeNamed(name string) (stageMode, error) {
	names := make([]string, len(s.modes))
	for i, m := range s.modes {
		if names[i] = m.Name; m.Name == name {
			return m, nil
		}
	}
	return stageMode{}, fmt.Errorf("stage %q has no mode %q; it has %s", s.sc.Name, name, strings.Join(names, ", "))
}
