package isolate

import (
	"slices"
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
		shown := func(v []variant, l *look) distribution {
			if len(v) == 0 {
				return certain.leaky()
			}
			return n.sign(v, l)
		}
		differ := func(a, b []variant) bool {
			for k := range looks {
				if distance(shown(a, &looks[k]), shown(b, &looks[k])) > apart {
					return true
				}
			}
			return false
		}
		hidden, told := map[StageMode]bool{}, map[StageMode]bool{} // in one position; in all
		for _, f := range faults {
			v := g.all[f]
			name := StageMode{n.Model.Stages[v.stage].Name, v.mode}
			want := differ([]variant{v}, nil)
			hidden[name] = hidden[name] || !want
			for _, o := range faults {
				if u := g.all[o]; u.stage != v.stage && differ([]variant{u}, nil) {
					want = want && differ([]variant{v}, []variant{u})
				}
			}
			before, seen := told[name]
			told[name] = want && (before || !seen)
		}
		require.Equal(t, got.Faults, len(told))
		for name, want := range told {
			require.Equal(t, hidden[name], slices.Contains(got.Hidden, name), "hidden: %v", name)
			require.Equal(t, want, got.Distinguishable(name.Stage, name.Mode), "%v", name)
		}
	})
}
