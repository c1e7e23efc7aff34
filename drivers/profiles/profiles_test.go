package profiles_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/drivertest"
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
			require.Contains(t, p.Source(), "from memory", "a source that is no document says so")
			c := p.Capability()
			require.Equal(t, p.Role(), c.Role)
			examples := p.Examples()
			require.NotEmpty(t, examples)
			require.ElementsMatch(t, wanted(c), shown(examples), "every action is shown")

			var script drivertest.Script
			for _, e := range examples {
				script = append(script, conversation(e)...)
			}
			l := drivertest.NewPlayback(t, "TCPIP0::192.0.2.7::5025::SOCKET", script)
			i := open(t, p, profile.Opening{Name: name, Link: l, Interlock: upTo(20), Clock: noSleep{}})
			for _, e := range examples {
				got, err := e.Perform(t.Context(), i)
				require.NoError(t, err, "%s %s", e.Do, e.With)
				require.Equal(t, e.Gives, got, "%s %s", e.Do, e.With)
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

func conversation(e profile.Example) drivertest.Script {
	var script drivertest.Script
	for _, x := range e.Exchange {
		if x.Reply == "" {
			script = append(script, drivertest.Tell(x.Send)...)
			continue
		}
		script = append(script, drivertest.Ask(x.Send, x.Reply)...)
	}
	return script
}

func open(t *testing.T, p *profile.Profile, o profile.Opening) drivers.Instrument {
	t.Helper()
	i, err := func() (drivers.Instrument, error) {
		switch p.Role() {
		case profile.RoleCounter:
			return p.OpenCounter(t.Context(), o)
		case profile.RoleSwitch:
			return p.OpenSwitch(t.Context(), o)
		case profile.RolePowerMeter:
			return p.OpenPowerMeter(t.Context(), o)
		case profile.RoleThermometer:
			return p.OpenThermometer(t.Context(), o)
		}
		return p.OpenSource(t.Context(), o)
	}()
	require.NoError(t, err)
	return i
}

type noSleep struct{ drivers.WallClock }

func (noSleep) Sleep(ctx context.Context, _ time.Duration) error { return ctx.Err() }

func TestUnknownProfileNamesTheKnownOnes(t *testing.T) {
	for _, name := range []string{"", "scpi", "../profiles/scpi-counter", "scpi-counter.toml", "a\\b"} {
		_, err := profiles.Get(name)
		require.ErrorIs(t, err, profiles.ErrUnknown, "%q", name)
		require.ErrorContains(t, err, strings.Join(profiles.Names(), ", "))
	}
}
