package isolate

import (
	"math"
	"slices"

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
	// Gate that was set, s; 0 where that is not known.
	Gate float64 `json:"gate_s,omitempty"`
	Says string  `json:"says,omitempty"` // in words
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
	// levels: what the stage gives too little shows as too little at the place;
	// behind what decides between pulses and nothing it does not.
	levels bool
	raw    bool // the level at the input sets that at the stage
	mixed  bool // the unit counts what a mixer gives
	manner int  // in which it fails, where there are several
}

// look is an observation as the network sees it: a place, a stimulus, and what
// each stage is to it in each of the ways that the signal may take.
type look struct {
	place int
	seen  int // symptom
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

// seeing makes looks, of which many share a signal.
type seeing struct {
	*Network
	frequency map[signal][]float64 // that each stage gives
}

type signal struct {
	way int
	f   float64
}

func (n *Network) seeing() seeing { return seeing{n, map[signal][]float64{}} }

// lookOf finds what a model says about an observation; ok is false where the
// model has no way for it, or no such test point.
func (n seeing) lookOf(o Observation) (l look, ok bool) {
	l = look{place: atReading, seen: place(o.Kind), obs: o}
	if o.TestPoint != "" {
		if l.place = n.testPoint(o.TestPoint); l.place < 0 {
			return l, false
		}
	} else if o.SelfTest && l.seen > sGood {
		l.seen = sOther // it tells good from bad only
	}
	if !(o.Frequency >= 0) || math.IsInf(o.Frequency, 1) {
		return l, false
	}
	for _, way := range n.waysOf(o.Input, o.Frequency, o.SelfTest) {
		if l.place == atReading || n.live(l.place, way) {
			at := signal{way, o.Frequency}
			if n.frequency[at] == nil {
				n.frequency[at] = n.frequencies(way, o.Frequency)
			}
			l.ways = append(l.ways, wayLook{way, n.seen[l.place+1][way], n.frequency[at]})
		}
	}
	return l, len(l.ways) > 0
}

func (n *Network) testPoint(name string) int {
	if k, ok := n.points[name]; ok {
		return k
	}
	return atReading
}

// live tells whether a good unit has something at a test point in a way.
func (n *Network) live(point, way int) bool {
	after := n.after[point]
	if after == n.reading {
		return true
	}
	leads := slices.ContainsFunc(n.out[after], func(c *connection) bool { return c.ways[way] })
	return leads && n.fed[way][after]
}

// fedIn tells of each stage whether what comes to it in a way comes from
// somewhere: from the input that the way uses, or from a stage that makes it.
func (n *Network) fedIn(way int) []bool {
	fed := make([]bool, len(n.Model.Stages))
	var onward func(k int)
	onward = func(k int) {
		if fed[k] {
			return
		}
		fed[k] = true
		for _, c := range n.out[k] {
			other := n.Model.Stages[c.to].Input
			if c.as == asSignal && c.ways[way] && !n.shut(c, way) && (other == "" || other == n.Model.Ways[way].Input) {
				onward(c.to)
			}
		}
	}
	for k, s := range n.Model.Stages {
		leads := slices.ContainsFunc(n.in[k], func(c *connection) bool { return c.as != asControl })
		if s.Input != "" && s.Input == n.Model.Ways[way].Input || s.Input == "" && (!leads || s.makes()) {
			onward(k)
		}
	}
	return fed
}

// makes tells whether a stage gives a frequency of its own.
func (s Stage) makes() bool {
	return s.Kind == "oscillator" || s.Kind == "timebase" || s.Kind == "control line" || s.Kind == "gate control" || s.Kind == "supply"
}

// contextOf is how one stage stands to a look in one of its ways.
func (n *Network) contextOf(l *look, w wayLook, stage int) standing {
	c := standing{place: l.place, way: w.way, role: w.role[stage], frequency: w.frequency[stage], margin: math.NaN(),
		sensitivity: l.obs.Sensitivity, selfTest: l.obs.SelfTest, readings: l.obs.Readings, powered: l.obs.Powered,
		position: n.position[w.way][stage], levels: n.levels[l.place+1][w.way][stage], raw: n.raw[w.way][stage], mixed: n.mixed[w.way]}
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
