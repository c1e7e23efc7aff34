package tomlfile_test

import (
	"testing"

	"bandproof/procedures/quantity/tomlfile"

	"github.com/stretchr/testify/require"
)

type layered struct {
	Name  string            `toml:"name"`
	Count int               `toml:"count,omitempty"`
	Words map[string]string `toml:"words,omitempty"`
	List  []string          `toml:"list,omitempty"`
	Inner struct {
		A int `toml:"a,omitempty"`
		B int `toml:"b,omitempty"`
	} `toml:"inner,omitempty"`
}

func TestOverJoinsTablesAndKeepsTheRest(t *testing.T) {
	grand := tomlfile.Read("grand.toml", []byte("count = 7\nlist = [\"g\"]\n[inner]\na = 1\nb = 2\n"))
	parent := tomlfile.Read("parent.toml", []byte("name = \"parent\"\nlist = [\"p\", \"q\"]\n[words]\nx = \"1\"\ny = \"2\"\n"))
	parent.Over(grand)
	child := tomlfile.Read("child.toml", []byte("name = \"child\"\n[words]\ny = \"3\"\n[inner]\nb = 5\n"))
	child.Over(parent)
	var got layered
	child.Into(&got)
	require.NoError(t, child.Err())
	want := layered{Name: "child", Count: 7, Words: map[string]string{"x": "1", "y": "3"}, List: []string{"p", "q"}}
	want.Inner.A, want.Inner.B = 1, 5
	require.Equal(t, want, got)
}

func TestOverTellsMistakesWithTheFileInWhichTheyStand(t *testing.T) {
	grand := tomlfile.Read("grand.toml", []byte("\n\ncount = \"seven\"\n"))
	parent := tomlfile.Read("parent.toml", []byte("\nlits = [\"p\"]\n"))
	parent.Over(grand)
	child := tomlfile.Read("child.toml", []byte("name = 1\n"))
	child.Over(parent)
	child.Into(&layered{})
	require.EqualError(t, child.Err(), `child.toml:1: name: is a whole number; expected a text in quotes
grand.toml:3: count: is a text; expected a whole number
parent.toml:2: lits: is not a key here; did you mean "list"?`)
}

func TestDropTakesAKeyOut(t *testing.T) {
	d := tomlfile.Read("f.toml", []byte("name = \"n\"\n[inner]\na = 1\nb = 2\n"))
	require.True(t, d.Drop("inner.a"))
	require.False(t, d.Drop("inner.a"))
	require.False(t, d.Drop("name.x"))
	require.False(t, d.Drop(""))
	var got layered
	d.Into(&got)
	require.NoError(t, d.Err())
	require.Equal(t, 0, got.Inner.A)
	require.Equal(t, 2, got.Inner.B)
}

func FuzzOver(f *testing.F) {
	f.Add([]byte("name = \"a\"\n[inner]\na = 1\n"), []byte("[words]\nx = \"1\"\n[[inner]]\n"), "inner.a")
	f.Fuzz(func(t *testing.T, above, below []byte, drop string) {
		d, base := tomlfile.Read("above", above), tomlfile.Read("below", below)
		base.Drop(drop)
		d.Over(base)
		var got layered
		d.Into(&got)
		_ = d.Err()
	})
}
