package profiles_test

import (
	"os"
	"strings"
	"testing"

	"bandproof/drivers/profile"
	"bandproof/drivers/profiles"

	"github.com/stretchr/testify/require"
)

// Every ready profile loads under the name of its file, says where its facts
// come from, and carries a conversation that shows each of its actions and
// that the driver speaks byte for byte.
func TestEveryProfileSpeaksItsExamples(t *testing.T) {
	require.NotEmpty(t, profiles.Names())
	for _, name := range profiles.Names() {
		t.Run(name, func(t *testing.T) {
			p := get(t, name)
			require.Equal(t, name, p.Name(), "profile and file have one name")
			require.Regexp(t, "from memory|no source", p.Source(), "a source that is no document says so")
			c := p.Capability()
			require.Equal(t, p.Role(), c.Role)
			examples := p.Examples()
			require.NotEmpty(t, examples)
			require.ElementsMatch(t, wanted(c), shown(examples), "every action is shown")

			played, err := p.Replay(t.Context())
			require.NoError(t, err)
			require.Len(t, played, len(examples))
			for _, x := range played {
				require.Nil(t, x.Problem, "%s:%v", x.File, x.Problem)
			}
		})
	}
}

// shown lists the actions of examples, each once.
func shown(examples []profile.Example) []string {
	var list []string
	seen := map[string]bool{}
	for _, e := range examples {
		if !seen[e.Do] {
			list = append(list, e.Do)
		}
		seen[e.Do] = true
	}
	return list
}

// wanted lists the actions that a profile must show.
func wanted(c profile.Capability) []string {
	list := []string{"open", "close"}
	list = append(list, map[string][]string{profile.RoleCounter: {"gate", "read"}, profile.RoleSource: {"rf_off", "rf_on", "frequency", "level"},
		profile.RoleSwitch: {"route", "position"}, profile.RolePowerMeter: {"measure"}, profile.RoleThermometer: {"temperature"}}[c.Role]...)
	for action, has := range map[string]bool{"identify": c.TellsIdentity, "reference": c.TellsReference, "errors": c.TellsErrors,
		"self_test": c.SelfTests, "lock": c.TellsLock, "input": len(c.Inputs) > 0, "zero": c.Zeroes, "correction": c.Corrects, "humidity": c.TellsHumidity} {
		if has {
			list = append(list, action)
		}
	}
	return list
}

func TestUnknownProfileNamesTheKnownOnes(t *testing.T) {
	for _, name := range []string{"", "scpi", "../profiles/scpi-counter", "scpi-counter.toml", "a\\b"} {
		_, err := profiles.Get(name)
		require.ErrorIs(t, err, profiles.ErrUnknown, "%q", name)
		require.ErrorContains(t, err, strings.Join(profiles.Names(), ", "))
	}
}

// The page that shows how to write a profile shows this very file, and the
// program plays it.
func TestThePageShowsAProfileThatPasses(t *testing.T) {
	const file = "testdata/example-counter.toml"
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	page, err := os.ReadFile("README.md")
	require.NoError(t, err)
	require.Contains(t, string(page), "```toml\n"+string(text)+"```\n")
	p, err := profiles.Load(file, text)
	require.NoError(t, err)
	played, err := p.Replay(t.Context())
	require.NoError(t, err)
	require.Len(t, played, len(p.Examples()))
	for _, x := range played {
		require.Nil(t, x.Problem, "%s:%v", x.File, x.Problem)
	}
}
