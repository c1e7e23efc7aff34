package profile_test

import (
	"fmt"
	"strings"
	"testing"

	"bandproof/drivers/profile"

	"github.com/stretchr/testify/require"
)

const childHead = "schema = \"bandproof profile 1\"\nname = \"child\"\nsource = \"made up\"\ndescription = \"a child\"\ninherits = \"parent\"\n"

// shelf finds profiles by name in a map.
func shelf(texts map[string]string) profile.Finder {
	return func(name string) (string, []byte, error) {
		text, ok := texts[name]
		if !ok {
			return "", nil, fmt.Errorf("there is no %s", name)
		}
		return name + ".toml", []byte(text), nil
	}
}

func TestInheritedTablesAreOverriddenKeyByKey(t *testing.T) {
	child := childHead + "without = [\"self_test\", \"input.map.A\"]\n[read]\nquery = \"FRQ?\"\n[input.map]\nC = \"9\"\n"
	p, err := profile.LoadWith("child.toml", []byte(child), shelf(map[string]string{"parent": counterText}))
	require.NoError(t, err)
	require.Equal(t, "child", p.Name())
	require.Equal(t, "made up", p.Source())
	c := p.Capability()
	require.Equal(t, []string{"B", "C"}, c.Inputs)
	require.False(t, c.SelfTests)
	require.True(t, c.ZeroIsNoCount, "inherited")
	s := counterState()
	s.set("FRQ?", "5E6")
	f := &fake{far: s.far}
	unit, err := p.OpenCounter(t.Context(), profile.Opening{Name: "unit", Link: f})
	require.NoError(t, err)
	require.NoError(t, unit.SelectInput(t.Context(), "C"))
	_, err = unit.SetGate(t.Context(), gate10ms)
	require.NoError(t, err)
	r, err := unit.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, "5E6", r.Text)
	require.Contains(t, f.takeSent(), "ROUT 9")
}

func TestExamplesAreNotInherited(t *testing.T) {
	parent := counterText + "[[example]]\ndo = \"open\"\nexchange = []\n"
	p, err := profile.LoadWith("child.toml", []byte(childHead), shelf(map[string]string{"parent": parent}))
	require.NoError(t, err)
	require.Empty(t, p.Examples())
}

func TestInheritanceTellsItsMistakes(t *testing.T) {
	broken := strings.Replace(counterText, `query = "APER?"`, `querry = "APER?"`, 1)
	for _, row := range []struct {
		name, child string
		shelf       map[string]string
		want        []string
	}{
		{"no such parent", childHead, nil, []string{"child.toml:5: inherits: there is no parent"}},
		{"of itself", strings.Replace(childHead, `"parent"`, `"child"`, 1), map[string]string{"child": childHead},
			[]string{"child.toml:5: inherits: leads back to child.toml: a profile can't inherit from itself (child.toml → child.toml)"}},
		{"in a ring", childHead, map[string]string{"parent": strings.Replace(childHead, `"parent"`, `"other"`, 1), "other": childHead},
			[]string{"child.toml:5: inherits: can't be used: ", "leads back to parent.toml", "child.toml → parent.toml → other.toml → parent.toml"}},
		{"a parent without syntax", childHead, map[string]string{"parent": "name = ["}, []string{"child.toml:5: inherits: can't be read: parent.toml:1:"}},
		{"a mistake of the parent", childHead, map[string]string{"parent": broken},
			[]string{`parent.toml:18: gate.querry: is not a key here; did you mean "query"?`}},
		{"a mistake of the child", childHead + "[gate]\ncommands = [\"GATE\"]\n", map[string]string{"parent": counterText},
			[]string{"child.toml:7: gate.commands: never says the value that is to be set"}},
		{"without what is not there", childHead + "without = [\"self_tset\"]\n", map[string]string{"parent": counterText},
			[]string{`child.toml:6: without[1]: is "self_tset", which parent.toml has not`}},
		{"without what must be", childHead + "without = [\"read\"]\n", map[string]string{"parent": counterText}, []string{"[read] is missing"}},
		{"without alone", "without = [\"read\"]\n" + counterText, nil, []string{"test.toml:1: without: has no meaning without inherits"}},
		{"own name is missing", strings.Replace(childHead, "name = \"child\"\n", "", 1), map[string]string{"parent": counterText}, []string{"name: is missing"}},
		{"empty", strings.Replace(childHead, `"parent"`, `" "`, 1), nil, []string{"inherits: is empty"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			file := "child.toml"
			if strings.HasPrefix(row.child, "without") {
				file = "test.toml"
			}
			p, err := profile.LoadWith(file, []byte(row.child), shelf(row.shelf))
			require.Nil(t, p)
			for _, want := range row.want {
				require.ErrorContains(t, err, want)
			}
		})
	}
	_, err := profile.Load("child.toml", []byte(childHead))
	require.ErrorContains(t, err, "no other profile can be found from here")
}
