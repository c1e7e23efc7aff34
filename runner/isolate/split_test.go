package isolate

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// In a row of dead stages whose test points were taken away, the best one more is
// in the middle of the longest stretch (half-split method, common practice).
func TestSplitHalvesTheLargestGroup(t *testing.T) {
	n := chain(t, 8)
	n.Model.TestPoints = n.Model.TestPoints[:0]
	n = build(n.Model)
	c := n.Check()
	require.Empty(t, c.Unreachable)
	require.Empty(t, c.Hidden)
	require.Len(t, c.Splits, 1)
	require.Len(t, c.Splits[0].Group, 9, "all stages and the connector")
	require.Contains(t, []string{"stage 3", "stage 4"}, c.Splits[0].After) // 4 and 5 of 9
	require.Len(t, c.Splits[0].Parts, 2)
	sum := 0
	for _, p := range c.Splits[0].Parts {
		require.LessOrEqual(t, len(p), 5)
		sum += len(p)
	}
	require.Equal(t, 9, sum)

	// With a test point after each nothing but the last two is left alike, and there
	// is no further place to look.
	whole := chain(t, 8).Check()
	require.Len(t, whole.Splits, 1)
	require.Equal(t, []StageMode{{"input A", Dead}, {"stage 1", Dead}}, whole.Splits[0].Group)
	require.Equal(t, "input A", whole.Splits[0].After)
}

// What is proposed does what it says: with that test point the group falls apart
// as stated.
func TestSplitDoesWhatItSays(t *testing.T) {
	n := three(t)
	for _, s := range n.Check().Splits {
		if s.After == "" {
			continue
		}
		more := *n.Model
		more.TestPoints = append(append([]TestPoint{}, more.TestPoints...), TestPoint{Name: "one more", After: s.After, Access: "probe"})
		after := build(&more).Testability()
		apart := func(a, b StageMode) bool {
			for _, g := range after.ByProbes {
				in := 0
				for _, x := range g {
					if x == a || x == b {
						in++
					}
				}
				if in == 2 {
					return false
				}
			}
			return true
		}
		for i, p := range s.Parts {
			for _, q := range s.Parts[i+1:] {
				require.True(t, apart(p[0], q[0]), "%v and %v with a test point after %s", p[0], q[0], s.After)
			}
		}
	}
}
