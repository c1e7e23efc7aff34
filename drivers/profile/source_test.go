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

func TestSourceSaysRFOffFirst(t *testing.T) {
	f := &fake{far: sourceState().far}
	_, err := load(t, sourceText).OpenSource(t.Context(), profile.Opening{Name: "gen", Link: f})
	require.NoError(t, err)
	require.Equal(t, []string{"OUTP 0", "*IDN?", "*IDN?", "ERR?", "OUTP 0", "ERR?", "OUTP?",
		"*RST", "ERR?", "OUTP 0", "ERR?", "OUTP?"}, f.takeSent())
}

func TestSourceThatStaysOnDoesNotOpen(t *testing.T) {
	s := sourceState()
	s.set("OUTP?", "1")
	f := &fake{far: s.far}
	_, err := load(t, sourceText).OpenSource(t.Context(), profile.Opening{Name: "gen", Link: f})
	require.ErrorIs(t, err, drivers.ErrInstrument)
	require.ErrorContains(t, err, `ask "OUTP?": instrument reports an error: "1"; expected "0"`)
	require.NotContains(t, f.takeSent(), "*RST")
	require.Equal(t, 1, f.closed)
}

func TestSourceAsksTheInterlockBeforeAnyLevel(t *testing.T) {
	lock := &permit{most: -10}
	g, f := openSource(t, sourceText, sourceState(), lock)
	got, err := g.SetLevel(t.Context(), quantity.MustLevel("-20.0 dBm"))
	require.NoError(t, err)
	require.Equal(t, "-20.0 dBm", got.String())
	require.Equal(t, []string{"POW -20.0", "ERR?", "*OPC?", "POW?"}, f.takeSent())
	_, err = g.SetLevel(t.Context(), quantity.MustLevel("-9.9 dBm"))
	require.ErrorIs(t, err, drivers.ErrInterlock)
	require.ErrorContains(t, err, "gen at FAKE::1::INSTR: set the level to -9.9 dBm: level refused by the interlock: input A would see -9.9 dBm")
	require.Empty(t, f.takeSent(), "nothing is sent")
	require.Equal(t, []string{"gen -20.0 dBm", "gen -9.9 dBm"}, lock.asked)
}

func TestSourceWithoutInterlockRefusesEveryLevel(t *testing.T) {
	g, f := openSource(t, sourceText, sourceState(), nil)
	_, err := g.SetLevel(t.Context(), quantity.MustLevel("-130 dBm"))
	require.ErrorIs(t, err, drivers.ErrInterlock)
	_, err = g.SetLevel(t.Context(), quantity.MustLevel("25 mV"))
	require.ErrorContains(t, err, "set in dBm")
	require.Empty(t, f.takeSent())
}

func TestSourceIsNotSwitchedOnWithoutALevel(t *testing.T) {
	s := sourceState()
	g, f := openSource(t, sourceText, s, &permit{most: 0})
	require.ErrorIs(t, g.RFOn(t.Context()), drivers.ErrInterlock)
	require.Empty(t, f.takeSent())
	_, err := g.SetLevel(t.Context(), quantity.MustLevel("-20 dBm"))
	require.NoError(t, err)
	require.NoError(t, g.RFOn(t.Context()))
	s.set("ERR?", `-222,"Data out of range"`)
	_, err = g.SetLevel(t.Context(), quantity.MustLevel("-30 dBm"))
	require.ErrorIs(t, err, drivers.ErrInstrument)
	f.takeSent()
	require.ErrorIs(t, g.RFOn(t.Context()), drivers.ErrInterlock, "which level is in force is not known")
	require.Empty(t, f.takeSent())
}

func TestSourceThatReportsMoreThanTheInterlockPassesIsSwitchedOff(t *testing.T) {
	s := sourceState()
	g, f := openSource(t, sourceText, s, &permit{most: -20})
	s.set("POW?", "+10.0")
	_, err := g.SetLevel(t.Context(), quantity.MustLevel("-20 dBm"))
	require.ErrorIs(t, err, drivers.ErrInstrument)
	require.NotErrorIs(t, err, drivers.ErrInterlock, "something was sent")
	require.Equal(t, []string{"POW -20", "ERR?", "*OPC?", "POW?", "OUTP 0", "ERR?", "OUTP?"}, f.takeSent())
}

func TestSourceSetsFrequenciesInPlainDecimals(t *testing.T) {
	for _, row := range []struct{ name, commands, ask, answer, sent, got string }{
		{"hertz", "FREQ {hertz}", "1.2 GHz", "1200000000", "FREQ 1200000000", "1.200000000 GHz"},
		{"fraction", "FREQ {hertz}", "10.000000001 Hz", "10.000000001", "FREQ 10.000000001", "10.000000001 Hz"},
		{"kilohertz", "FR{kilohertz}KZ", "225 MHz", "225E6", "FR225000KZ", "225 MHz"},
		{"megahertz", "FR{megahertz}MZ", "1 kHz", "1000.0", "FR0.001MZ", "1.0000 kHz"},
		{"other than asked", "FREQ {hertz}", "1 MHz", "999999.5", "FREQ 1000000", "999.9995 kHz"},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := sourceState()
			s.set("FREQ?", row.answer)
			g, f := openSource(t, edit(t, sourceText, "FREQ {hertz}", row.commands), s, nil)
			got, err := g.SetFrequency(t.Context(), hz(row.ask))
			require.NoError(t, err)
			require.Equal(t, row.sent, f.takeSent()[0])
			require.Equal(t, row.got, got.String(), "asked %s, answer %q", row.ask, row.answer)
		})
	}
}

func TestSourceWaitsUntilItHasSettled(t *testing.T) {
	s := sourceState()
	s.setLate("*OPC?", answer{"1", 150 * time.Millisecond}) // within 10 · 20 ms + 50 ms
	n := &naps{}
	text := edit(t, sourceText, `timeout = "150 ms"`, "timeout = \"150 ms\"\npace = \"1 ms\"", `query = "FREQ?"`, "query = \"FREQ?\"\nwait = \"3 ms\"")
	g, err := load(t, text).OpenSource(t.Context(), profile.Opening{Name: "gen", Link: &fake{far: s.far}, Clock: n})
	require.NoError(t, err)
	n.list = nil
	begin := time.Now()
	_, err = g.SetFrequency(t.Context(), hz("10 MHz"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, time.Since(begin), 150*time.Millisecond)
	ms := time.Millisecond
	require.Equal(t, []time.Duration{ms, 3 * ms, ms, ms, 20 * ms, ms}, n.list, "pace before each message, wait, settling time")
	require.Equal(t, "20 ms", g.Settle().String())

	s.setLate("*OPC?", answer{"1", 20 * time.Second}) // however busy the machine is
	_, err = g.SetFrequency(t.Context(), hz("10 MHz"))
	require.ErrorIs(t, err, link.ErrTimeout, "settling that takes more than ten times the time")
	require.ErrorContains(t, err, "set the frequency to 10 MHz: settle: ")
}

func TestSourceTellsItsLock(t *testing.T) {
	mapped := edit(t, sourceText, "mask = 32", `map = { LOCKED = "locked", "UNLOCKED" = "unlocked" }`)
	inverted := edit(t, sourceText, "mask = 32", "mask = 48\nexpect = 16")
	for _, row := range []struct {
		name, text, answer string
		locked             bool
		mistake            string
	}{
		{"all well", sourceText, "0", true, ""},
		{"bit 5", sourceText, "32", false, ""},
		{"bit 5 and others", sourceText, "+41", false, ""},
		{"others only", sourceText, "9", true, ""},
		{"word", sourceText, "LOCKED", false, "no sum of status bits"},
		{"negative", sourceText, "-1", false, "no sum of status bits"},
		{"map", mapped, " \"locked\"", true, ""},
		{"map, not", mapped, "UNLOCKED", false, ""},
		{"map, unknown", mapped, "MAYBE", false, "known are LOCKED, UNLOCKED"},
		{"expect", inverted, "16", true, ""},
		{"expect, other bit", inverted, "48", false, ""},
		{"expect, none", inverted, "0", false, ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := sourceState()
			s.set("LOCK?", row.answer)
			g, _ := openSource(t, row.text, s, nil)
			got, err := g.(drivers.LockReporter).Locked(t.Context())
			if row.mistake != "" {
				require.ErrorContains(t, err, row.mistake)
				require.ErrorIs(t, err, drivers.ErrUnreadable)
			} else {
				require.NoError(t, err)
			}
			require.Equal(t, row.locked, got, "answer %q", row.answer)
		})
	}
}

func TestSourceRFOffWorksOnALostLinkAndWithAnEndedContext(t *testing.T) {
	s := sourceState()
	g, f := openSource(t, sourceText, s, &permit{})
	s.set("FREQ?")
	_, err := g.SetFrequency(t.Context(), hz("1 MHz"))
	require.ErrorIs(t, err, link.ErrTimeout)
	f.takeSent()
	_, err = g.SetFrequency(t.Context(), hz("1 MHz"))
	require.ErrorContains(t, err, "recover the source and set it anew")
	require.Empty(t, f.takeSent())

	ended, cancel := context.WithCancel(t.Context())
	cancel()
	require.NoError(t, g.RFOff(ended))
	require.Equal(t, []string{"(clear)", "OUTP 0"}, f.takeSent()[:2], "cleared, then RF off before anything else")
	_, err = g.SetFrequency(t.Context(), hz("1 MHz"))
	require.ErrorContains(t, err, "recover the source", "RF off does not make its settings known")
	f.takeSent()

	s.set("FREQ?", "1E6")
	require.NoError(t, g.Recover(t.Context()))
	require.Equal(t, []string{"(clear)", "OUTP 0", "*IDN?", "ERR?", "OUTP 0", "ERR?", "OUTP?",
		"*RST", "ERR?", "OUTP 0", "ERR?", "OUTP?"}, f.takeSent())
	_, err = g.SetFrequency(t.Context(), hz("1 MHz"))
	require.NoError(t, err)
	require.ErrorIs(t, g.RFOn(t.Context()), drivers.ErrInterlock, "the level is forgotten")
}

func TestSourceRFOffEndsWhatIsUnderWay(t *testing.T) {
	s := sourceState()
	g, f := openSource(t, edit(t, sourceText, `margin = "50 ms"`, `margin = "1 h"`), s, nil)
	s.set("*OPC?") // never settles
	done := make(chan error)
	go func() {
		_, err := g.SetFrequency(t.Context(), hz("1 MHz"))
		done <- err
	}()
	require.Eventually(t, func() bool {
		f.mutex.Lock()
		defer f.mutex.Unlock()
		return len(f.sent) > 0 && f.sent[len(f.sent)-1] == "*OPC?"
	}, time.Second, time.Millisecond)
	begin := time.Now()
	require.NoError(t, g.RFOff(t.Context()))
	require.ErrorIs(t, <-done, context.Canceled)
	require.Less(t, time.Since(begin), time.Second)
}

func TestSourceRFOffTriesOnceMoreOnAClearedLink(t *testing.T) {
	s := sourceState()
	g, f := openSource(t, sourceText, s, nil)
	first := true
	f.far = func(message string) []answer {
		if message == "OUTP?" && first {
			first = false
			return []answer{{text: "1"}}
		}
		return s.far(message)
	}
	require.NoError(t, g.RFOff(t.Context()))
	require.Equal(t, []string{"OUTP 0", "ERR?", "OUTP?", "(clear)", "OUTP 0", "*IDN?", "ERR?", "OUTP 0", "ERR?", "OUTP?"}, f.takeSent())
}

func TestSourceRFOffTellsThatItFailed(t *testing.T) {
	broken := errors.New("cable pulled")
	g, f := openSource(t, sourceText, sourceState(), nil)
	f.dead = broken
	err := g.RFOff(t.Context())
	require.ErrorIs(t, err, broken)
	require.ErrorContains(t, err, "gen at FAKE::1::INSTR: RF off: ")
	require.ErrorIs(t, g.Close(), broken)
	require.Equal(t, 1, f.closed, "the link is closed all the same")
}

func TestSourceClosesWithRFOff(t *testing.T) {
	g, f := openSource(t, sourceText, sourceState(), nil)
	require.NoError(t, g.Close())
	require.NoError(t, g.Close())
	require.Equal(t, []string{"OUTP 0", "ERR?", "OUTP?"}, f.takeSent())
	require.Equal(t, 1, f.closed)
}

func TestSourceAbilitiesAreThoseOfItsProfile(t *testing.T) {
	parts := []string{
		"[lock]\nquery = \"LOCK?\"\nmask = 32\n",
		"[reference]\nquery = \"ROSC?\"\nmap = { INT = \"own\", EXT = \"external\" }\n",
		"[errors]\nquery = \"ERR?\"\n",
	}
	for set := range 8 {
		text, want := sourceText, [3]bool{}
		for i, part := range parts {
			want[i] = set&(1<<i) != 0
			if !want[i] {
				text = edit(t, text, part, "")
			}
		}
		g, _ := openSource(t, text, sourceState(), nil)
		_, lock := g.(drivers.LockReporter)
		_, reference := g.(drivers.ReferenceReporter)
		_, errs := g.(drivers.ErrorQueue)
		_, test := g.(drivers.SelfTester)
		require.Equal(t, want, [3]bool{lock, reference, errs})
		require.False(t, test)
	}
}

func TestOpeningAsTheWrongRoleIsRefused(t *testing.T) {
	f := &fake{far: sourceState().far}
	_, err := load(t, sourceText).OpenCounter(t.Context(), profile.Opening{Name: "gen", Link: f})
	require.ErrorContains(t, err, `profile "test-source" describes a source, not a counter`)
	require.Empty(t, f.takeSent())
	_, err = load(t, sourceText).OpenSource(t.Context(), profile.Opening{Name: "gen"})
	require.ErrorContains(t, err, "without a link")
}
