package isolate

import (
	"math"

	"bandproof/runner/symptom"
)

// Observation is one thing that was seen, at the reading of the unit or at a
// test point, with a signal at an input or in the self-test.
type Observation struct {
	ID string `json:"id"` // of the point, or of what the person entered
	// TestPoint where it was seen; "" for a reading of the unit.
	TestPoint string       `json:"test_point,omitempty"`
	Input     string       `json:"input,omitempty"` // "" in the self-test
	SelfTest  bool         `json:"self_test,omitempty"`
	Frequency float64      `json:"frequency_hz,omitempty"` // at the input
	Kind      symptom.Kind `json:"seen"`
	// Margin is how far the level lay above the specified sensitivity, dB; nil
	// where that is not known.
	Margin *float64 `json:"margin_db,omitempty"`
	// Sensitivity: what was looked for is the level that the input needs.
	Sensitivity bool `json:"sensitivity,omitempty"`
	// Readings that the point has; 3 unless stated.
	Readings int `json:"readings,omitempty"`
	// Powered is how long the unit had been on, s.
	Powered float64 `json:"powered_s,omitempty"`
	Says    string  `json:"says,omitempty"` // in words
}

// standing is one observation in one of the ways that it may have taken, as one
// stage stands to it.
type standing struct {
	place       int // atReading or a test point
	way         int
	role        role    // of the stage to the place
	frequency   float64 // that the stage gives, Hz; NaN where none is known
	margin      float64 // dB
	sensitivity bool
	selfTest    bool
	readings    int
	powered     float64 // s
	position    string  // that the stage must stand in
}

// look is an observation as the network sees it: a place, a stimulus, and what
// each stage is to it in each of the ways that the signal may take.
type look struct {
	place int
	obs   Observation
	ways  []wayLook
}

// wayLook is a look in one way: by stage, what it is to the place and the
// frequency that it gives (Hz, NaN where none is known).
type wayLook struct {
	way       int
	role      []role
	frequency []float64
}

// lookOf finds what a model says about an observation; ok is false where the
// model has no way for it, or no such test point.
func (n *Network) lookOf(o Observation) (l look, ok bool) {
	l = look{place: atReading, obs: o}
	if o.TestPoint != "" {
		if l.place = n.testPoint(o.TestPoint); l.place < 0 {
			return l, false
		}
	}
	for _, way := range n.waysOf(o.Input, o.Frequency, o.SelfTest) {
		if l.place == atReading || n.live(l.place, way) {
			l.ways = append(l.ways, wayLook{way, n.seen[l.place+1][way], n.frequencies(way, o.Frequency)})
		}
	}
	return l, len(l.ways) > 0
}

func (n *Network) testPoint(name string) int {
	for k, p := range n.Model.TestPoints {
		if p.Name == name {
			return k
		}
	}
	return atReading
}

// live tells whether a good unit has something at a test point in a way.
func (n *Network) live(point, way int) bool {
	after := n.stages[n.Model.TestPoints[point].After]
	if after == n.reading {
		return true
	}
	for _, c := range n.connections {
		if c.from == after && c.ways[way] && n.fed(after, way) {
			return true
		}
	}
	return false
}

// fed tells whether what comes to a stage in a way comes from somewhere: from
// the input that the way uses, or from a stage that makes it.
func (n *Network) fed(stage, way int) bool {
	visited := make([]bool, len(n.Model.Stages))
	var back func(k int) bool
	back = func(k int) bool {
		if visited[k] {
			return false
		}
		visited[k] = true
		leads, enters := false, false
		for _, c := range n.connections {
			if c.to != k || c.as == asControl {
				continue
			}
			leads = true
			if c.as == asSignal && c.ways[way] && !n.shut(c, way) && back(c.from) {
				enters = true
			}
		}
		if input := n.Model.Stages[k].Input; input != "" {
			return input == n.Model.Ways[way].Input
		}
		return enters || !leads || n.Model.Stages[k].makes()
	}
	return back(stage)
}

// makes tells whether a stage gives a frequency of its own.
func (s Stage) makes() bool {
	return s.Kind == "oscillator" || s.Kind == "timebase" || s.Kind == "control line" || s.Kind == "gate control" || s.Kind == "supply"
}

// contextOf is how one stage stands to a look in one of its ways.
func (n *Network) contextOf(l *look, w wayLook, stage int) standing {
	c := standing{place: l.place, way: w.way, role: w.role[stage], frequency: w.frequency[stage], margin: math.NaN(),
		sensitivity: l.obs.Sensitivity, selfTest: l.obs.SelfTest, readings: l.obs.Readings, powered: l.obs.Powered,
		position: n.position[w.way][stage]}
	if l.obs.Margin != nil {
		c.margin = *l.obs.Margin
	}
	if c.readings == 0 {
		c.readings = 3
	}
	return c
}

// touches tells whether a stage matters to a look in any of its ways.
func (l *look) touches(stage int) bool {
	for _, w := range l.ways {
		if w.role[stage] != 0 {
			return true
		}
	}
	return false
}
