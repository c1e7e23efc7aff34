package isolate

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"bandproof/procedures/quantity"
)

// Good is the probability that no stage is at fault.
func (p *Posterior) Good() float64 { return p.good }

// Stage is the probability that a stage is at fault, alone or with another.
func (p *Posterior) Stage(name string) float64 {
	k, ok := p.network.stages[name]
	if !ok {
		return 0
	}
	return p.stages()[k]
}

func (p *Posterior) stages() []float64 {
	list := make([]float64, len(p.network.Model.Stages))
	for k, v := range p.all {
		list[v.stage] += p.sure[k]
	}
	return list
}

// Suspect is a stage with what is believed of it, and why.
type Suspect struct {
	Stage       string  `json:"stage"`
	Kind        string  `json:"kind"`
	Place       string  `json:"place,omitempty"`
	Probability float64 `json:"probability"`
	// Modes of failure, most probable first; they sum to Probability.
	Modes []ModeOf `json:"modes,omitempty"`
	// For is evidence that it explains, Against that which speaks for its being
	// good, Leaves what it would not explain.
	For     []string `json:"for,omitempty"`
	Against []string `json:"against,omitempty"`
	Leaves  []string `json:"does_not_explain,omitempty"`
	// fit is the log likelihood of the best of its single faults.
	fit float64
}

// ModeOf is one failure mode of a suspect.
type ModeOf struct {
	Mode        Mode    `json:"mode"`
	Probability float64 `json:"probability"`
	Says        string  `json:"says"` // with its most probable degree
}

// Pair is two stages at fault at once.
type Pair struct {
	Stages      [2]string `json:"stages"`
	Probability float64   `json:"probability"`
}

// Suspects lists every stage, the most probable first.
func (p *Posterior) Suspects() []Suspect {
	list := make([]Suspect, 0, len(p.network.Model.Stages))
	at := 0 // variants are in the order of stages, and of modes within one
	for k, s := range p.network.Model.Stages {
		x, best := Suspect{Stage: s.Name, Kind: s.Kind, Place: s.Place, fit: math.Inf(-1)}, -1
		likeliest := -1.0 // degree of the mode
		for ; at < len(p.all) && p.all[at].stage == k; at++ {
			v := p.all[at]
			last := len(x.Modes) - 1
			if last < 0 || x.Modes[last].Mode != v.mode {
				x.Modes, last, likeliest = append(x.Modes, ModeOf{Mode: v.mode}), last+1, -1
			}
			x.Probability += p.sure[at]
			x.Modes[last].Probability += p.sure[at]
			if p.sure[at] > likeliest {
				likeliest, x.Modes[last].Says = p.sure[at], v.says()
			}
			if p.fit[at] > x.fit {
				x.fit, best = p.fit[at], at
			}
		}
		slices.SortStableFunc(x.Modes, func(a, b ModeOf) int {
			return cmp.Or(cmp.Compare(b.Probability, a.Probability), cmp.Compare(a.Mode, b.Mode))
		})
		if best >= 0 {
			x.For, x.Against, x.Leaves = p.reasons(p.all[best])
		}
		list = append(list, x)
	}
	slices.SortStableFunc(list, func(a, b Suspect) int { return cmp.Compare(b.Probability, a.Probability) })
	return list
}

// says is a mode with its degree, in words.
func (v variant) says() string {
	switch {
	case math.IsNaN(v.x) && v.position == "":
	case v.mode == Weak:
		return fmt.Sprintf("weak, by about %g dB", v.x)
	case v.mode == ComesAndGoes:
		return fmt.Sprintf("comes and goes, in about %g %% of the readings", 100*v.x)
	case v.mode == RollsOff, v.mode == CutsOff:
		return fmt.Sprintf("%s about %s of its own signal", v.mode, quantity.Significant(v.x, 3))
	case v.mode == FailsWarm:
		return fmt.Sprintf("fails when warm, after about %.0f min", v.x/60)
	case v.mode == ShortGates:
		return fmt.Sprintf("no gate is longer than about %.2g s", v.x)
	case v.position != "":
		return fmt.Sprintf("%s (%s)", v.mode, v.position)
	}
	return string(v.mode)
}

// Pairs lists pairs of stages of at least a probability, the most probable first.
func (p *Posterior) Pairs(least float64) []Pair {
	const nothing = 1e-18 // that even half a million of classes make no difference
	sure, sum := p.stages(), map[[2]int]float64{}
	for _, x := range p.pairs {
		a, b := &p.classes[x.a], &p.classes[x.b]
		if least > 0 && x.weight*a.prior*b.prior < nothing {
			continue
		}
		for i, s := range a.stages {
			if sure[s] < least {
				continue
			}
			for j, t := range b.stages {
				if s != t && sure[t] >= least && (x.a != x.b || i < j) {
					sum[[2]int{min(s, t), max(s, t)}] += x.weight * a.part[i] * b.part[j]
				}
			}
		}
	}
	var list []Pair
	for k, x := range sum {
		if x >= least {
			list = append(list, Pair{[2]string{p.network.Model.Stages[k[0]].Name, p.network.Model.Stages[k[1]].Name}, x})
		}
	}
	slices.SortFunc(list, func(a, b Pair) int {
		return cmp.Or(cmp.Compare(b.Probability, a.Probability), slices.Compare(a.Stages[:], b.Stages[:]))
	})
	return list
}

// alikeFactor is how much more the evidence has to speak for one stage than for
// another to tell them apart.
const alikeFactor = 2

// Alike groups suspects that the evidence does not tell apart: it is explained
// by the best single fault of each about as well, and only how often stages fail
// is left to choose by. One may be in two groups, between others that are told
// apart. Stages of less than the least probability are left out.
func Alike(list []Suspect, least float64) [][]string {
	var likely []Suspect
	for _, s := range list {
		if s.Probability >= least {
			likely = append(likely, s)
		}
	}
	slices.SortStableFunc(likely, func(a, b Suspect) int { return cmp.Compare(b.fit, a.fit) })
	var groups [][]string
	for first, end := 0, 0; first < len(likely); first++ {
		before := end
		for end < len(likely) && likely[first].fit-likely[end].fit <= math.Log(alikeFactor) {
			end++
		}
		if end == before || end-first < 2 {
			continue // all of them are in the group before, or it is alone
		}
		var group []string
		for _, s := range likely[first:end] {
			group = append(group, s.Stage)
		}
		groups = append(groups, group)
	}
	return groups
}

// byChance is the probability up to which a look is not explained: no more than
// a few times that which anything has.
const byChance = 3 * Leak / symptoms

// Unexplained lists evidence that is left to chance: what most of what is believed
// would not show; and where most of what is believed leaves something to chance,
// one this and another that, what the most probable of it does.
func (p *Posterior) Unexplained() []Observation {
	const enough, most = 0.99, 300
	mass, all, short := make([]float64, len(p.looks)), 0.0, 0.0
	var first []bool
	for i := 0; i < len(p.list) && i < most && all < enough; i++ {
		h, left, any := &p.list[i], make([]bool, len(p.looks)), false
		all += h.p
		for k := range p.looks {
			if l := &p.looks[k]; p.network.predict(h.faults, l)[l.seen] <= byChance {
				left[k], any = true, true
				mass[k] += h.p
			}
		}
		if any {
			short += h.p
			if first == nil {
				first = left
			}
		}
	}
	if short <= all/2 {
		return nil
	}
	var list []Observation
	for k := range p.looks {
		if mass[k] > all/2 || first[k] {
			list = append(list, p.looks[k].obs)
		}
	}
	return list
}

// where names the place of a look and its signal, without the frequency.
func (l *look) where(n *Network) string {
	switch {
	case l.place != atReading:
		return l.obs.TestPoint + " with a signal at input " + l.obs.Input
	case l.obs.SelfTest:
		return "the self-test"
	}
	var ways []string
	for _, w := range l.ways {
		ways = append(ways, n.Model.Ways[w.way].Name)
	}
	if name := strings.Join(ways, " or "); name != l.obs.Input {
		return fmt.Sprintf("input %s (%s)", l.obs.Input, name)
	}
	return "input " + l.obs.Input
}
