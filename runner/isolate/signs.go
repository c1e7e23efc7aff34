package isolate

import (
	"math"
	"slices"
)

// sign is what a fault shows at a look that it changes: both by number.
type sign struct{ look, shows int32 }

// signs works out what faults show at looks. What is shown is one of few
// distributions, which are numbered; 0 is that of a good unit.
type signs struct {
	n     *Network
	all   []variant
	index map[distribution]int32
	shows []distribution
	apart []int8 // by two numbers: 1 told apart, 2 not, 0 not known yet
	width int    // of apart
}

// newSigns takes each variant in its first manner, the clearest at a reading.
func newSigns(n *Network, all []variant) *signs {
	all = slices.DeleteFunc(slices.Clone(all), func(v variant) bool { return v.manner > 0 })
	g := &signs{n: n, all: all, index: map[distribution]int32{}}
	g.number(certain.leaky())
	return g
}

func (g *signs) number(d distribution) int32 {
	at, ok := g.index[d]
	if !ok {
		at = int32(len(g.shows))
		g.index[d], g.shows = at, append(g.shows, d)
	}
	return at
}

// shown numbers what variants show at a look that their stage matters to.
func (g *signs) shown(faults []int, l *look, each func(k int, shows int32)) {
	stage, touched := -1, false
	for k, f := range faults {
		v := g.all[f]
		if v.stage != stage {
			stage, touched = v.stage, l.touches(v.stage)
		}
		if touched {
			each(k, g.number(g.n.sign(g.all[f:f+1], l)))
		}
	}
}

// sign is what a look shows of a fault: a reading in the clearest manner, the
// first; a test point, as nobody knows in which.
func (n *Network) sign(fault []variant, l *look) distribution {
	manners := fault[0].mode.manners()
	if l.place == atReading || len(manners) == 1 {
		return n.predict(fault, l)
	}
	var sum distribution
	for manner, p := range manners {
		v := fault[0]
		v.manner = manner
		for s, x := range n.predict([]variant{v}, l) {
			sum[s] += p * x
		}
	}
	return sum
}

// worst lists each mode of each stage, and each position of a switch, in its
// clearest form: the variant that changes the most looks.
func (g *signs) worst(looks []look) []int {
	changes, none := make([]float64, len(g.all)), certain.leaky()
	var far []float64 // of each number from a good unit
	for i := range looks {
		g.shown(all(len(g.all)), &looks[i], func(k int, shows int32) {
			for len(far) < len(g.shows) {
				far = append(far, distance(g.shows[len(far)], none))
			}
			changes[k] += far[shows]
		})
	}
	var list []int
	for k, v := range g.all {
		last := len(list) - 1
		switch {
		case last < 0 || g.all[list[last]].stage != v.stage || g.all[list[last]].mode != v.mode || g.all[list[last]].position != v.position:
			list = append(list, k)
		case changes[k] > changes[list[last]]:
			list[last] = k
		}
	}
	return list
}

// modes is how many modes of how many stages faults are of.
func (g *signs) modes(faults []int) int {
	type key struct {
		stage int
		mode  Mode
	}
	seen := map[key]bool{}
	for _, f := range faults {
		seen[key{g.all[f].stage, g.all[f].mode}] = true
	}
	return len(seen)
}

// of lists what each fault shows, by look, where that differs from a good unit.
func (g *signs) of(faults []int, looks []look) [][]sign {
	list := make([][]sign, len(faults))
	for i := range looks {
		g.shown(faults, &looks[i], func(k int, shows int32) {
			if shows != 0 {
				list[k] = append(list[k], sign{int32(i), shows})
			}
		})
	}
	g.width = len(g.shows)
	g.apart = make([]int8, g.width*g.width)
	return list
}

// told tells whether two things shown are told apart by a look.
func (g *signs) told(a, b int32) bool {
	x := &g.apart[int(a)*g.width+int(b)]
	if *x == 0 {
		*x = 2
		if distance(g.shows[a], g.shows[b]) > apart {
			*x = 1
		}
	}
	return *x == 1
}

// toldApart tells whether any look tells two faults apart.
func (g *signs) toldApart(a, b []sign) bool {
	for len(a) > 0 || len(b) > 0 {
		var x, y int32
		switch {
		case len(b) == 0 || len(a) > 0 && a[0].look < b[0].look:
			x, a = a[0].shows, a[1:]
		case len(a) == 0 || b[0].look < a[0].look:
			y, b = b[0].shows, b[1:]
		default:
			x, y, a, b = a[0].shows, b[0].shows, a[1:], b[1:]
		}
		if x != y && g.told(x, y) {
			return true
		}
	}
	return false
}

// alike groups faults that no look tells apart, and those that no look shows. To
// be alike is not handed on: of three in a row the outer ones may be told apart.
// Each fault that is like one of another stage is in a group; all of a group are
// like its first.
func (g *signs) alike(faults []int, signs [][]sign) (groups [][]StageMode, hidden []StageMode) {
	name := func(k int) StageMode {
		v := g.all[faults[k]]
		return StageMode{g.n.Model.Stages[v.stage].Name, v.mode}
	}
	shown := make([]bool, len(faults))
	for k := range faults {
		if shown[k] = slices.ContainsFunc(signs[k], func(s sign) bool { return g.told(s.shows, 0) }); !shown[k] {
			hidden = with(hidden, name(k))
		}
	}
	like := func(a, b int) bool { return shown[a] && shown[b] && !g.toldApart(signs[a], signs[b]) }
	confused, done := make([]bool, len(faults)), make([]bool, len(faults)) // with one of another stage; in a group
	for k := range faults {
		for i := range k {
			if !(confused[i] && confused[k]) && g.all[faults[i]].stage != g.all[faults[k]].stage && like(i, k) {
				confused[i], confused[k] = true, true
			}
		}
	}
	for k := range faults {
		if done[k] || !confused[k] {
			continue
		}
		group := []StageMode{name(k)}
		for i := range faults {
			if i != k && confused[i] && like(k, i) {
				group, done[i] = with(group, name(i)), true
			}
		}
		if !slices.ContainsFunc(groups, func(x []StageMode) bool { return slices.Equal(x, group) }) { // of another position
			groups = append(groups, group)
		}
	}
	return groups, hidden
}

// with adds a mode of a stage that is not in a list yet: of another position it may be.
func with(list []StageMode, x StageMode) []StageMode {
	if slices.Contains(list, x) {
		return list
	}
	return append(list, x)
}

// distance is the total variation distance of two distributions, 0 to 1.
func distance(a, b distribution) float64 {
	sum := 0.0
	for s := range a {
		sum += math.Abs(a[s] - b[s])
	}
	return sum / 2
}
