package profile_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/link"
	"bandproof/drivers/profile"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

func TestCounterReadsWhatTheReplySays(t *testing.T) {
	const unreadable = "unreadable"
	for _, row := range []struct{ name, reply, value, mark string }{
		{"plain", "10000000.000", "10.000000000 MHz", ""},
		{"exponent", "+1.00000000E+07", "10.0000000 MHz", ""},
		{"blanks", "  27000000 ", "27.000000 MHz", ""},
		{"zero", "0.00", "", string(drivers.NoSignal)},
		{"minus zero", "-0", "", string(drivers.NoSignal)},
		{"not-a-number", "9.91E37", "", string(drivers.NoSignal)},
		{"not-a-number in full", "+9.910000E+037", "", string(drivers.NoSignal)},
		{"infinity", "9.9E+37", "", string(drivers.OverRange)},
		{"negative", "-5", unreadable, ""},
		{"negative infinity", "-9.9E37", unreadable, ""},
		{"text", "OVERLOAD", unreadable, ""},
		{"empty", "", unreadable, ""},
		{"two numbers", "1,2", unreadable, ""},
		{"decimal comma", "10000000,5", unreadable, ""},
		{"bytes", "\xff\xfe1", unreadable, ""},
		{"hexadecimal", "0x10", unreadable, ""},
		{"absurd exponent", "1E999999", unreadable, ""},
		{"word for a number", "INF", "", string(drivers.OverRange)},
		{"word for none", "nan", "", string(drivers.NoSignal)},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := counterState()
			c, _ := openCounter(t, counterText, s)
			s.set("READ?", row.reply)
			got, err := c.Read(t.Context())
			if row.value == unreadable {
				require.ErrorIs(t, err, drivers.ErrUnreadable, "input %q got %+v", row.reply, got)
				return
			}
			require.NoError(t, err, "input %q", row.reply)
			require.Equal(t, row.reply, got.Text, "the text is kept verbatim")
			require.Equal(t, drivers.Mark(row.mark), got.Mark, "input %q", row.reply)
			if row.mark == "" {
				require.Equal(t, row.value, got.Frequency.String(), "input %q", row.reply)
			}
		})
	}
}

func TestCounterTellsUnreadableBytesEscaped(t *testing.T) {
	s := counterState()
	c, _ := openCounter(t, counterText, s)
	s.set("READ?", "12\xff\x003")
	_, err := c.Read(t.Context())
	require.EqualError(t, err, `unit at FAKE::1::INSTR: read: ask "READ?": unreadable reply: "12\xff\x003" is no number: "\xff\x003" is left over; expected digits with a point and an exponent, such as +1.25E+7`)
	var named *drivers.Error
	require.ErrorAs(t, err, &named)
	require.Equal(t, "read", named.Doing)
}

func TestCounterOpensInOrder(t *testing.T) {
	s := counterState()
	f := &fake{far: s.far}
	_, err := load(t, counterText).OpenCounter(t.Context(), profile.Opening{Name: "unit", Link: f})
	require.NoError(t, err)
	require.Equal(t, []string{"*IDN?", "*IDN?", "ERR?", "*RST", "ERR?"}, f.takeSent())
}

func TestCounterOpensPastAMessageLeftFromBefore(t *testing.T) {
	s := counterState()
	f := &fake{far: s.far, pending: []arrival{{text: "12345678.9"}}}
	c, err := load(t, counterText).OpenCounter(t.Context(), profile.Opening{Name: "unit", Link: f})
	require.NoError(t, err)
	id, err := c.Identify(t.Context())
	require.NoError(t, err)
	require.Equal(t, drivers.Identity{Maker: "Example Works (invented)", Model: "T", Serial: "1", Firmware: "0", Raw: self, Stated: true}, id)
	_, err = c.SetGate(t.Context(), gate10ms)
	require.NoError(t, err)
	got, err := c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, "10000000.0", got.Text)
}

func TestCounterThatDoesNotAnswerAtOpeningClosesTheLink(t *testing.T) {
	s := counterState()
	s.set("*IDN?")
	f := &fake{far: s.far}
	_, err := load(t, counterText).OpenCounter(t.Context(), profile.Opening{Name: "unit", Link: f})
	require.ErrorIs(t, err, link.ErrTimeout)
	require.ErrorContains(t, err, `unit: open: ask "*IDN?"`)
	require.Equal(t, 1, f.closed)
}

func TestCounterNeedsAGateBeforeItReads(t *testing.T) {
	f := &fake{far: counterState().far}
	c, err := load(t, counterText).OpenCounter(t.Context(), profile.Opening{Name: "unit", Link: f})
	require.NoError(t, err)
	f.takeSent()
	_, err = c.Read(t.Context())
	require.ErrorContains(t, err, "no gate time is set")
	require.Empty(t, f.takeSent(), "nothing is sent")
}

func TestCounterSelectsInputsOfItsMapOnly(t *testing.T) {
	c, f := openCounter(t, counterText, counterState())
	require.NoError(t, c.SelectInput(t.Context(), "B"))
	require.Equal(t, []string{"ROUT 2", "ERR?"}, f.takeSent())
	require.ErrorContains(t, c.SelectInput(t.Context(), "D"), `select input "D": no such input; known are A, B`)
	require.Empty(t, f.takeSent())
}

func TestCounterWithOneInputNeedsNoCommand(t *testing.T) {
	c, f := openCounter(t, edit(t, counterText, `commands = ["ROUT {input}"]
map = { A = "1", B = "2" }`, `map = { A = "1" }`), counterState())
	require.NoError(t, c.SelectInput(t.Context(), "A"))
	require.Error(t, c.SelectInput(t.Context(), "B"))
	require.Empty(t, f.takeSent())
	c, _ = openCounter(t, edit(t, counterText, `map = { A = "1", B = "2" }`, ""), counterState())
	require.NoError(t, c.SelectInput(t.Context(), "7"), "without a map a name is taken as it is")
	require.Error(t, c.SelectInput(t.Context(), "7\n*RST"))
	c, _ = openCounter(t, edit(t, counterText, "[input]\ncommands = [\"ROUT {input}\"]\nmap = { A = \"1\", B = \"2\" }\n", ""), counterState())
	require.ErrorContains(t, c.SelectInput(t.Context(), "A"), "no way to select an input")
}

func TestCounterReportsARefusedCommand(t *testing.T) {
	s := counterState()
	c, f := openCounter(t, counterText, s)
	full := []string{`-222,"Data out of range"`, `-113,"Undefined header"`, `+0,"No error"`}
	f.far = func(message string) []answer {
		if message == "ERR?" && len(full) > 0 {
			head := full[0]
			full = full[1:]
			return []answer{{text: head}}
		}
		return s.far(message)
	}
	_, err := c.SetGate(t.Context(), quantity.MustParse[quantity.Second]("5 s"))
	require.ErrorIs(t, err, drivers.ErrInstrument)
	require.ErrorContains(t, err, `set the gate to 5 s: instrument reports an error: -222,"Data out of range"; -113,"Undefined header"`)
	_, err = c.Read(t.Context())
	require.ErrorContains(t, err, "no gate time is set", "the gate is not known after a refusal")
}

func TestCounterDrainsAQueueThatNeverEndsWithABound(t *testing.T) {
	s := counterState()
	c, f := openCounter(t, counterText, s)
	s.set("ERR?", `-350,"Queue overflow"`)
	require.ErrorIs(t, c.SelectInput(t.Context(), "A"), drivers.ErrInstrument)
	require.Len(t, f.takeSent(), 1+50)
	_, err := c.(drivers.ErrorQueue).Errors(t.Context())
	require.ErrorContains(t, err, "did not end after 50 entries")
}

func TestCounterWithoutEndingMeasurementIsAReadingIfItAnswers(t *testing.T) {
	s := counterState()
	c, f := openCounter(t, counterText, s)
	require.NoError(t, c.SelectInput(t.Context(), "B"))
	f.takeSent()
	s.set("READ?") // nothing
	got, err := c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, drivers.NoReply, got.Mark)
	require.Empty(t, got.Text)
	once := []string{"READ?", "(clear)", "ABOR", "*IDN?", "ERR?",
		"*RST", "ERR?", "ROUT 2", "ERR?", "APER 0.010", "ERR?", "APER?"}
	require.Equal(t, append(once, once...), f.takeSent(), "it is set up as it was; one lost question is no silence")
	s.set("READ?", "5E6")
	got, err = c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, "5E6", got.Text)
}

func TestCounterThatIsSilentAltogetherIsALinkError(t *testing.T) {
	s := counterState()
	c, _ := openCounter(t, counterText, s)
	s.set("READ?")
	s.set("*IDN?")
	_, err := c.Read(t.Context())
	require.ErrorIs(t, err, link.ErrTimeout)
	var named *drivers.Error
	require.ErrorAs(t, err, &named)
}

func TestCounterNeverTakesALateReplyForAReading(t *testing.T) {
	deaf := edit(t, counterText, `commands = ["ABOR"]`, `commands = ["NOP"]`) // an abort that does nothing
	none := edit(t, counterText, "[abort]\ncommands = [\"ABOR\"]\n", "")
	for _, row := range []struct {
		name  string
		text  string
		talks bool          // the counter answers others while it measures
		after time.Duration // the deadline is 10 ms · 1.1 + 120 ms
	}{
		{"just late", counterText, false, 133 * time.Millisecond},
		{"while the identity is asked", counterText, false, 180 * time.Millisecond},
		{"long after", counterText, false, 300 * time.Millisecond},
		{"just late, abort does nothing", deaf, false, 133 * time.Millisecond},
		{"while the identity is asked, abort does nothing", deaf, false, 180 * time.Millisecond},
		{"long after, abort does nothing", deaf, false, 300 * time.Millisecond},
		{"just late, no abort", none, true, 133 * time.Millisecond},
		{"a gate later, no abort", none, true, 200 * time.Millisecond},
		{"while it waits, no abort", none, true, 265 * time.Millisecond},
		{"long after, abort", counterText, true, 300 * time.Millisecond},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel() // they mostly wait
			s := counterState()
			c, f := openCounter(t, row.text, s)
			f.talks = row.talks
			s.setLate("READ?", answer{"666", row.after})
			got, err := c.Read(t.Context())
			if err == nil && got.Text != "666" { // on a busy machine it may still be in time
				require.Equal(t, drivers.NoReply, got.Mark)
			}
			s.setLate("READ?", answer{"10000000.0", 11 * time.Millisecond})
			for range 20 {
				got, err := c.Read(t.Context())
				if err == nil && got.Mark == drivers.None {
					require.Equal(t, "10000000.0", got.Text, "a late answer was taken; sent %q", f.takeSent())
				}
			}
			require.Eventually(t, func() bool {
				got, err := c.Read(t.Context())
				return err == nil && got.Text == "10000000.0"
			}, 5*time.Second, time.Millisecond, "it comes back")
		})
	}
}

func TestCounterThatSendsALineTooManyIsFoundOut(t *testing.T) {
	s := counterState()
	c, _ := openCounter(t, counterText, s)
	s.set("ROSC?", "EXT", "777") // the second would answer the next question
	_, err := c.(drivers.ReferenceReporter).Reference(t.Context())
	require.NoError(t, err)
	s.set("ROSC?", "EXT")
	got, err := c.Read(t.Context())
	if err == nil {
		require.NotEqual(t, "777", got.Text, "an extra line was taken for a reading")
	}
}

func TestCounterRecoversByItselfAfterAnUnreadableAnswer(t *testing.T) {
	s := counterState()
	c, f := openCounter(t, counterText, s)
	s.set("READ?", "garbage")
	_, err := c.Read(t.Context())
	require.ErrorIs(t, err, drivers.ErrUnreadable)
	s.set("READ?", "1E6")
	f.takeSent()
	got, err := c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, "1E6", got.Text)
	require.Equal(t, "(clear)", f.takeSent()[0])
}

func TestCounterThatComesBackOtherThanItWasIsAnError(t *testing.T) {
	s := counterState()
	c, _ := openCounter(t, counterText, s)
	s.set("APER?", "0.1")
	err := c.Recover(t.Context())
	require.ErrorContains(t, err, "after recovery the gate is 100 ms, before it was 10 ms")
	s.set("*IDN?", "Example Works (invented),OTHER,1,0")
	require.ErrorIs(t, c.Recover(t.Context()), link.ErrTimeout, "another instrument is not taken for this one")
}

func TestCounterWithoutIdentityWaitsLongerThanItsLongestGate(t *testing.T) {
	text := edit(t, counterText, "[identify]\nquery = \"*IDN?\"\n", "", "[errors]\nquery = \"ERR?\"\n", "",
		`query = "APER?"`, `allowed = ["10 ms", "100 ms"]`)
	s := counterState()
	c, f := openCounter(t, text, s)
	s.setLate("READ?", answer{"666", 400 * time.Millisecond})
	_, err := c.Read(t.Context())
	require.ErrorIs(t, err, link.ErrTimeout, "nothing shows that it still answers")
	s.set("READ?", "1E6")
	got, err := c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, "1E6", got.Text)
	require.NotContains(t, f.takeSent(), "*IDN?")
	id, err := c.Identify(t.Context())
	require.NoError(t, err)
	require.False(t, id.Stated)
}

func TestCounterEndsWithItsContext(t *testing.T) {
	s := counterState()
	c, _ := openCounter(t, edit(t, counterText, `margin = "120 ms"`, `margin = "1 h"`), s)
	s.set("READ?")
	ctx, cancel := context.WithTimeout(t.Context(), 60*time.Millisecond)
	defer cancel()
	_, err := c.Read(ctx)
	require.ErrorIs(t, err, context.DeadlineExceeded, "the caller's deadline is no silence of the counter")
	s.set("READ?", "1E6")
	got, err := c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, "1E6", got.Text)
}

func TestCounterGates(t *testing.T) {
	coded := edit(t, counterText, `commands = ["APER {seconds}"]`, `commands = ["GATE {code}"]
codes = { "10 ms" = "1", "100 ms" = "2", "1 s" = "3" }`)
	for _, row := range []struct{ name, text, ask, answer, sent, got, mistake string }{
		{"seconds", counterText, "100 ms", "+1.0E-1", "APER 0.100", "100 ms", ""},
		{"other than asked", counterText, "3 s", "2.5", "APER 3", "2.5 s", ""},
		{"unit", edit(t, counterText, `query = "APER?"`, "query = \"APER?\"\nreply = { unit = \"ms\", prefix = [\"G \"], suffix = [\" ms\", \"ms\"] }"),
			"1 s", "G 1000 ms", "APER 1", "1 s", ""},
		{"prefix missing", edit(t, counterText, `query = "APER?"`, "query = \"APER?\"\nreply = { prefix = [\"G \"] }"),
			"1 s", "1000", "APER 1", "", `"1000" does not begin with "G "`},
		{"zero", counterText, "1 s", "0", "APER 1", "", "not above zero"},
		{"marker", counterText, "1 s", "9.91E37", "APER 1", "", "where a setting was asked for"},
		{"code", coded, "1 s", "03", "GATE 3", "1 s", ""},
		{"code of another", coded, "1 s", "2", "GATE 3", "100 ms", ""},
		{"unknown code", coded, "1 s", "9", "GATE 3", "", `"9" is the code of no gate time`},
		{"gate it has not", coded, "2 s", "3", "", "", "no such gate time; it has 10 ms, 100 ms, 1 s"},
		{"negative", counterText, "-1 s", "1", "", "", "no gate time"},
		{"fixed", edit(t, counterText, "commands = [\"APER {seconds}\"]\nquery = \"APER?\"", `allowed = ["10 ms"]`), "10 ms", "", "", "10 ms", ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := counterState()
			s.set("APER?", row.answer)
			f := &fake{far: s.far}
			c, err := load(t, row.text).OpenCounter(t.Context(), profile.Opening{Name: "unit", Link: f})
			require.NoError(t, err)
			f.takeSent()
			got, err := c.SetGate(t.Context(), quantity.MustParse[quantity.Second](row.ask))
			if row.sent != "" {
				require.Equal(t, row.sent, f.takeSent()[0])
			}
			if row.mistake != "" {
				require.ErrorContains(t, err, row.mistake)
				return
			}
			require.NoError(t, err)
			require.Zero(t, got.Cmp(quantity.MustParse[quantity.Second](row.got)), "asked %s, answer %q: got %s, want %s", row.ask, row.answer, got, row.got)
		})
	}
}

func TestCounterForgetsItsSettingsInASelfTest(t *testing.T) {
	s := counterState()
	c, _ := openCounter(t, counterText, s)
	text, passed, err := c.(drivers.SelfTester).SelfTest(t.Context())
	require.NoError(t, err)
	require.Equal(t, "0", text)
	require.True(t, passed)
	_, err = c.Read(t.Context())
	require.ErrorContains(t, err, "no gate time is set")
	s.set("*TST?", "17")
	text, passed, err = c.(drivers.SelfTester).SelfTest(t.Context())
	require.NoError(t, err)
	require.Equal(t, "17", text)
	require.False(t, passed)
}

func TestCounterAbilitiesAreThoseOfItsProfile(t *testing.T) {
	parts := []struct{ name, text string }{
		{"reference", "[reference]\nquery = \"ROSC?\"\nmap = { INT = \"own\", EXT = \"external\" }\n"},
		{"errors", "[errors]\nquery = \"ERR?\"\n"},
		{"self_test", "[self_test]\nquery = \"*TST?\"\npass = [\"0\"]\n"},
	}
	for set := range 8 {
		text, want := counterText, [3]bool{}
		for i, part := range parts {
			want[i] = set&(1<<i) != 0
			if !want[i] {
				text = edit(t, text, part.text, "")
			}
		}
		c, _ := openCounter(t, text, counterState())
		_, reference := c.(drivers.ReferenceReporter)
		_, errs := c.(drivers.ErrorQueue)
		_, test := c.(drivers.SelfTester)
		_, lock := c.(drivers.LockReporter)
		require.Equal(t, want, [3]bool{reference, errs, test})
		require.False(t, lock)
		if reference {
			which, err := c.(drivers.ReferenceReporter).Reference(t.Context())
			require.NoError(t, err)
			require.Equal(t, "own", which)
		}
	}
}

func TestCounterCloses(t *testing.T) {
	c, f := openCounter(t, counterText, counterState())
	require.NoError(t, c.Close())
	require.NoError(t, c.Close())
	require.Equal(t, 1, f.closed)
	_, err := c.Read(t.Context())
	require.ErrorIs(t, err, link.ErrClosed)
}

func TestCounterOnABrokenLinkTellsTheLinkError(t *testing.T) {
	broken := errors.New("cable pulled")
	c, f := openCounter(t, counterText, counterState())
	f.mutex.Lock()
	f.dead = broken
	f.mutex.Unlock()
	_, err := c.Read(t.Context())
	require.ErrorIs(t, err, broken)
	require.ErrorIs(t, c.Recover(t.Context()), broken)
	f.mutex.Lock()
	f.dead = nil
	f.mutex.Unlock()
	require.NoError(t, c.Recover(t.Context()))
}
