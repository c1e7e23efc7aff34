package isolate_test

import (
	"slices"

	"bandproof/procedures"
	"bandproof/runner/isolate"
	"bandproof/runner/symptom"
)

// chain is the other way to look for a fault, for comparison: a person takes the
// first point that is wrong, applies its signal, and goes along the diagram from
// the connector, from one test point to the next, up to the first at which
// something is wrong. Then the stages that feed what lies in between (oscillator,
// clock, control line) are gone along in the same way, from where they begin;
// where nothing was wrong on the way, those of the whole way. What is left are
// the stages between the last good look and the first bad one.
type chain struct {
	model *isolate.Model
	way   string
	look  func(testPoint string) symptom.Kind
	seen  map[string]symptom.Kind
	took  cost
}

func (c *chain) good(stage string) (looked, good bool) {
	for _, p := range c.model.TestPoints {
		if p.After != stage {
			continue
		}
		if _, before := c.seen[p.Name]; !before {
			c.seen[p.Name] = c.look(p.Name)
			c.took.add(p)
		}
		return true, c.seen[p.Name] == symptom.Good
	}
	return false, true
}

// into lists the connections to a stage in the way.
func (c *chain) into(stage string, signal bool) (from []string) {
	for _, x := range c.model.Connections {
		if x.To == stage && (len(x.Ways) == 0 || slices.Contains(x.Ways, c.way)) && (x.As == "" || x.As == "signal") == signal {
			from = append(from, x.From)
		}
	}
	return from
}

// back is the way of the signal up to a stage, from its beginning.
func (c *chain) back(stage string) []string {
	var list []string
	for at := stage; ; {
		list = append(list, at)
		from := c.into(at, true)
		if len(from) == 0 {
			from = c.into(at, false) // what makes a clock or a frequency is fed by the reference
			if len(from) == 0 || at == stage && c.isConnector(at) {
				break
			}
		}
		if slices.Contains(list, from[0]) {
			break
		}
		at = from[0]
	}
	slices.Reverse(list)
	return list
}

func (c *chain) isConnector(stage string) bool {
	return slices.ContainsFunc(c.model.Stages, func(s isolate.Stage) bool { return s.Name == stage && s.Input != "" })
}

// along goes along stages and returns those between the last good look and the
// first bad one; bad is false where no look was bad, and then those after the
// last look are returned.
func (c *chain) along(list []string) (between []string, bad bool) {
	for _, s := range list {
		between = append(between, s)
		looked, good := c.good(s)
		switch {
		case looked && !good:
			return between, true
		case looked:
			between = nil
		}
	}
	return between, false
}

// seek looks for the fault and returns the stages that are left.
func (c *chain) seek() []string {
	way := c.back(c.model.Reading)
	between, bad := c.along(way)
	sides := between
	if !bad {
		sides = way
	}
	for _, s := range sides {
		for _, from := range c.into(s, false) {
			if side, wrong := c.along(c.back(from)); wrong {
				return side
			}
		}
	}
	return between
}

// goAlong goes along the chain of the point at which the fault first showed.
func (u *unit) goAlong(n *isolate.Network, good *unit, at procedures.Point) (left []string, took cost) {
	f, way := at.Frequency.Float(), ""
	for _, w := range n.Model.Ways {
		if w.Input == at.Input && (w.From == nil || f >= w.From.Float()) && (w.To == nil || f <= w.To.Float()) {
			way = w.Name
		}
	}
	c := &chain{model: n.Model, way: way, seen: map[string]symptom.Kind{}, took: newCost(n),
		look: func(name string) symptom.Kind { return u.answer(good, name, at) }}
	left = c.seek()
	return left, c.took
}
