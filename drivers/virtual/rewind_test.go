package virtual

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// A bench that is set back reads again what it read then, at every setting, and
// has aged as much; one that goes on without has not.
func TestRewind(t *testing.T) {
	d := newDesk(t, Options{Seed: 5, Rewinds: true}, nil)
	set(d.lf, "10000043", "-5")
	require.NoError(t, d.b.Connect("LF", "A"))
	read := func(n int) (list []string) {
		for k := range n {
			list = append(list, d.read(1, fmt.Sprintf("0.0%d", 1+k%2)))
		}
		return list
	}
	first := read(20)
	age := d.b.age
	then := read(15)
	require.NotEqual(t, first[:15], then)
	require.NoError(t, d.b.Rewind(map[string]int{"counter": 20}))
	require.Equal(t, age, d.b.age)
	require.Equal(t, then, read(15))
	require.NoError(t, d.b.Rewind(map[string]int{}))
	require.Equal(t, first, read(20))
	require.ErrorContains(t, d.b.Rewind(map[string]int{"counter": 21}), "has completed 20 gates, not 21")
}
