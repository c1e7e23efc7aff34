package manual_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/manual"
	"bandproof/drivers/virtual"
	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

func hz(text string) quantity.Frequency      { return quantity.MustParse[quantity.Hertz](text) }
func duration(text string) quantity.Duration { return quantity.MustParse[quantity.Second](text) }

// script is a person who gives answers in order and then is gone.
type script struct {
	answers []string
	asked   []manual.Question
	told    []string
}

func (*script) Name() string { return "A. Example (invented)" }

func (s *script) Ask(ctx context.Context, q manual.Question) (string, error) {
	s.asked = append(s.asked, q)
	if err := ctx.Err(); err != nil {
		return "", err
	}
	if len(s.answers) == 0 {
		return "", fmt.Errorf("%w: gone home", drivers.ErrNoOperator)
	}
	a := s.answers[0]
	s.answers = s.answers[1:]
	return a, nil
}

func (s *script) Tell(text string) { s.told = append(s.told, text) }

// wrong lists what looked wrong, in order.
func (s *script) wrong() (list []string) {
	for _, q := range s.asked {
		if q.Wrong != "" {
			list = append(list, q.Wrong)
		}
	}
	return list
}

// limit is an interlock that passes levels up to a ceiling in dBm.
type limit float64

func (l limit) Permit(_ string, level quantity.Level) error {
	if level.DBm(quantity.Dbm50()) > float64(l) {
		return fmt.Errorf("%w: %s", drivers.ErrInterlock, level)
	}
	return nil
}

var panel = manual.Panel{Unit: "MHz", Step: hz("1 Hz"), RFOff: "key RF", Inputs: map[string]string{"A": "CHANNEL A"},
	Gates: []manual.Gate{{Time: duration("1 s"), Position: "1 s", Resolution: hz("1 Hz")}, {Time: duration("10 s")}}}

func counter(t *testing.T, p *script) (drivers.Counter, *virtual.InstantClock) {
	t.Helper()
	clock := virtual.NewInstantClock()
	c, err := manual.OpenCounter(manual.Opening{Name: "counter", Panel: panel, Person: p, Clock: clock})
	require.NoError(t, err)
	p.answers = append([]string{"", ""}, p.answers...)
	require.NoError(t, c.SelectInput(t.Context(), "A"))
	got, err := c.SetGate(t.Context(), duration("1 s"))
	require.NoError(t, err)
	require.Equal(t, "1 s", got.String())
	return c, clock
}

func exact(text string) quantity.Exact { return hz(text).Exact() }

// tenMHz is what the runner would tell: a 10 MHz signal, limit 11 Hz.
var tenMHz = drivers.Expectation{Frequency: hz("10 MHz"), Tolerance: exact("110 Hz"), Scatter: exact("2 Hz"), Resolution: exact("1 Hz"),
	Input: "A", Range: [2]quantity.Frequency{hz("10 Hz"), hz("120 MHz")}}

func TestEntriesThatLookWrongAreAskedForAgain(t *testing.T) {
	for _, c := range []struct {
		name    string
		answers []string
		wrong   string // of the first answer; "" where it is taken
		text    string // taken in the end
		twice   bool
	}{
		{"as the display shows it", []string{"10.000 003"}, "", "10.000 003", false},
		{"with its unit", []string{"10000.003 kHz"}, "", "10000.003 kHz", false},
		{"out of tolerance is no slip", []string{"10.000 050"}, "", "10.000 050", false},
		{"a decade low", []string{"1.000 000 3", "10.000 003"}, "a tenth of", "10.000 003", false},
		{"a decade high", []string{"100.000 03", "10.000 003"}, "ten times", "10.000 003", false},
		{"kilohertz taken for megahertz", []string{"10000.003", "10.000 003"}, "1000 times", "10.000 003", false},
		{"hertz taken for megahertz", []string{"10000003", "10000003 Hz"}, "1000000 times", "10000003 Hz", false},
		{"half", []string{"5.000 001", "10.000 003"}, "half", "10.000 003", false},
		{"half, and so it is", []string{"5.000 001", "5.000 001"}, "half", "5.000 001", true},
		{"insisted on in other words", []string{"5.000 001", "5000001 Hz"}, "half", "5000001 Hz", true},
		{"twice", []string{"20.000 006", "20.000 006"}, "twice", "20.000 006", true},
		{"digits swapped", []string{"10.003 000", "10.000 003"}, "lies far from", "10.000 003", false},
		{"neighbours swapped", []string{"01.000 003", "10.000 003"}, "a tenth", "10.000 003", false},
		{"outside the band", []string{"500.000 003", "10.000 003"}, "outside the range of input A", "10.000 003", false},
		{"digits left out", []string{"10.0", "10.000 000"}, "fewer digits than gate 1 s gives", "10.000 000", false},
		{"a digit too many", []string{"10.000 003 0", "10.000 003"}, "more digits than the display shows", "10.000 003", false},
		{"decimal comma", []string{"10,000003", "10.000003"}, "decimal comma", "10.000003", false},
		{"negative", []string{"-10.000003", "10.000003"}, "negative", "10.000003", false},
		{"no number", []string{"ten", "10.000003"}, "does not begin with a number", "10.000003", false},
		{"empty", []string{"", "10.000003"}, "is empty", "10.000003", false},
		{"a new mistake is no insisting", []string{"1.000 000 3", "100.000 03", "10.000 003"}, "a tenth", "10.000 003", false},
		{"another number of digits is no insisting", []string{"5.0", "5.000 000", "5.000 000"}, "half", "5.000 000", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := &script{answers: c.answers}
			x, _ := counter(t, p)
			x.(drivers.Expecter).Expect(tenMHz)
			r, err := x.Read(t.Context())
			require.NoError(t, err)
			require.Equal(t, c.text, r.Text)
			require.Equal(t, c.twice, r.Twice)
			require.Equal(t, p.Name(), r.By)
			require.Empty(t, p.answers, "all answers were needed")
			if c.wrong == "" {
				require.Empty(t, p.wrong())
				require.Empty(t, r.Questioned)
				return
			}
			require.Contains(t, p.wrong()[0], c.wrong)
			for _, q := range r.Questioned {
				require.NotEmpty(t, q.Text)
				require.NotEmpty(t, q.Why)
			}
		})
	}
}

func TestMarks(t *testing.T) {
	for text, mark := range map[string]drivers.Mark{"-": drivers.NoSignal, "none": drivers.NoSignal, "No Count": drivers.NoSignal, "\u2212": drivers.NoSignal,
		"over": drivers.OverRange, "OVERFLOW": drivers.OverRange} {
		p := &script{answers: []string{text}}
		c, _ := counter(t, p)
		c.(drivers.Expecter).Expect(tenMHz)
		r, err := c.Read(t.Context())
		require.NoError(t, err, text)
		require.Equal(t, mark, r.Mark, text)
		require.Equal(t, text, r.Text)
	}
}

// A reading that differs from the one before by more than a steady signal
// explains is a slip at one of them.
func TestReadingsAreComparedWithEachOther(t *testing.T) {
	p := &script{answers: []string{"10.000 003", "10.000 030", "10.000 004", "-", "10.000 003"}}
	c, _ := counter(t, p)
	c.(drivers.Expecter).Expect(tenMHz)
	for _, want := range []string{"10.000 003", "10.000 004", "-", "10.000 003"} {
		r, err := c.Read(t.Context())
		require.NoError(t, err)
		require.Equal(t, want, r.Text)
	}
	require.Len(t, p.wrong(), 1)
	require.Contains(t, p.wrong()[0], "27 Hz from the reading before")
}

// By the time that a reading is questioned the display may show the next count,
// so the person is asked for what it did show: a bad count among good ones must
// not be lost as a slip.
func TestAQuestionedReadingIsOneThatWasShown(t *testing.T) {
	p := &script{answers: []string{"12.345678", "12.345699", "12.345699", "12.345678"}}
	c, _ := counter(t, p)
	c.(drivers.Expecter).Expect(drivers.Expectation{Frequency: hz("12.345678 MHz"), Tolerance: hz("100 Hz").Exact(), Scatter: hz("2 Hz").Exact(),
		Resolution: hz("1 Hz").Exact(), Input: "A", Range: [2]quantity.Frequency{hz("10 Hz"), hz("120 MHz")}})
	for range 2 {
		_, err := c.Read(t.Context())
		require.NoError(t, err)
	}
	require.Len(t, p.wrong(), 1)
	require.Contains(t, p.wrong()[0], "if the display did show it, enter the same again, whatever it shows by now")
}

// What was insisted on once at a setting is not questioned at each reading.
func TestInsistingHoldsForTheSetting(t *testing.T) {
	p := &script{answers: []string{"5.000 001", "5.000 001", "5.000 002", "5.000 001", "5.000 001", "5.000 001"}}
	c, _ := counter(t, p)
	c.(drivers.Expecter).Expect(tenMHz)
	for range 3 {
		_, err := c.Read(t.Context())
		require.NoError(t, err)
	}
	require.Len(t, p.wrong(), 1)
	c.(drivers.Expecter).Expect(tenMHz) // set anew: questioned anew
	r, err := c.Read(t.Context())
	require.NoError(t, err)
	require.True(t, r.Twice)
}

// The display must have counted anew: two gates after a change, one after a
// reading; who waits long is told.
func TestWaitsForANewCount(t *testing.T) {
	p := &script{answers: []string{"10.000 000", "10.000 000", "", "10.000 000 0"}}
	c, clock := counter(t, p)
	c.(drivers.Expecter).Expect(tenMHz)
	start := clock.Now()
	_, err := c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, 2*time.Second, clock.Now().Sub(start))
	_, err = c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, 3*time.Second, clock.Now().Sub(start))
	require.Empty(t, p.told)
	_, err = c.SetGate(t.Context(), duration("10 s"))
	require.NoError(t, err)
	c.(drivers.Expecter).Expect(tenMHz)
	_, err = c.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, []string{"counter: wait 20s, the display must count anew"}, p.told)
}

func TestHeldReadingIsAskedFor(t *testing.T) {
	p := &script{answers: []string{"10.000 003", "same", "-", "10.000 003", "0.000 001"}}
	c, _ := counter(t, p)
	c.(drivers.Expecter).Expect(tenMHz)
	_, err := c.Read(t.Context())
	require.NoError(t, err)
	off := tenMHz
	off.Frequency = quantity.Frequency{}
	c.(drivers.Expecter).Expect(off)
	for _, want := range []string{"10.000003 MHz", "-", "10.000003 MHz", "1 Hz"} {
		r, err := c.Read(t.Context())
		require.NoError(t, err)
		if want == "-" {
			require.Equal(t, drivers.NoSignal, r.Mark)
			continue
		}
		require.Equal(t, want, r.Frequency.String())
	}
	require.Contains(t, p.asked[len(p.asked)-1].Answer, `"same" where it still shows 10.000 003 MHz`)
	require.Empty(t, p.wrong(), "with RF off anything may be shown")
}

func TestCounterRefusesWhatThePanelHasNot(t *testing.T) {
	p := &script{}
	c, _ := counter(t, p)
	require.ErrorContains(t, c.SelectInput(t.Context(), "B"), "the bench file knows A")
	_, err := c.SetGate(t.Context(), duration("3 s"))
	require.ErrorContains(t, err, "the bench file knows 1 s, 10 s")
	fresh, err := manual.OpenCounter(manual.Opening{Name: "counter", Panel: panel, Person: p})
	require.NoError(t, err)
	_, err = fresh.Read(t.Context())
	require.ErrorContains(t, err, "no gate time is set")
}

func TestNobodyThere(t *testing.T) {
	p := &script{}
	c, _ := counter(t, p)
	_, err := c.Read(t.Context())
	require.ErrorIs(t, err, drivers.ErrNoOperator)
	var where *drivers.Error
	require.ErrorAs(t, err, &where)
	require.Equal(t, "counter", where.Name)
	_, err = manual.OpenCounter(manual.Opening{Name: "counter"})
	require.ErrorIs(t, err, drivers.ErrNoOperator)
	_, err = manual.OpenSource(t.Context(), manual.Opening{Name: "LF"})
	require.ErrorIs(t, err, drivers.ErrNoOperator)
}

// deaf waits until the context ends.
type deaf struct{ script }

func (*deaf) Ask(ctx context.Context, _ manual.Question) (string, error) {
	<-ctx.Done()
	return "", ctx.Err()
}

func TestWaitingEnds(t *testing.T) {
	t.Run("with the panel's own time: nobody is there", func(t *testing.T) {
		x := panel
		x.Wait = 10 * time.Millisecond
		c, err := manual.OpenCounter(manual.Opening{Name: "counter", Panel: x, Person: &deaf{}})
		require.NoError(t, err)
		require.ErrorIs(t, c.SelectInput(t.Context(), "A"), drivers.ErrNoOperator)
	})
	t.Run("with the context: not because nobody is there", func(t *testing.T) {
		c, err := manual.OpenCounter(manual.Opening{Name: "counter", Panel: panel, Person: &deaf{}})
		require.NoError(t, err)
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
		defer cancel()
		err = c.SelectInput(ctx, "A")
		require.ErrorIs(t, err, context.DeadlineExceeded)
		require.False(t, errors.Is(err, drivers.ErrNoOperator))
	})
}

func source(t *testing.T, p *script, l drivers.Interlock, x manual.Panel) drivers.Source {
	t.Helper()
	s, err := manual.OpenSource(t.Context(), manual.Opening{Name: "LF", Panel: x, Person: p, Interlock: l, Clock: virtual.NewInstantClock()})
	require.NoError(t, err)
	return s
}

func asked(p *script) (list []string) {
	for _, q := range p.asked {
		list = append(list, q.Do)
	}
	return list
}

func TestSource(t *testing.T) {
	p := &script{answers: []string{"", "yes", "OFF", "", "", "", "12.345", "225.000 000", "off"}}
	s := source(t, p, limit(0), panel)
	require.Equal(t, []string{"RF off: key RF", "RF off: key RF", "RF off: key RF"}, asked(p), "RF off comes first, and only its own word is taken for it")
	ctx := t.Context()
	require.NoError(t, s.RFOff(ctx))
	require.Len(t, p.asked, 3, "what was seen is not asked for again")
	require.ErrorContains(t, s.RFOn(ctx), "no level is set")
	f, err := s.SetFrequency(ctx, hz("10 MHz"))
	require.NoError(t, err)
	require.Equal(t, "10 MHz", f.String())
	l, err := s.SetLevel(ctx, quantity.MustLevel("-19 dBm"))
	require.NoError(t, err)
	require.Equal(t, "-19 dBm", l.String())
	require.NoError(t, s.RFOn(ctx))
	f, err = s.SetFrequency(ctx, hz("225 MHz"))
	require.NoError(t, err)
	require.Equal(t, "225000000", f.Plain())
	_, err = s.SetLevel(ctx, quantity.MustLevel("-19 dBm"))
	require.NoError(t, err)
	require.NoError(t, s.Close())
	require.NoError(t, s.Close())
	require.Equal(t, []string{"set 10.000 000 MHz", "set the level to -19 dBm", "RF on", "set 225.000 000 MHz", "set 225.000 000 MHz", "RF off: key RF"}, asked(p)[3:])
	require.Equal(t, "RF is on: the level stays at -19 dBm", p.asked[6].Caution)
	require.Contains(t, p.asked[7].Wrong, "12.345 MHz is not what is wanted")
}

func TestASourceThatShowsSomethingElseSaysSo(t *testing.T) {
	p := &script{answers: []string{"off", "225.000 010", "225.000 010", "-18.5", "-18.5 dBm"}}
	s := source(t, p, limit(0), panel)
	f, err := s.SetFrequency(t.Context(), hz("225 MHz"))
	require.NoError(t, err)
	require.Equal(t, "225000010", f.Plain(), "insisted on: it is what the source makes")
	l, err := s.SetLevel(t.Context(), quantity.MustLevel("-19 dBm"))
	require.NoError(t, err)
	require.Equal(t, "-18.5 dBm", l.String())
}

func TestInterlockStandsBeforeThePrompt(t *testing.T) {
	t.Run("a level that it refuses is never shown", func(t *testing.T) {
		p := &script{answers: []string{"off"}}
		s := source(t, p, limit(-20), panel)
		_, err := s.SetLevel(t.Context(), quantity.MustLevel("-10 dBm"))
		require.ErrorIs(t, err, drivers.ErrInterlock)
		for _, q := range p.asked {
			require.NotContains(t, fmt.Sprint(q), "-10 dBm")
		}
	})
	t.Run("a level on the display that it refuses is never taken", func(t *testing.T) {
		p := &script{answers: []string{"off", "", "", "", "19", "19", "off"}}
		s := source(t, p, limit(0), panel)
		_, err := s.SetFrequency(t.Context(), hz("10 MHz"))
		require.NoError(t, err)
		_, err = s.SetLevel(t.Context(), quantity.MustLevel("-30 dBm"))
		require.NoError(t, err)
		require.NoError(t, s.RFOn(t.Context()))
		_, err = s.SetLevel(t.Context(), quantity.MustLevel("-19 dBm"))
		require.ErrorIs(t, err, drivers.ErrInterlock)
		require.Contains(t, p.asked[5].Wrong, "turn it down at once")
		require.Equal(t, "RF off: key RF", p.asked[6].Do, "RF goes off before anything else")
		require.ErrorContains(t, s.RFOn(t.Context()), "no level is set")
	})
	t.Run("none at all refuses all", func(t *testing.T) {
		s := source(t, &script{answers: []string{"off"}}, nil, panel)
		_, err := s.SetLevel(t.Context(), quantity.MustLevel("-99 dBm"))
		require.ErrorIs(t, err, drivers.ErrInterlock)
	})
}

func TestLampsGiveAbilities(t *testing.T) {
	plain := source(t, &script{answers: []string{"off"}}, limit(0), panel)
	_, lock := plain.(drivers.LockReporter)
	_, reference := plain.(drivers.ReferenceReporter)
	require.False(t, lock || reference, "no lamp, no ability")
	x := panel
	x.LockLamp, x.ReferenceLamp = "LOCK", "EXT REF"
	s := source(t, &script{answers: []string{"off", "maybe", "no", "yes"}}, limit(0), x)
	locked, err := s.(drivers.LockReporter).Locked(t.Context())
	require.NoError(t, err)
	require.False(t, locked)
	got, err := s.(drivers.ReferenceReporter).Reference(t.Context())
	require.NoError(t, err)
	require.Equal(t, "external", got)
	_, hand := s.(drivers.ByHand)
	require.True(t, hand)
}

func TestNobodyAtTheSource(t *testing.T) {
	p := &script{}
	s := source(t, p, limit(0), panel)
	require.ErrorIs(t, s.RFOff(t.Context()), drivers.ErrNoOperator, "not known to be off: asked again")
	require.ErrorIs(t, s.Recover(t.Context()), drivers.ErrNoOperator)
	require.ErrorIs(t, s.Close(), drivers.ErrNoOperator)
	require.False(t, strings.Contains(strings.Join(asked(p), ""), "set"), "nothing but RF off was asked for")
}
