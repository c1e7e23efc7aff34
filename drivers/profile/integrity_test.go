package profile_test

import (
	"testing"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/profile"

	"github.com/stretchr/testify/require"
)

// With a question that gives the reading once more, a character that was
// changed, lost or doubled on the way is seen.
func TestCounterComparesAReadingWithItsRepetition(t *testing.T) {
	text := edit(t, counterText, `query = "READ?"`, "query = \"READ?\"\nagain = \"FETC?\"")
	for _, row := range []struct {
		name, first, second string
		good                bool
	}{
		{"the same", "10000000.0", "10000000.0", true},
		{"nothing counted, twice", "9.91E37", "9.91E37", true},
		{"a digit changed", "10000000.0", "10000008.0", false},
		{"a digit lost", "1000000.0", "10000000.0", false},
		{"a digit doubled", "10000000.0", "110000000.0", false},
		{"the same value in another form", "1.0E7", "10000000", false},
		{"a marker and a number", "9.91E37", "10000000.0", false},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := counterState()
			c, f := openCounter(t, text, s)
			s.set("READ?", row.first)
			s.set("FETC?", row.second)
			got, err := c.Read(t.Context())
			require.Equal(t, []string{"READ?", "FETC?"}, f.takeSent())
			if row.good {
				require.NoError(t, err)
				require.Equal(t, row.first, got.Text)
				return
			}
			require.ErrorIs(t, err, drivers.ErrUnreadable)
			require.ErrorContains(t, err, row.second)
			s.set("FETC?", row.first)
			_, err = c.Read(t.Context())
			require.NoError(t, err)
			require.Equal(t, "(clear)", f.takeSent()[0], "the conversation is put in step first")
		})
	}
}

func TestCounterReadsTheInputBack(t *testing.T) {
	text := edit(t, counterText, `commands = ["ROUT {input}"]`, "commands = [\"ROUT {input}\"]\nquery = \"ROUT?\"\nexpect = [\"{input}\", \"INP {input}\"]")
	s := counterState()
	c, f := openCounter(t, text, s)
	s.set("ROUT?", `"inp 2"`)
	require.NoError(t, c.SelectInput(t.Context(), "B"))
	require.Equal(t, []string{"ROUT 2", "ERR?", "ROUT?"}, f.takeSent())
	s.set("ROUT?", "1")
	err := c.SelectInput(t.Context(), "B")
	require.ErrorIs(t, err, drivers.ErrUnreadable)
	require.ErrorContains(t, err, `select input "B": ask "ROUT?": unreadable reply: "1"; expected "2" or "INP 2"`)
}

func TestReplyThatDoesNotFitItsFormIsRefused(t *testing.T) {
	text := edit(t, counterText, `query = "READ?"`, "query = \"READ?\"\nreply = { length = 12, shape = [\"~##########\", \"F~_____####.#\"], prefix = [\"F\"] }")
	_, err := profile.Load("test.toml", []byte(text))
	require.ErrorContains(t, err, "read.reply.shape[1]: has 11 places, but length is 12")
	text = edit(t, counterText, `query = "READ?"`, "query = \"READ?\"\nreply = { length = 13, shape = [\"F~_____#####.#\", \"F~______####.#\"], prefix = [\"F\"] }")
	_, err = profile.Load("test.toml", []byte(text))
	require.ErrorContains(t, err, "has 14 places, but length is 13")
	text = edit(t, counterText, `query = "READ?"`, "query = \"READ?\"\nreply = { length = 14, shape = [\"F~_____#####.#\"], prefix = [\"F\"], no_signal = [\"F\"] }")
	for _, row := range []struct{ name, reply, want string }{
		{"whole", "F+0000010000.0", ""},
		{"blanks for zeros", "F      10000.0", ""},
		{"marker", "F", ""},
		{"cut in front", "+0000010000.0", "has 13 characters; expected 14"},
		{"cut at the end", "F+0000010000.", "has 13 characters; expected 14"},
		{"joined", "F+0000010000.0F+0000010000.0", "has 28 characters; expected 14"},
		{"a letter for a digit", "F+00000100O0.0", "from place 11 on"},
		{"a digit doubled, another lost", "F+00000100000.", "from place 13 on"},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := counterState()
			c, _ := openCounter(t, text, s)
			s.set("READ?", row.reply)
			got, err := c.Read(t.Context())
			if row.want != "" {
				require.ErrorIs(t, err, drivers.ErrUnreadable, "%+v", got)
				require.ErrorContains(t, err, row.want)
				return
			}
			require.NoError(t, err)
			require.Equal(t, row.reply, got.Text)
		})
	}
}

// A question that did not reach the unit as it was sent is no silence of the
// unit: its error queue holds a command error then.
func TestGarbledQuestionIsNoNoReply(t *testing.T) {
	for _, row := range []struct {
		name, entry string
		noReply     bool
	}{
		{"undefined header", `-113,"Undefined header"`, false},
		{"invalid character", `-101,"Invalid character"`, false},
		{"command error", `-100,"Command error"`, false},
		{"an execution error", `-222,"Data out of range"`, true},
		{"a query error", `-410,"Query INTERRUPTED"`, true},
		{"its own", `+171,"Oven cold"`, true},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := counterState()
			c, f := openCounter(t, counterText, s)
			queue := []string{}
			f.far = func(message string) []answer {
				switch {
				case message == "READ?":
					queue = append(queue, row.entry)
					return nil
				case message == "ERR?" && len(queue) > 0:
					head := queue[0]
					queue = queue[1:]
					return []answer{{text: head}}
				}
				return s.far(message)
			}
			got, err := c.Read(t.Context())
			if row.noReply {
				require.NoError(t, err)
				require.Equal(t, drivers.NoReply, got.Mark)
				return
			}
			require.ErrorIs(t, err, link.ErrTimeout)
			require.NotErrorIs(t, err, drivers.ErrInstrument, "so that it is tried again")
			require.ErrorContains(t, err, "did not understand what reached it: "+row.entry)
			f.far = s.far
			got, err = c.Read(t.Context())
			require.NoError(t, err)
			require.Equal(t, "10000000.0", got.Text)
		})
	}
}
