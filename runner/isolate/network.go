package isolate

import (
	"math"
	"slices"
	"strings"
)

// role is what a stage is to a place where one looks: bits, since a timebase may
// set the gate and drive an oscillator.
type role uint8

const (
	asSignal role = 1 << iota
	asClock
	asOscillator
	asControl
)

var roleNames = map[string]role{"": asSignal, "signal": asSignal, "clock": asClock, "oscillator": asOscillator, "control": asControl}

// atReading is the place of a reading of the unit; others are indices of test points.
const atReading = -1

// connection is a Connection with its ends looked up.
type connection struct {
	from, to int
	as       role
	carries  expression
	ways     []bool // by way
	stated   Connection
}

// Network is a model made ready to be reasoned over. It does not change.
type Network struct {
	Model       *Model
	stages      map[string]int
	points      map[string]int
	after       []int // by test point: the stage whose output it is
	connections []connection
	in, out     [][]*connection // by stage
	reading     int
	internals   []expression // by Model.Internals
	// seen[place+1][way][stage] is what the stage is to the place; 0 where it
	// doesn't matter there.
	seen [][][]role
	// position[way] of each stage that can stay one way tells which of its ways
	// is needed: two ways with equal text need the same one.
	position [][]string
	// levels[place+1][way][stage]: a level too low at the stage is one at the place.
	levels [][][]bool
	raw    [][]bool // by way and stage: no stage before it makes pulses of the signal
	mixed  []bool   // by way
	// feeds[way][stage] says what comes out of a stage; nil where nothing does.
	feeds [][]*connection
	// fed[way][stage] tells whether anything comes to a good stage.
	fed [][]bool
}

// build makes the network of a model that has been checked.
func build(m *Model) *Network {
	n := &Network{Model: m, stages: map[string]int{}, points: map[string]int{}}
	for k, s := range m.Stages {
		n.stages[s.Name] = k
	}
	n.reading = n.stages[m.Reading]
	names := []string{"f"}
	for _, i := range m.Internals {
		x := expression{}
		if i.Expression != "" {
			x, _ = parseExpression(i.Expression, names)
		}
		n.internals, names = append(n.internals, x), append(names, i.Name)
	}
	for _, c := range m.Connections {
		e := connection{from: n.stages[c.From], to: n.stages[c.To], as: roleNames[c.As], stated: c, ways: make([]bool, len(m.Ways))}
		if c.Carries != "" {
			e.carries, _ = parseExpression(c.Carries, names)
		}
		for k, w := range m.Ways {
			e.ways[k] = len(c.Ways) == 0 || slices.Contains(c.Ways, w.Name)
		}
		n.connections = append(n.connections, e)
	}
	n.in, n.out = make([][]*connection, len(m.Stages)), make([][]*connection, len(m.Stages))
	for k := range n.connections {
		c := &n.connections[k]
		n.in[c.to], n.out[c.from] = append(n.in[c.to], c), append(n.out[c.from], c)
	}
	n.lookEverywhere()
	switches := make([][]int, len(m.Stages))
	for k := range switches {
		switches[k] = n.switches(k)
	}
	n.setLevels()
	for way := range m.Ways {
		n.position, n.feeds = append(n.position, n.positions(way, switches)), append(n.feeds, n.feed(way))
		n.fed = append(n.fed, n.fedIn(way))
	}
	return n
}

// lookEverywhere goes back from each place; test points after one stage share
// what is seen there.
func (n *Network) lookEverywhere() {
	from := map[int][][]role{n.reading: n.look(n.reading)}
	n.seen = append(n.seen, from[n.reading])
	for k, p := range n.Model.TestPoints {
		after := n.stages[p.After]
		if from[after] == nil {
			from[after] = n.look(after)
		}
		n.after, n.points[p.Name] = append(n.after, after), k
		n.seen = append(n.seen, from[after])
	}
}

// look goes from a place back along everything that leads to it, in each way.
func (n *Network) look(place int) [][]role {
	list := make([][]role, len(n.Model.Ways))
	for way := range list {
		roles := make([]role, len(n.Model.Stages))
		var back func(stage int, as role)
		back = func(stage int, as role) {
			if roles[stage]&as != 0 {
				return
			}
			roles[stage] |= as
			for _, c := range n.in[stage] {
				if !c.ways[way] || n.shut(c, way) {
					continue
				}
				next := as
				if as == asSignal {
					next = c.as
				}
				back(c.from, next)
			}
		}
		back(place, asSignal)
		list[way] = roles
	}
	return list
}

// shut tells whether a connection comes from the connector of an input that the
// way does not use.
func (n *Network) shut(c *connection, way int) bool {
	input := n.Model.Stages[c.from].Input
	return input != "" && input != n.Model.Ways[way].Input
}

// positions says for each stage that can stay one way which one a way needs: the
// signal's connections of the switches that it is or that it sets.
func (n *Network) positions(way int, switches [][]int) []string {
	used := func(c *connection) bool {
		return c.as == asSignal && c.ways[way] && n.seen[0][way][c.from] != 0 && n.seen[0][way][c.to] != 0
	}
	each := make([]string, len(n.Model.Stages))
	for sw := range each {
		var text []string
		for _, c := range slices.Concat(n.in[sw], n.out[sw]) {
			if used(c) {
				text = append(text, c.stated.From+">"+c.stated.To)
			}
		}
		slices.Sort(text)
		each[sw] = strings.Join(text, "; ")
	}
	list := make([]string, len(each))
	for k := range list {
		if len(switches[k]) == 1 {
			list[k] = each[switches[k][0]]
			continue
		}
		var text []string
		for _, sw := range switches[k] {
			if each[sw] != "" {
				text = append(text, each[sw])
			}
		}
		slices.Sort(text)
		list[k] = strings.Join(text, "; ")
	}
	return list
}

// switches lists the stages that stand another way when this one stays one way:
// itself, or those that it controls, however far.
func (n *Network) switches(stage int) []int {
	var list []int
	visited := make([]bool, len(n.Model.Stages))
	var forward func(k int)
	forward = func(k int) {
		if visited[k] {
			return
		}
		visited[k] = true
		for _, c := range n.out[k] {
			switch {
			case c.as == asControl:
				list = append(list, c.to)
			case n.Model.Stages[k].Kind == "control line":
				forward(c.to)
			}
		}
	}
	forward(stage)
	if len(list) == 0 {
		list = []int{stage}
	}
	return list
}

// values are the names that an expression may use, at a frequency at the input.
func (n *Network) values(f float64) map[string]float64 {
	v := map[string]float64{"f": f}
	for k, i := range n.Model.Internals {
		if i.Frequency != nil {
			v[i.Name] = i.Frequency.Float()
		} else {
			v[i.Name] = n.internals[k].at(v)
		}
	}
	return v
}

// frequencies is what each stage gives in a way with f at the input, Hz; NaN
// where nothing is stated or nothing comes out.
func (n *Network) frequencies(way int, f float64) []float64 {
	values := n.values(f)
	list := make([]float64, len(n.Model.Stages))
	for k := range list {
		list[k] = math.NaN()
		if c := n.feeds[way][k]; c != nil {
			list[k] = math.Abs(c.carries.at(values))
		}
	}
	list[n.reading] = f
	return list
}

// feed finds the connection of each stage that says what it gives in a way: the
// first that does not control.
func (n *Network) feed(way int) []*connection {
	list := make([]*connection, len(n.Model.Stages))
	for k := range n.connections {
		c := &n.connections[k]
		if c.ways[way] && c.as != asControl && list[c.from] == nil {
			list[c.from] = c
		}
	}
	return list
}

// waysOf lists the ways that a signal may take: those of the input whose range
// holds it. Where two meet either may be taken.
func (n *Network) waysOf(input string, f float64, selfTest bool) []int {
	var list []int
	for k, w := range n.Model.Ways {
		switch {
		case w.SelfTest != selfTest, w.Input != input,
			w.From != nil && f < w.From.Float()*(1-edge),
			w.To != nil && f > w.To.Float()*(1+edge):
		default:
			list = append(list, k)
		}
	}
	return list
}

// edge is how far, relatively, a point that is set to the very edge may lie beyond it.
const edge = 1e-4
