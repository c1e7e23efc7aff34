package isolate

// access is how a test point is reached, with the minutes that one look takes.
// Common practice, no source.
type access struct {
	name    string
	minutes float64
	about   string
}

func accessTable() []access {
	return []access{
		{"connector", 2, "connector at hand"},
		{"probe", 5, "open unit, a probe is held to it"},
		{"solder", 15, "a wire must be soldered"},
		{"board-out", 30, "the board must come out"},
	}
}

func accesses() []string {
	var list []string
	for _, a := range accessTable() {
		list = append(list, a.name)
	}
	return list
}

// minutes is the cost of one look at a test point. What it needs is counted
// unless it is done already.
func (p TestPoint) minutes(done map[string]bool) float64 {
	cost := 0.0
	for _, a := range accessTable() {
		if a.name == p.Access {
			cost = a.minutes
		}
	}
	if p.Takes != nil {
		cost = p.Takes.Float() / 60
	}
	if p.Needs != "" && !done[p.Needs] {
		cost += p.needsMinutes()
	}
	return max(cost, 0.1)
}

// needsMinutes is what the preparation takes; half an hour unless stated.
func (p TestPoint) needsMinutes() float64 {
	if p.NeedsTime != nil {
		return p.NeedsTime.Float() / 60
	}
	return 30
}

// AccessWords says what an access means to the person who looks.
func AccessWords(access string) string {
	for _, a := range accessTable() {
		if a.name == access {
			return a.about
		}
	}
	return access
}
