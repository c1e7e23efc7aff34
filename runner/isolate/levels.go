package isolate

// decides tells whether a stage gives its full level or nothing, whatever it is
// given: how much too little it gets shows behind it only as that.
func (s Stage) decides() bool {
	switch s.Kind {
	case "trigger", "divider", "limiting amplifier", "oscillator", "gate control", "counting chain", "output register", "control line":
		return true
	}
	return false
}

// setLevels works out where levels show.
func (n *Network) setLevels() {
	for place := range n.seen {
		at := n.reading
		if place > 0 {
			at = n.stages[n.Model.TestPoints[place-1].After]
		}
		var list [][]bool
		for way := range n.Model.Ways {
			list = append(list, n.levelsAt(at, way))
		}
		n.levels = append(n.levels, list)
	}
	for way := range n.Model.Ways {
		n.raw = append(n.raw, n.rawIn(way))
		mixed := false
		for _, c := range n.connections {
			mixed = mixed || c.as == asOscillator && c.ways[way] && n.seen[0][way][c.to] != 0
		}
		n.mixed = append(n.mixed, mixed)
	}
}

// levelsAt goes back from a place as far as levels pass: along the signal, and to
// the oscillator of a mixer, whose output falls with it.
func (n *Network) levelsAt(place, way int) []bool {
	list := make([]bool, len(n.Model.Stages))
	var back func(stage int)
	back = func(stage int) {
		if list[stage] || n.Model.Stages[stage].decides() {
			return
		}
		list[stage] = true
		for _, c := range n.connections {
			if c.to == stage && c.ways[way] && !n.shut(&c, way) && (c.as == asSignal || c.as == asOscillator) {
				back(c.from)
			}
		}
	}
	back(place)
	return list
}

// rawIn goes from the connector of a way's input on as far as the level there
// sets that of the signal: up to the first stage that decides.
func (n *Network) rawIn(way int) []bool {
	list := make([]bool, len(n.Model.Stages))
	var on func(stage int)
	on = func(stage int) {
		if list[stage] {
			return
		}
		list[stage] = true
		if n.Model.Stages[stage].decides() {
			return
		}
		for _, c := range n.connections {
			if c.from == stage && c.ways[way] && c.as == asSignal {
				on(c.to)
			}
		}
	}
	for k, s := range n.Model.Stages {
		if s.Input != "" && s.Input == n.Model.Ways[way].Input {
			on(k)
		}
	}
	for _, c := range n.connections { // a mixer gives less where its oscillator does
		if c.as == asOscillator && c.ways[way] && list[c.to] {
			for k, shows := range n.levelsAt(c.from, way) {
				list[k] = list[k] || shows
			}
		}
	}
	return list
}
