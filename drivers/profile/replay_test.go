package profile_test

import (
	"strings"
	"testing"

	"bandproof/drivers/profile"

	"github.com/stretchr/testify/require"
)

const shownText = lettersText + `
[[example]]
do = "open"
exchange = []
[[example]]
do = "input"
with = "B"
exchange = [{ send = "IB" }]
[[example]]
do = "gate"
with = "10 ms"
gives = "10 ms"
exchange = [
  { send = "G1" },
]
[[example]]
do = "read"
gives = "10.0000 MHz"
exchange = [{ send = "T", reply = "F+  10000.0E+3" }]
[[example]]
do = "close"
exchange = []
`

func TestReplayTellsWhereAnExampleDiffers(t *testing.T) {
	for _, row := range []struct {
		name, old, new string
		key, text      string
		at             int
		played         int
	}{
		{"as it is", "", "", "", "", 0, 5},
		{"another message", `send = "G1"`, `send = "G2"`, "example[3].exchange[1].send", `is "G2", but the program sends "G1"; they differ at byte 2`, 2, 3},
		{"a message too few", "\n  { send = \"G1\" },\n", "", "example[3].exchange", `ends, but the program goes on and sends "G1"`, 0, 3},
		{"a message too many", `{ send = "G1" }`, `{ send = "G1" }, { send = "G1" }`, "example[3].exchange[2]", "never takes place", 0, 3},
		{"no reply", `, reply = "F+  10000.0E+3"`, "", "example[4].exchange[1]", "has no reply, but the program waits for one", 0, 4},
		{"a reply to a command", `send = "IB"`, `send = "IB", reply = "OK"`, "example[2].exchange[1]", "has a reply that the program does not wait for", 0, 2},
		{"another value", `gives = "10.0000 MHz"`, `gives = "10.0001 MHz"`, "example[4].gives", `is "10.0001 MHz", but the program makes it "10.0000 MHz"`, 7, 4},
		{"another form", `F+  10000.0E+3`, `F+ 10000.0E+3`, "example[4].do", "read can't be done", 0, 4},
		{"heard where it sends", `{ send = "G1" }`, `{ hear = "G1" }`, "example[3].exchange[1]", `is no message that is sent, but the program sends "G1"`, 0, 3},
		{"a poll that is not made", `{ send = "G1" }`, `{ send = "G1" }, { poll = 3 }`, "example[1].exchange", "has no poll in place 1", 0, 1},
	} {
		t.Run(row.name, func(t *testing.T) {
			text := shownText
			if row.old != "" {
				text = edit(t, text, row.old, row.new)
			}
			played, err := load(t, text).Replay(t.Context())
			require.NoError(t, err)
			require.Len(t, played, row.played)
			last := played[len(played)-1].Problem
			if row.key == "" {
				require.Nil(t, last)
				require.Equal(t, "10.0000 MHz", played[3].Gives)
				return
			}
			require.NotNil(t, last)
			require.Equal(t, row.key, last.Key)
			require.Contains(t, last.Text, row.text)
			require.Equal(t, row.at, last.Byte)
			require.Positive(t, last.Line)
			require.LessOrEqual(t, last.Line, strings.Count(text, "\n"))
			for _, x := range played[:len(played)-1] {
				require.Nil(t, x.Problem)
			}
		})
	}
}

func TestReplayOfBytesTriggersAndPolls(t *testing.T) {
	text := edit(t, shownText, `query = "T"`, "trigger = true", "form = \"plain\"\nshape = [\"@~_______.#E+#\"]\nflags = { F = \"good\", O = \"over_range\" }",
		"form = \"bcd\"\nlength = 4\npower = 1", `{ send = "T", reply = "F+  10000.0E+3" }`, `{ poll = 0 }, { trigger = true }, { poll = 3 }, { hear_hex = "01 00 00 00" }`,
		"do = \"open\"\nexchange = []", "do = \"open\"\nexchange = [{ poll = 0 }]", `gives = "10.0000 MHz"`, `gives = "10.00000 MHz"`)
	played, err := load(t, text).Replay(t.Context())
	require.NoError(t, err)
	for _, x := range played {
		require.Nil(t, x.Problem, "%v", x.Problem)
	}
	require.Len(t, played, 5)
	text = edit(t, text, "{ trigger = true }, ", "")
	played, err = load(t, text).Replay(t.Context())
	require.NoError(t, err)
	require.Contains(t, played[3].Problem.Text, "has no trigger = true in place 2")
}

func TestReplayNeedsExamples(t *testing.T) {
	_, err := load(t, lettersText).Replay(t.Context())
	require.ErrorIs(t, err, profile.ErrNoExamples)
}

// Whatever stands in the examples, playing them ends and never panics.
func FuzzReplay(f *testing.F) {
	f.Add(shownText)
	f.Add(counterText + "[[example]]\ndo = \"open\"\nexchange = [{send=\"*IDN?\",reply=\"a\"},{send=\"*IDN?\",reply=\"a\"}]\n")
	f.Add(sourceText + "[[example]]\ndo = \"open\"\nexchange = [{send=\"OUTP 0\"}]\n")
	f.Fuzz(func(t *testing.T, text string) {
		p, err := profile.Load("f.toml", []byte(text))
		if err != nil {
			return
		}
		_, _ = p.Replay(t.Context())
	})
}
