package sheet

import (
	"fmt"
	"testing"

	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// many makes n points of those of a fixture: at each input as many as its share,
// with ids of their own, at rising frequencies a tenth of a hertz apart.
func many(points []runner.PointResult, n int) []runner.PointResult {
	list := make([]runner.PointResult, 0, n)
	for k, p := range points {
		for i := range (n + len(points) - 1 - k) / len(points) {
			x := p
			x.Point.ID = fmt.Sprintf("%s-%03d%04d", p.Point.Input, k, i)
			x.Point.Frequency = p.Point.Frequency.Add(quantity.Of[quantity.Hertz](int64(i), -1))
			list = append(list, x)
		}
	}
	return list
}

func TestMany(t *testing.T) {
	points := fixture(t, runner.AsFound).Run.Points
	for _, n := range []int{1, 40, 60, 1000} {
		list := many(points, n)
		require.Len(t, list, n)
		ids := map[string]bool{}
		for _, p := range list {
			ids[p.Point.ID] = true
		}
		require.Len(t, ids, n)
	}
}
