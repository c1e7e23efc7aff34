package profile_test

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/profile"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

const deviceHead = `schema = "bandproof profile 1"
name = "test-device"
source = "made up for the tests"
description = "A device that is quick to give up."

[link]
timeout = "100 ms"
quiet = "5 ms"

[identify]
query = "*IDN?"

[start]
commands = ["*RST"]
`

const switchText = deviceHead + `
[route]
commands = ["OPEN", "CLOSE {position}"]

[route.map]
low = "1"
high = "2"

[position]
query = "CLOSED? {position}"
closed = ["1"]
open = ["0"]
`

// role puts the role, which stands at the top of a file, in.
func role(text, role string) string {
	return strings.Replace(text, "source =", "role = \""+role+"\"\nsource =", 1)
}

// talks is an instrument that knows these answers and no others.
func talks(known map[string]string) instrument {
	return func(message string) []answer {
		if text, ok := known[message]; ok {
			return []answer{{text: text}}
		}
		return nil
	}
}

func opening(f *fake) profile.Opening {
	return profile.Opening{Name: "D", Link: f}
}

func TestSwitchSaysWhereItStands(t *testing.T) {
	for _, row := range []struct {
		name string
		says map[string]string
		want string
		err  error
	}{
		{name: "one position closed", says: map[string]string{"CLOSED? 1": "0", "CLOSED? 2": "+1"}, want: "high"},
		{name: "none closed", says: map[string]string{"CLOSED? 1": "0", "CLOSED? 2": "0"}, want: ""},
		{name: "two closed at once", says: map[string]string{"CLOSED? 1": "1", "CLOSED? 2": "1"}, err: drivers.ErrInstrument},
		{name: "an answer that is neither", says: map[string]string{"CLOSED? 1": "2", "CLOSED? 2": "2"}, err: drivers.ErrUnreadable},
	} {
		t.Run(row.name, func(t *testing.T) {
			known := map[string]string{"*IDN?": "me"}
			maps.Copy(known, row.says)
			f := &fake{far: talks(known)}
			s, err := load(t, role(switchText, profile.RoleSwitch)).OpenSwitch(t.Context(), opening(f))
			require.NoError(t, err)
			got, err := s.Position(t.Context())
			require.ErrorIs(t, err, row.err)
			require.Equal(t, row.want, got)
			require.NoError(t, s.Close())
		})
	}
}

// A character that became another on the line: a position that is said to be
// closed once and open the next time proves nothing.
func TestSwitchIsAskedAgain(t *testing.T) {
	n := 0
	f := &fake{far: func(m string) []answer {
		says := map[string]string{"*IDN?": "me", "CLOSED? 1": "0", "CLOSED? 2": "0"}
		if m == "CLOSED? 2" {
			if n++; n == 1 {
				says[m] = "1"
			}
		}
		return talks(says)(m)
	}}
	s, err := load(t, role(switchText, profile.RoleSwitch)).OpenSwitch(t.Context(), opening(f))
	require.NoError(t, err)
	_, err = s.Position(t.Context())
	require.ErrorIs(t, err, drivers.ErrUnreadable)
	got, err := s.Position(t.Context())
	require.NoError(t, err)
	require.Empty(t, got)
}

func TestSwitchThatNamesItsPosition(t *testing.T) {
	text := strings.Split(switchText, "[position]")[0] + "[position]\nquery = \"WHERE?\"\n[position.map]\n\"@1\" = \"low\"\n\"@2\" = \"high\"\n\"@\" = \"none\"\n"
	where := "@2"
	f := &fake{far: func(m string) []answer {
		return talks(map[string]string{"*IDN?": "me", "WHERE?": where})(m)
	}}
	s, err := load(t, role(text, profile.RoleSwitch)).OpenSwitch(t.Context(), opening(f))
	require.NoError(t, err)
	got, err := s.Position(t.Context())
	require.NoError(t, err)
	require.Equal(t, "high", got)
	where = "@"
	got, err = s.Position(t.Context())
	require.NoError(t, err)
	require.Empty(t, got)
	where = "@7"
	_, err = s.Position(t.Context())
	require.ErrorIs(t, err, drivers.ErrUnreadable)
}

func TestSwitchRefusesUnknownPositionBeforeItSpeaks(t *testing.T) {
	f := &fake{far: talks(map[string]string{"*IDN?": "me"})}
	s, err := load(t, role(switchText, profile.RoleSwitch)).OpenSwitch(t.Context(), opening(f))
	require.NoError(t, err)
	before := len(f.sent)
	require.ErrorContains(t, s.Route(t.Context(), "middle"), "known are high, low")
	require.Len(t, f.sent, before)
	require.NoError(t, s.Route(t.Context(), "high"))
	require.Equal(t, []string{"OPEN", "CLOSE 2"}, f.sent[before:])
}

// Recovering a switch must not move it: its start commands, which open all
// positions, are not sent again. A meter is set up as it was.
func TestRecoverySetsAMeterUpAgainAndLeavesASwitchAlone(t *testing.T) {
	f := &fake{far: talks(map[string]string{"*IDN?": "me"})}
	s, err := load(t, role(switchText, profile.RoleSwitch)).OpenSwitch(t.Context(), opening(f))
	require.NoError(t, err)
	before := len(f.sent)
	require.NoError(t, s.Recover(t.Context()))
	require.False(t, slices.Contains(f.sent[before:], "*RST"), "%q", f.sent[before:])

	f = &fake{far: talks(map[string]string{"*IDN?": "me"})}
	m, err := load(t, role(meterText, profile.RolePowerMeter)).OpenPowerMeter(t.Context(), opening(f))
	require.NoError(t, err)
	require.NoError(t, m.SetFrequency(t.Context(), quantity.Of[quantity.Hertz](225, 6)))
	before = len(f.sent)
	require.NoError(t, m.Recover(t.Context()))
	require.Equal(t, []string{"*RST", "CORR 225"}, f.sent[len(f.sent)-2:], "%q", f.sent[before:])
}

const meterText = deviceHead + `
[correction]
commands = ["CORR {megahertz}"]

[measure]
query = "LEVEL?"
timeout = "50 ms"
under_range = ["LOW"]

[measure.reply]
unit = "dBm"
no_signal = ["OFF"]
over_range = ["HIGH"]
`

func TestPowerMeterReadsLevelsAndMarks(t *testing.T) {
	for _, row := range []struct{ name, unit, answer, level, err string }{
		{name: "dBm", unit: "dBm", answer: "-20.134", level: "-20.134 dBm"},
		{name: "exponent", unit: "dBm", answer: "-2.0134E+01", level: "-20.134 dBm"},
		{name: "watts", unit: "W", answer: "1.0E-5", level: "-20.0000 dBm"}, // 10·log10(P/1 mW)
		{name: "milliwatts", unit: "mW", answer: "2.0", level: "3.0103 dBm"},
		{name: "negative power is noise about zero", unit: "W", answer: "-1.0E-9", level: "under-range"},
		{name: "minus infinity", unit: "dBm", answer: "-9.9E37", level: "under-range"},
		{name: "a word for too little", unit: "dBm", answer: "low", level: "under-range"},
		{name: "infinity", unit: "dBm", answer: "9.9E37", level: "over-range"},
		{name: "a word for too much", unit: "dBm", answer: "HIGH", level: "over-range"},
		{name: "not a number", unit: "dBm", answer: "9.91E37", level: "no measurement"},
		{name: "garbage", unit: "dBm", answer: "-20,134", err: "unreadable"},
		{name: "empty", unit: "dBm", answer: "", err: "unreadable"},
	} {
		t.Run(row.name, func(t *testing.T) {
			f := &fake{far: talks(map[string]string{"*IDN?": "me", "LEVEL?": row.answer})}
			m, err := load(t, role(edit(t, meterText, `unit = "dBm"`, `unit = "`+row.unit+`"`), profile.RolePowerMeter)).OpenPowerMeter(t.Context(), opening(f))
			require.NoError(t, err)
			got, err := m.Measure(t.Context())
			if row.err != "" {
				require.ErrorContains(t, err, row.err)
				return
			}
			require.NoError(t, err)
			if got.Mark != drivers.None {
				require.Equal(t, row.level, string(got.Mark))
				return
			}
			require.Equal(t, row.level, got.Level.String())
			require.Equal(t, row.answer, got.Text)
		})
	}
}

// A late level must not be taken for the next one's.
func TestPowerMeterTakesNoLateLevel(t *testing.T) {
	calls := 0
	f := &fake{far: func(m string) []answer {
		if m == "LEVEL?" {
			if calls++; calls == 1 {
				return []answer{{"-10", 80 * time.Millisecond}}
			}
			return []answer{{text: "-20"}}
		}
		return talks(map[string]string{"*IDN?": "me"})(m)
	}}
	m, err := load(t, role(meterText, profile.RolePowerMeter)).OpenPowerMeter(t.Context(), opening(f))
	require.NoError(t, err)
	_, err = m.Measure(t.Context())
	require.Error(t, err)
	got, err := m.Measure(t.Context())
	require.NoError(t, err)
	require.Equal(t, "-20 dBm", got.Level.String())
}

const thermometerText = deviceHead + `
[temperature]
query = "T?"

[humidity]
query = "H?"
`

func TestThermometerTakesNothingThatIsNoRoom(t *testing.T) {
	for _, row := range []struct{ temperature, humidity, want, wet string }{
		{"23.4", "45.2", "23.4 °C", "45.2 %"},
		{"-5", "0", "-5 °C", "0"},
		{"9.91E37", "100", "", "100 %"},
		{"234", "101", "", ""},
		{"cold", "-1", "", ""},
	} {
		f := &fake{far: talks(map[string]string{"*IDN?": "me", "T?": row.temperature, "H?": row.humidity})}
		i, err := load(t, role(thermometerText, profile.RoleThermometer)).OpenThermometer(t.Context(), opening(f))
		require.NoError(t, err)
		got, err := i.Temperature(t.Context())
		if row.want == "" {
			require.ErrorIs(t, err, drivers.ErrUnreadable, "%q", row.temperature)
		} else {
			require.NoError(t, err)
			require.Equal(t, row.want, got.String())
		}
		wet, err := i.(drivers.Hygrometer).Humidity(t.Context())
		if row.wet == "" {
			require.ErrorIs(t, err, drivers.ErrUnreadable, "%q", row.humidity)
		} else {
			require.NoError(t, err)
			require.Equal(t, row.wet, wet.String())
		}
	}
	dry, err := load(t, role(strings.Split(thermometerText, "[humidity]")[0], profile.RoleThermometer)).
		OpenThermometer(t.Context(), opening(&fake{far: talks(map[string]string{"*IDN?": "me"})}))
	require.NoError(t, err)
	_, hygrometer := dry.(drivers.Hygrometer)
	require.False(t, hygrometer, "an ability that the profile does not have")
}

func TestAProfileOpensInItsOwnRoleOnly(t *testing.T) {
	p := load(t, role(switchText, profile.RoleSwitch))
	_, err := p.OpenPowerMeter(t.Context(), opening(&fake{far: talks(nil)}))
	require.ErrorContains(t, err, "describes a switch, not a power-meter")
	require.Equal(t, []string{"high", "low"}, p.Capability().Positions)
}
