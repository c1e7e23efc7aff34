package sensitivity

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// unit is a model: coming from below it counts from on, coming from above it
// goes on down to off; in islands it miscounts.
type unit struct {
	on, off int
	islands [][2]int
	asked   []int
	counts  bool
}

func (u *unit) proper(level int) (bool, error) {
	u.asked = append(u.asked, level)
	for _, x := range u.islands {
		if level >= x[0] && level <= x[1] {
			return false, nil
		}
	}
	u.counts = level >= u.on || u.counts && level >= u.off
	return u.counts, nil
}

func (u *unit) search(lowest, start int) search {
	return search{lowest: lowest, start: start, promised: start - 100, bottom: start - 200, coarse: 20, fine: 5, proper: u.proper}
}

func TestSearchFindsThresholdAndHysteresis(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lowest := rapid.IntRange(-600, -400).Draw(t, "lowest")
		start := lowest + rapid.IntRange(60, 400).Draw(t, "range")
		on := rapid.IntRange(lowest+1, start).Draw(t, "on")
		// A unit with much hysteresis may go on counting down to the floor.
		off := on - rapid.IntRange(0, 30).Draw(t, "hysteresis")
		u := &unit{on: on, off: max(off, lowest+1)}
		f, err := u.search(lowest, start).find()
		require.NoError(t, err)
		require.False(t, f.none)
		require.False(t, f.floor)
		require.GreaterOrEqual(t, f.found, on)
		require.Less(t, f.found, on+5+1, "within a fine step")
		require.Less(t, f.hysteresis(), on-u.off+5+1)
		require.GreaterOrEqual(t, f.hysteresis(), on-u.off-5)
		require.Empty(t, f.islands)
		for _, n := range u.asked {
			require.GreaterOrEqual(t, n, lowest)
			require.LessOrEqual(t, n, start, "never above the start")
		}
	})
}

// What is promised lies between two fine steps: it decides itself, from below.
func TestSearchSettlesWhatIsPromised(t *testing.T) {
	for _, c := range []struct{ on, off, want int }{
		{-202, -202, -201}, {-204, -204, -201}, {-200, -200, -200}, {-200, -204, -200}, {-198, -198, -195}, {-205, -205, -205},
	} {
		u := &unit{on: c.on, off: c.off}
		s := u.search(-400, -100)
		s.promised, s.within = -200, -201
		f, err := s.find()
		require.NoError(t, err)
		require.Equal(t, c.want, f.found, "counts from %d on, down to %d", c.on, c.off)
	}
}

func TestSearchAtTheFloor(t *testing.T) {
	u := &unit{on: -500, off: -500}
	f, err := u.search(-400, -100).find()
	require.NoError(t, err)
	require.True(t, f.floor)
	require.Equal(t, -400, f.found)
}

func TestSearchOfADeafUnit(t *testing.T) {
	u := &unit{on: 0, off: 0}
	f, err := u.search(-400, -100).find()
	require.NoError(t, err)
	require.True(t, f.none)
	require.Empty(t, f.again)
}

// Two failures in a row end the search within a wide island; where it lies
// above what is promised it is told from a deaf unit.
func TestSearchEndsInAWideIsland(t *testing.T) {
	u := &unit{on: -350, off: -350, islands: [][2]int{{-190, -140}}}
	f, err := u.search(-400, -100).find()
	require.NoError(t, err)
	require.InDelta(t, -137, f.found, 3)
	require.Empty(t, f.islands)
	require.NotEmpty(t, f.again)
	require.Less(t, f.again[0], -190)
	require.GreaterOrEqual(t, f.again[len(f.again)-1], -300)
	// One at the very beginning leaves no level from which on all count.
	u = &unit{on: -350, off: -350, islands: [][2]int{{-140, 0}}}
	f, err = u.search(-400, -100).find()
	require.NoError(t, err)
	require.True(t, f.none)
	require.NotEmpty(t, f.again)
}

// An island that is at least a coarse step wide is never missed, wherever it
// lies, and what is found lies above it; a narrower one may be.
func TestSearchFindsIslands(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		on := rapid.IntRange(-380, -300).Draw(t, "on")
		low := rapid.IntRange(on+1, -130).Draw(t, "island from")
		high := min(low+20+rapid.IntRange(0, 40).Draw(t, "wider"), -106)
		u := &unit{on: on, off: on, islands: [][2]int{{low, high}}}
		f, err := u.search(-400, -100).find()
		require.NoError(t, err)
		require.False(t, f.none)
		if f.found > high {
			require.Less(t, f.found, high+5+1)
			return
		}
		t.Fatalf("found %d, island %d to %d", f.found, low, high)
	})
}

// One miscount at the very top leaves no level from which all count.
func TestSearchWithAnIslandAtTheStart(t *testing.T) {
	u := &unit{on: -300, off: -300, islands: [][2]int{{-110, -90}}}
	f, err := u.search(-400, -100).find()
	require.NoError(t, err)
	require.True(t, f.none)
}

// The scatter of the searches is no island.
func TestSearchOfAScatteringThreshold(t *testing.T) {
	n, thresholds := 0, []int{-300, -290, -295}
	u := &unit{}
	s := u.search(-400, -100)
	s.proper = func(level int) (bool, error) {
		if level == s.start && n < len(thresholds) {
			u.on, u.off = thresholds[n], thresholds[n]
			n++
		}
		return u.proper(level)
	}
	f, err := s.find()
	require.NoError(t, err)
	require.Equal(t, -295, f.found)
	require.Empty(t, f.islands)
}
