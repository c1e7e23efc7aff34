package isolate

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"bandproof/runner/symptom"
)

// group is looks at one place, in one way, that show the same, and of which a
// supposed fault says the same.
type group struct {
	where   string
	kind    symptom.Kind
	says    says
	first   *look
	n       int
	through bool    // the stage matters there
	speaks  float64 // log likelihood over that of a good unit
}

// says is what a supposed fault says of a look.
type says int

const (
	explains says = iota // it would show that at times, and a good unit hardly
	forbids              // it would hardly ever show that
	silent               // it makes no difference there, or little
)

// reasons puts in words what speaks for a fault, what against, and what it
// leaves unexplained: at most four of each, the weightiest first.
func (p *Posterior) reasons(v variant) (pro, contra, leaves []string) {
	const matters = 1.0 // a factor of e
	groups := p.groups(v)
	slices.SortStableFunc(groups, func(a, b *group) int { return cmp.Compare(math.Abs(b.speaks), math.Abs(a.speaks)) })
	for _, g := range groups {
		switch bad := g.kind != symptom.Good; {
		case bad && g.says == explains:
			pro = append(pro, g.String())
		case bad:
			leaves = append(leaves, g.String())
		case g.speaks < -matters && g.through:
			contra = append(contra, g.String())
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
	type key struct {
		where string
		kind  symptom.Kind
		says  says
	}
	byKey := map[key]*group{}
	var list []*group
	for k := range p.looks {
		l := &p.looks[k]
		through := l.touches(v.stage)
		speaks, s := 0.0, silent
		if through {
			q := p.network.predict([]variant{v}, l)[l.seen]
			speaks = math.Log(q) - math.Log(certain.leaky()[l.seen])
			switch {
			case speaks < -1e-9:
				s = forbids
			case q > byChance && speaks > 0:
				s = explains
			}
		}
		at := key{p.places[k], l.obs.Kind, s}
		g := byKey[at]
		if g == nil {
			g = &group{where: at.where, kind: at.kind, says: s, first: l, through: through}
			byKey[at], list = g, append(list, g)
		}
		g.n++
		g.speaks += speaks
	}
	return list
}

// String such as "input B: nothing at 9 points through it".
func (g *group) String() string {
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
