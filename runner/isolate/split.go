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
	everywhere, clearest := n.everywhere()
	list := make([]Split, len(groups))
	for k, g := range groups {
		list[k] = everywhere.split(g, clearest)
	}
	return list
}

// everywhere is the same unit with a test point after each stage, with each
// fault in the form that testability took it in.
func (n *Network) everywhere() (*Network, map[StageMode]variant) {
	readings, probes := n.everyLook()
	clearest := map[StageMode]variant{}
	for _, v := range n.worst(append(readings, probes...)) {
		clearest[StageMode{n.Model.Stages[v.stage].Name, v.mode}] = v
	}
	m := *n.Model
	m.TestPoints = nil
	for _, s := range m.Stages {
		m.TestPoints = append(m.TestPoints, TestPoint{Name: s.Name, After: s.Name, Access: "probe"})
	}
	return build(&m), clearest
}

func (n *Network) split(group []StageMode, clearest map[StageMode]variant) Split {
	best, most := Split{Group: group}, stagesIn(group)
	_, looks := n.everyLook()
	for _, p := range n.Model.TestPoints {
		var here []look
		for _, l := range looks {
			if l.obs.TestPoint == p.Name {
				here = append(here, l)
			}
		}
		parts := n.parts(group, clearest, here)
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

// parts of a group that looks tell apart; faults of one stage stay together,
// since it is the stage that is looked for.
func (n *Network) parts(group []StageMode, clearest map[StageMode]variant, looks []look) [][]StageMode {
	var faults []variant
	for _, s := range group {
		faults = append(faults, clearest[s])
	}
	signs := n.signatures(faults, looks)
	var parts [][]StageMode
	left := make([]bool, len(group))
	for k := range group {
		if left[k] {
			continue
		}
		part := []StageMode{group[k]}
		for i := k + 1; i < len(group); i++ {
			if !left[i] && !toldApart(signs[k], signs[i]) {
				part, left[i] = append(part, group[i]), true
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
