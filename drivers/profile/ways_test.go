package profile_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/profile"

	"github.com/stretchr/testify/require"
)

// lettersText is a counter from before SCPI: letters for inputs and gates, no
// identity, a fixed form of reply (common practice, no source).
const lettersText = `schema = "bandproof profile 1"
name = "test-letters"
role = "counter"
source = "made up for the tests"
description = "A counter older than SCPI."
[link]
timeout = "150 ms"
quiet = "10 ms"
remote = true
[input]
commands = ["{input}"]
map = { A = "IA", B = "IB" }
[gate]
commands = ["G{code}"]
resolutions = { "100 Hz" = "1", "10 Hz" = "2" }
[read]
query = "T"
margin = "120 ms"
ready = { mask = 1, every = "1 ms" }
[read.reply]
form = "plain"
shape = ["@~_______.#E+#"]
flags = { F = "good", O = "over_range" }
`

func openLetters(t *testing.T, text string, s *state, gpib bool) (drivers.Counter, *fake) {
	t.Helper()
	f := &fake{far: s.far, gpib: gpib}
	c, err := load(t, text).OpenCounter(t.Context(), profile.Opening{Name: "unit", Link: f})
	require.NoError(t, err)
	return c, f
}

func TestLettersByStatusByteAndWithout(t *testing.T) {
	for _, gpib := range []bool{true, false} {
		s := newState(map[string]string{"T": "F+  10000.0E+3"})
		c, f := openLetters(t, lettersText, s, gpib)
		require.NoError(t, c.SelectInput(t.Context(), "B"))
		gate, err := c.SetGate(t.Context(), gate10ms)
		require.NoError(t, err)
		require.Equal(t, "10 ms", gate.String(), "1/100 Hz")
		s.setLate("T", answer{"F+  10000.0E+3", 20 * time.Millisecond})
		r, err := c.Read(t.Context())
		require.NoError(t, err)
		require.Equal(t, "10.0000 MHz", r.Frequency.String())
		require.Equal(t, "F+  10000.0E+3", r.Text)
		want := []string{"IB", "G1", "T"}
		if gpib {
			want = append([]string{"(remote)"}, want...)
			require.Greater(t, f.polls, 1)
			require.Equal(t, want, f.takeSent())
		} else {
			require.Equal(t, want, f.takeSent())
		}
		s.set("T", "O+9999999.9E+3")
		r, err = c.Read(t.Context())
		require.NoError(t, err)
		require.Equal(t, drivers.OverRange, r.Mark)
		require.NoError(t, c.Close())
		if gpib {
			require.Contains(t, f.takeSent(), "(local)")
		}
	}
}

// A reading that was ready before it was asked for is an old one.
func TestReadyReadingFromBeforeIsThrownAway(t *testing.T) {
	s := newState(map[string]string{"T": "F+  10000.0E+3"})
	c, f := openLetters(t, lettersText, s, true)
	_, err := c.SetGate(t.Context(), gate10ms)
	require.NoError(t, err)
	f.pending = append(f.pending, arrival{text: "F+  66666.6E+3"})
	r, err := c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, "F+  10000.0E+3", r.Text)
}

// Where no identity can be asked, a status byte shows that the unit answers.
func TestReadyThatNeverComesIsNoReply(t *testing.T) {
	s := newState(nil)
	c, f := openLetters(t, lettersText, s, true)
	_, err := c.SetGate(t.Context(), gate10ms)
	require.NoError(t, err)
	r, err := c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, drivers.NoReply, r.Mark)
	require.Contains(t, f.takeSent(), "(clear)")
	c, _ = openLetters(t, lettersText, s, false)
	_, err = c.SetGate(t.Context(), gate10ms)
	require.NoError(t, err)
	_, err = c.Read(t.Context())
	require.ErrorIs(t, err, link.ErrTimeout, "nothing shows that it answers")
}

func TestTriggerStartsTheMeasurement(t *testing.T) {
	text := edit(t, lettersText, `query = "T"`, `trigger = true`)
	s := newState(map[string]string{"(trigger)": "F+  10000.0E+3"})
	c, f := openLetters(t, text, s, true)
	_, err := c.SetGate(t.Context(), gate10ms)
	require.NoError(t, err)
	f.takeSent()
	r, err := c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, "F+  10000.0E+3", r.Text)
	require.Equal(t, []string{"(trigger)"}, f.takeSent())
	c, _ = openLetters(t, text, s, false)
	_, err = c.SetGate(t.Context(), gate10ms)
	require.NoError(t, err)
	_, err = c.Read(t.Context())
	require.ErrorIs(t, err, errors.ErrUnsupported)
	require.ErrorContains(t, err, "a command that starts the measurement")
}

// Armed by a command, fetched by a query once the status byte says so.
func TestArmedReadingIsFetchedOnceReady(t *testing.T) {
	text := edit(t, lettersText, `query = "T"`, "commands = [\"AR\"]\nquery = \"RD\"", "mask = 1", "mask = 64, expect = 64")
	s := newState(map[string]string{"RD": "F+  10000.0E+3"})
	c, f := openLetters(t, text, s, true)
	_, err := c.SetGate(t.Context(), gate10ms)
	require.NoError(t, err)
	f.takeSent()
	f.bits = 64
	r, err := c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, "F+  10000.0E+3", r.Text)
	require.Equal(t, []string{"AR", "RD"}, f.takeSent())
}

func TestTalkOnlyTakesWhatBeginsAfterwards(t *testing.T) {
	text := edit(t, lettersText, `query = "T"`, "talks = true", `ready = { mask = 1, every = "1 ms" }`, "", `commands = ["{input}"]`, "by_hand = true",
		"commands = [\"G{code}\"]\nresolutions = { \"100 Hz\" = \"1\", \"10 Hz\" = \"2\" }", "by_hand = true\nallowed = [\"10 ms\", \"1 s\"]")
	p := load(t, text)
	require.Equal(t, 2, p.Capability().Discard)
	require.True(t, p.Capability().InputByHand && p.Capability().GateByHand)
	f := &fake{far: func(string) []answer { return nil }}
	var asked []string
	c, err := p.OpenCounter(t.Context(), profile.Opening{Name: "unit", Link: f, ByHand: func(_ context.Context, do string) error {
		asked = append(asked, do)
		return nil
	}})
	require.NoError(t, err)
	for range 2 {
		require.NoError(t, c.SelectInput(t.Context(), "B"))
		_, err = c.SetGate(t.Context(), gate10ms)
		require.NoError(t, err)
	}
	require.Equal(t, []string{"select input B", "set the gate time to 10 ms"}, asked, "once each")
	for _, text := range []string{"E+3", "F+  11111.1E+3", "F+  22222.2E+3", "F+  33333.3E+3", "F+  44444.4E+3"} {
		f.pending = append(f.pending, arrival{text: text})
	}
	r, err := c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, "F+  33333.3E+3", r.Text, "this link can't tell when a message began: each second one is taken, after the first was dropped")
	require.Empty(t, f.takeSent(), "nothing is ever sent")
	_, err = c.Read(t.Context())
	require.ErrorIs(t, err, link.ErrTimeout, "silence is told as what it is")
	f.pending = []arrival{{text: "F+  1111"}, {text: "F+  55555.5E+3"}, {text: "F+  66666.6E+3"}, {text: "F+  77777.7E+3"}}
	r, err = c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, "F+  77777.7E+3", r.Text, "it begins anew after the time-out")
	c, err = p.OpenCounter(t.Context(), profile.Opening{Name: "unit", Link: &fake{far: f.far}})
	require.NoError(t, err)
	require.ErrorIs(t, c.SelectInput(t.Context(), "A"), drivers.ErrNoOperator)
	_, err = c.SetGate(t.Context(), gate10ms)
	require.ErrorIs(t, err, drivers.ErrNoOperator)
}

func TestLockByStatusByte(t *testing.T) {
	text := edit(t, sourceText, `query = "LOCK?"
mask = 32`, "poll = true\nmask = 4\nexpect = 4")
	f := &fake{far: sourceState().far, gpib: true}
	g, err := load(t, text).OpenSource(t.Context(), profile.Opening{Name: "gen", Link: f})
	require.NoError(t, err)
	locked, err := g.(drivers.LockReporter).Locked(t.Context())
	require.NoError(t, err)
	require.False(t, locked)
	f.bits = 4
	locked, err = g.(drivers.LockReporter).Locked(t.Context())
	require.NoError(t, err)
	require.True(t, locked)
	for _, row := range []struct {
		form, answer string
		locked, bad  bool
	}{{"hex", "1F", true, false}, {"hex", "10", false, false}, {"hex", "G", false, true}, {"byte", "\x04", true, false}, {"byte", "44", false, true}, {"decimal", "+4", true, false}} {
		s := sourceState()
		g, _ := openSource(t, edit(t, sourceText, "mask = 32", "mask = 4\nexpect = 4\nform = \""+row.form+"\""), s, nil)
		s.set("LOCK?", row.answer)
		locked, err := g.(drivers.LockReporter).Locked(t.Context())
		if row.bad {
			require.ErrorIs(t, err, drivers.ErrUnreadable, "%+v", row)
			continue
		}
		require.NoError(t, err, "%+v", row)
		require.Equal(t, row.locked, locked, "%+v", row)
	}
}
