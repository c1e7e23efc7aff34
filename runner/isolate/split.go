package isolate

import (
	"slices"
)

// CheckSchema names the version of the check of a model as JSON.
const CheckSchema = "bandproof model check 1"

// Check is what could be found in a unit of a model, and what a test point more
// would add.
type Check struct {
	Schema     string `json:"schema"`
	Name       string `json:"name"`
	Unit       string `json:"unit"`
	TestPoints int    `json:"test_points"`
	Testability
	Splits []Split `json:"splits,omitempty"`
}

// Check works out the testability of a model.
func (n *Network) Check() Check {
	t := n.Testability()
	return Check{CheckSchema, n.Model.Name, n.Model.Unit, len(n.Model.TestPoints), t, n.Splits(t)}
}

// Split is what one more test point would tell of faults that nothing tells
// apart.
type Split struct {
	Group []StageMode `json:"group"`
	// After is the stage whose output would tell most; "" where none would.
	After string        `json:"test_point_after,omitempty"`
	Parts [][]StageMode `json:"parts,omitempty"` // that it would leave
}

// Splits says for each group of faults that neither readings nor test points
// tell apart which additional test point would split it best: the one that
// leaves the smallest part as the largest. The largest group comes first.
func (n *Network) Splits(t Testability) []Split {
	groups := slices.Clone(t.ByProbes)
	slices.SortStableFunc(groups, func(a, b []StageMode) int { return len(b) - len(a) })
	e := n.everywhere(groups)
	list := make([]Split, len(groups))
	for k, g := range groups {
		list[k] = e.split(g)
	}
	return list
}

// everywhere is the same unit with a test point after each stage, and what the
// faults show there, each in the form that testability took it in.
type everywhere struct {
	*signs
	points []TestPoint
	// at[point] is what each fault shows there.
	at []map[StageMode][]sign
}

func (n *Network) everywhere(groups [][]StageMode) *everywhere {
	readings, probes := n.everyLook()
	looks := append(readings, probes...)
	clearest := newSigns(n, n.variants(looks))
	m := *n.Model
	m.TestPoints = nil
	for _, s := range m.Stages {
		m.TestPoints = append(m.TestPoints, TestPoint{Name: s.Name, After: s.Name, Access: "probe"})
	}
	e := &everywhere{newSigns(build(&m), clearest.all), m.TestPoints, make([]map[StageMode][]sign, len(m.TestPoints))}
	for k := range e.at {
		e.at[k] = map[StageMode][]sign{}
	}
	var faults []int
	var names []StageMode
	for _, f := range clearest.worst(looks) {
		name := StageMode{m.Stages[clearest.all[f].stage].Name, clearest.all[f].mode}
		if !slices.Contains(names, name) && slices.ContainsFunc(groups, func(g []StageMode) bool { return slices.Contains(g, name) }) {
			faults, names = append(faults, f), append(names, name)
		}
	}
	_, looks = e.n.everyLook()
	for k, list := range e.of(faults, looks) {
		for _, s := range list {
			p := looks[s.look].place
			e.at[p][names[k]] = append(e.at[p][names[k]], s)
		}
	}
	return e
}

func (e *everywhere) split(group []StageMode) Split {
	best, most := Split{Group: group}, stagesIn(group)
	for k, p := range e.points {
		parts := e.parts(group, k)
		largest := 0
		for _, x := range parts {
			largest = max(largest, stagesIn(x))
		}
		if largest < most || largest == most && best.After != "" && len(parts) > len(best.Parts) {
			best.After, best.Parts, most = p.After, parts, largest
		}
	}
	return best
}

// parts of a group that looks at a test point tell apart; faults of one stage stay
// together, since it is the stage that is looked for.
func (e *everywhere) parts(group []StageMode, point int) [][]StageMode {
	var parts [][]StageMode
	left := make([]bool, len(group))
	for k, a := range group {
		if left[k] {
			continue
		}
		part := []StageMode{a}
		for i := k + 1; i < len(group); i++ {
			if b := group[i]; !left[i] && !e.toldApart(e.at[point][a], e.at[point][b]) {
				part, left[i] = append(part, b), true
			}
		}
		same := slices.IndexFunc(parts, func(x []StageMode) bool {
			return stagesIn(append(slices.Clone(x), part...)) == 1
		})
		if same >= 0 {
			parts[same] = append(parts[same], part...)
			continue
		}
		parts = append(parts, part)
	}
	return parts
}

// stagesIn counts the stages of a group.
func stagesIn(group []StageMode) int {
	var seen []string
	for _, x := range group {
		if !slices.Contains(seen, x.Stage) {
			seen = append(seen, x.Stage)
		}
	}
	return len(seen)
}
