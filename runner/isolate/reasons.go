package isolate

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"bandproof/runner/symptom"
)

// group is looks at one place, in one way, that show the same, with what they
// say of a supposed fault.
type group struct {
	where   string
	kind    symptom.Kind
	first   *look
	n       int
	through bool    // the stage matters there
	speaks  float64 // log likelihood over that of a good unit
}

// reasons puts in words what speaks for a fault, what against, and what it
// leaves unexplained: at most four of each, the weightiest first.
func (p *Posterior) reasons(v variant) (pro, contra, leaves []string) {
	const matters = 1.0 // a factor of e
	groups := p.groups(v)
	slices.SortStableFunc(groups, func(a, b *group) int { return cmp.Compare(math.Abs(b.speaks), math.Abs(a.speaks)) })
	for _, g := range groups {
		switch bad := g.kind != symptom.Good; {
		case bad && g.speaks > matters && g.through:
			pro = append(pro, g.says())
		case !bad && g.speaks < -matters && g.through:
			contra = append(contra, g.says())
		case bad && g.speaks < matters:
			leaves = append(leaves, g.says())
		}
	}
	return few(pro), few(contra), few(leaves)
}

func few(list []string) []string {
	const most = 4
	if len(list) <= most {
		return list
	}
	return append(list[:most:most], fmt.Sprintf("and %d more", len(list)-most))
}

func (p *Posterior) groups(v variant) []*group {
	byKey := map[[2]string]*group{}
	var list []*group
	for k := range p.looks {
		l := &p.looks[k]
		key := [2]string{l.where(p.network), string(l.obs.Kind)}
		g := byKey[key]
		if g == nil {
			g = &group{where: key[0], kind: l.obs.Kind, first: l}
			byKey[key], list = g, append(list, g)
		}
		s := l.seen
		g.n++
		g.through = g.through || l.touches(v.stage)
		g.speaks += math.Log(p.network.predict([]variant{v}, l)[s]) - math.Log(certain.leaky()[s])
	}
	return list
}

// says such as "input B shows nothing at 9 points through it".
func (g *group) says() string {
	through := ""
	if g.through {
		through = " through it"
	}
	switch {
	case g.first.place != atReading && g.kind == symptom.Good:
		return g.where + ": as it should be"
	case g.first.place != atReading:
		return fmt.Sprintf("%s: %s", g.where, g.kind)
	case g.first.obs.SelfTest && g.kind == symptom.Good:
		return "the self-test passes" + through
	case g.first.obs.SelfTest:
		return "the self-test fails"
	case g.kind == symptom.Good:
		return fmt.Sprintf("%s passes at %s%s", g.where, points(g.n), through)
	}
	return fmt.Sprintf("%s: %s at %s%s", g.where, g.kind, points(g.n), through)
}

func points(n int) string {
	if n == 1 {
		return "1 point"
	}
	return fmt.Sprintf("%d points", n)
}
