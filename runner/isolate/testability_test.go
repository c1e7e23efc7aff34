package isolate

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// What can be told apart is what plain comparison of every two faults at every
// look says.
func TestTestabilityAgainstComparison(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := loaded(t, randomModel(t, small{stages: 5, ways: 3, points: 3}))
		got := n.Testability()
		readings, probes := n.everyLook()
		looks := append(readings, probes...)
		g := newSigns(n, n.variants(looks))
		faults := g.worst(looks)
		require.Equal(t, got.Faults, len(faults))
		differ := func(a, b []variant) bool {
			for k := range looks {
				if distance(n.predict(a, &looks[k]), n.predict(b, &looks[k])) > apart {
					return true
				}
			}
			return false
		}
		for _, f := range faults {
			v := g.all[f]
			want := differ([]variant{v}, nil)
			require.Equal(t, !want, contains(got.Hidden, n, v), "hidden: %v", v)
			for _, o := range faults {
				if u := g.all[o]; u.stage != v.stage && differ([]variant{u}, nil) {
					want = want && differ([]variant{v}, []variant{u})
				}
			}
			require.Equal(t, want, got.Distinguishable(n.Model.Stages[v.stage].Name, v.mode), "%v", v)
		}
	})
}

func contains(list []StageMode, n *Network, v variant) bool {
	for _, x := range list {
		if x == (StageMode{n.Model.Stages[v.stage].Name, v.mode}) {
			return true
		}
	}
	return false
}
