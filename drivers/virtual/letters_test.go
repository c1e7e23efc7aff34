package virtual

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func lettersDesk(t *testing.T, edit func(*Scenario)) *desk {
	return newDesk(t, Options{Follow: true}, func(s *Scenario) {
		s.Counter.Link.Dialect = dialectLetters
		for i := range s.Sources {
			s.Sources[i].Link.Dialect = dialectLetters
		}
		if edit != nil {
			edit(s)
		}
	})
}

// await lets a source carry out what it was told: it answers nothing.
func (d *desk) await(source string, done func(s *source) bool) {
	d.t.Helper()
	require.Eventually(d.t, func() bool {
		d.b.mu.Lock()
		defer d.b.mu.Unlock()
		return done(d.b.sourceNamed(source))
	}, 20*time.Second, 2*time.Millisecond)
}

func TestLettersReadingHasOneForm(t *testing.T) {
	for _, row := range []struct {
		name string
		edit func(*Scenario)
		want string
	}{
		{"zeros", nil, `^F 0+9999998\.E\+0$|^F 0+9999999\.E\+0$|^F 0+10000000\.E\+0$`},
		{"suppressed zeros", func(s *Scenario) { s.Counter.Link.Suppress = true }, `^F +(999999[89]|10000000)\.E\+0$`},
		{"decimal comma", func(s *Scenario) { s.Counter.Link.Comma = true }, `^F 0+(999999[89]|10000000),E\+0$`},
	} {
		t.Run(row.name, func(t *testing.T) {
			d := lettersDesk(t, row.edit)
			d.lf.write("FR10MZ AP-10DM R1")
			d.await("LF", func(s *source) bool { return s.rf })
			got := d.unit.ask("IA G3 T")
			require.Regexp(t, row.want, got)
			require.Len(t, got, 23)
			d.lf.write("R0")
			d.await("LF", func(s *source) bool { return !s.rf })
			none := d.unit.ask("T")
			require.Len(t, none, 23)
			require.Empty(t, strings.Trim(none, "F0 .,E+"))
		})
	}
}

func TestLettersMarkOverRangeAndNone(t *testing.T) {
	d := lettersDesk(t, func(s *Scenario) { s.Counter.NoSignal = noSignalNaN })
	require.Equal(t, "N 00000000000000000.E+0"[:1], d.unit.ask("T")[:1])
	require.NoError(t, d.b.SetFaults([]Fault{{Name: "overload-at-low-level", Amount: "60 dB"}}))
	d.lf.write("FR10MZAP-10DMR1")
	d.await("LF", func(s *source) bool { return s.rf })
	got := d.unit.ask("T")
	require.Equal(t, "O", got[:1])
	require.Len(t, got, 23)
}

// What is not understood ends the message and shows in the status byte.
func TestLettersNotUnderstoodShowInTheStatusByte(t *testing.T) {
	d := lettersDesk(t, nil)
	k, err := d.b.Talk("counter")
	require.NoError(t, err)
	defer k.Close()
	require.Zero(t, k.StatusByte())
	for _, message := range []string{"XX", "G9", "G", "ID", "G0.5", "G3MZ"} {
		k.Receive([]byte("SR"))
		require.Eventually(t, func() bool { return k.StatusByte() == 0 }, 20*time.Second, 2*time.Millisecond, message)
		k.Receive([]byte(message + " T"))
		require.Eventually(t, func() bool { return k.StatusByte() == lettersError }, 20*time.Second, 2*time.Millisecond, message)
	}
	k.Receive([]byte("SR"))
	k.Trigger()
	require.Eventually(t, func() bool { return k.StatusByte() == lettersReady }, 20*time.Second, 2*time.Millisecond)
	for _, message := range []string{"FR1TZ", "FR", "AP-10", "FR300MZ", "AP90DM", "Q"} {
		d.lf.write("SR")
		d.lf.write("%s", message)
		d.await("LF", func(s *source) bool { return len(s.status.queue) == 1 })
	}
}

func TestTalkOnlySaysItselfAndHearsNothing(t *testing.T) {
	b := newBench(t, Options{Follow: true}, func(s *Scenario) { s.Counter.Link.Dialect = dialectTalks })
	c := dial(t, b, "counter")
	for range 3 {
		require.Len(t, c.read(), 23)
	}
	_, err := b.Talk("counter")
	require.ErrorContains(t, err, "it only talks")
}

func TestScenarioChecksDialects(t *testing.T) {
	text := string(DefaultScenarioText())
	for old, row := range map[string][2]string{
		"[counter.link]\n":  {"[counter.link]\ndialect = \"morse\"\n", `counter.link.dialect: is "morse"; expected one of scpi, letters, talk-only`},
		"[source.link]\n":   {"[source.link]\ndialect = \"talk-only\"\n", "only the counter can talk by itself"},
		"[counter.link]":    {"[counter.link]\ncomma = true", "belong to the dialects letters and talk-only"},
		"[counter.link]\nt": {"[counter.link]\ndialect = \"letters\"\nnumbers = \"nr3\"\nt", "has no meaning in dialect letters"},
	} {
		_, err := LoadScenario("s.toml", []byte(strings.Replace(text, old, row[0], 1)))
		require.ErrorContains(t, err, row[1])
	}
}

func FuzzLetters(f *testing.F) {
	for _, seed := range []string{"IA G3 T", "FR10MZAP-10DMR1", "*TRG", "FR1e9HZ", "G", ""} {
		f.Add(seed)
	}
	codes := append((&counter{}).letterCodes(), (&source{}).letterCodes()...)
	f.Fuzz(func(t *testing.T, text string) {
		for rest, ok := text, true; ok && rest != ""; {
			before := len(rest)
			var l letter
			if l, rest, ok = nextLetter(codes, rest); ok && len(rest) >= before {
				t.Fatalf("%q: %+v takes nothing", text, l)
			}
		}
	})
}
