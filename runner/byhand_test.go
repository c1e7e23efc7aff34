package runner_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"bandproof/drivers"
	"bandproof/drivers/manual"
	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// technician has eyes and hands at the virtual bench: reads the counter's
// display and types it, turns the sources' knobs, and makes slips.
type technician struct {
	t       testing.TB
	counter drivers.Counter
	sources map[string]drivers.Source
	slips   *rand.Rand // nil: never one
	rate    float64
	leaves  int // after so many answers; 0: never

	answers int
	shown   drivers.Reading   // on the display at the last look
	read    []drivers.Reading // what it was at each first question
	made    []string          // the slips
}

func (*technician) Name() string { return "A. Example (invented)" }

func (*technician) Tell(string) {}

func (h *technician) Ask(ctx context.Context, q manual.Question) (string, error) {
	if h.answers++; h.leaves > 0 && h.answers > h.leaves {
		return "", fmt.Errorf("%w: gone home", drivers.ErrNoOperator)
	}
	if name, ok := strings.CutPrefix(q.Instrument, "source "); ok {
		return h.turn(ctx, h.sources[name], q)
	}
	if input, ok := strings.CutPrefix(q.Do, "select input "); ok {
		return "", h.counter.SelectInput(ctx, input)
	}
	if gate, ok := strings.CutPrefix(q.Do, "set the gate to "); ok {
		_, err := h.counter.SetGate(ctx, quantity.MustParse[quantity.Second](gate))
		return "", err
	}
	if q.Wrong == "" {
		var err error
		if h.shown, err = h.counter.Read(ctx); err != nil {
			return "", err
		}
		h.read = append(h.read, h.shown)
		if h.slips != nil && h.slips.Float64() < h.rate {
			return h.slip(display(h.shown)), nil
		}
	}
	return display(h.shown), nil
}

// turn does at a source what is asked for.
func (h *technician) turn(ctx context.Context, s drivers.Source, q manual.Question) (string, error) {
	text, _ := strings.CutPrefix(q.Do, "set ")
	switch {
	case strings.HasPrefix(q.Do, "RF off"):
		return "off", s.RFOff(ctx)
	case q.Do == "RF on":
		return "", s.RFOn(ctx)
	case strings.HasPrefix(text, "the level to "):
		_, err := s.SetLevel(ctx, quantity.MustLevel(strings.TrimPrefix(text, "the level to ")))
		return "", err
	}
	f, err := s.SetFrequency(ctx, quantity.MustParse[quantity.Hertz](text))
	if err == nil && h.slips != nil && q.Wrong == "" && h.slips.Float64() < h.rate {
		return f.In("MHz") + "1", nil
	}
	return "", err
}

// display writes what a display in megahertz would show.
func display(r drivers.Reading) string {
	switch {
	case r.Mark == drivers.OverRange:
		return "over"
	case r.Mark != drivers.None:
		return "-"
	}
	return quantity.Group(r.Frequency.In("MHz"))
}

// slip makes one of the mistakes that people make.
func (h *technician) slip(text string) string {
	if text == "-" || text == "over" {
		return text
	}
	digits := strings.ReplaceAll(text, "\u202f", "")
	whole, fraction, _ := strings.Cut(digits, ".")
	wrong := digits
	switch k := h.slips.IntN(6); k {
	case 0:
		wrong = whole + "0" + "." + fraction
	case 1:
		wrong = "0." + whole + fraction
	case 2:
		wrong = digits + " kHz"
	case 3:
		wrong = whole + "," + fraction
	case 4:
		wrong = digits[:len(digits)-1]
	default:
		i := h.slips.IntN(len(digits) - 1)
		b := []byte(digits)
		if b[i] != '.' && b[i+1] != '.' {
			b[i], b[i+1] = b[i+1], b[i]
		}
		wrong = string(b)
	}
	if wrong != digits {
		h.made = append(h.made, wrong+" for "+digits)
	}
	return wrong
}

// handOver takes the instruments' links away: a person works them.
func handOver(r *rig, sources bool) *technician {
	h := &technician{t: r.T, counter: r.Setup.Counter, sources: r.Setup.Sources, rate: 0.3}
	x, err := manual.OpenCounter(manual.Opening{Name: "counter", Panel: manual.Panel{Unit: "MHz"}, Person: h, Clock: r.Clock})
	require.NoError(r.T, err)
	r.Setup.Counter = x
	if !sources {
		return h
	}
	r.Setup.Sources = map[string]drivers.Source{}
	for name := range h.sources {
		spec, _ := r.Setup.Bench.Source(name)
		s, err := manual.OpenSource(r.T.Context(), manual.Opening{Name: name, Panel: manual.Panel{Unit: "MHz", Step: spec.Resolution}, Person: h,
			Interlock: r.Setup.Interlock, Clock: r.Clock})
		require.NoError(r.T, err)
		r.Setup.Sources[name] = s
	}
	return h
}

// What a person reads is judged like what a link brings.
func TestByHandTheSameVerdicts(t *testing.T) {
	for _, faults := range [][]string{nil, {"dead-above:input=B,from=850 MHz"}, {"timebase-offset:amount=3 ppm"}, {"dead-below:input=B,to=150 MHz"}} {
		t.Run(strings.Join(faults, " "), func(t *testing.T) {
			remote := newRig(t, options{Faults: faults}).Run()
			for _, sources := range []bool{false, true} {
				r := newRig(t, options{Faults: faults})
				h := handOver(r, sources)
				got := r.Run()
				require.True(t, got.Complete)
				for _, input := range []string{"A", "B"} {
					require.Equal(t, verdicts(remote, input), verdicts(got, input), "input %s, sources by hand: %v", input, sources)
				}
				require.Equal(t, remote.Statement, got.Statement)
				for k, p := range got.Points {
					for _, x := range p.Readings {
						require.Equal(t, h.Name(), x.By)
						require.False(t, x.At.IsZero())
					}
					if sources {
						require.Equal(t, h.Name(), got.Points[k].Setting.By)
					} else {
						require.Empty(t, got.Points[k].Setting.By)
					}
				}
			}
		})
	}
}

// A display with fewer digits than the unit counts, as the panel states it: its
// rounding is in the budget, whatever digits a person happens to type.
func TestByHandADisplayCoarserThanACount(t *testing.T) {
	for step, want := range map[string]bool{"0.1 Hz": false, "10 Hz": true} {
		r := newRig(t, options{})
		handOver(r, false)
		gate := quantity.MustParse[quantity.Second]("10 s")
		r.Setup.Bench.Counter.Panel = &procedures.Panel{Gates: []procedures.PanelGate{{Time: gate, Resolution: quantity.MustParse[quantity.Hertz](step)}}}
		p := find(r.Run(), "A-003")
		require.Zero(t, p.Point.Gate.Cmp(gate))
		require.Equal(t, want, strings.Contains(strings.Join(p.Notes, "\n"), "replies show fewer digits"), p.Notes)
		require.Equal(t, want, p.Decision.Expanded > 5, "10 Hz, rectangular: half-width 5 Hz")
	}
}

// However often a person mistypes: the mistake is asked for again, and none is
// taken without a word.
func TestByHandSlipsAreNoticed(t *testing.T) {
	slips, questioned := 0, 0
	for seed := range uint64(40) {
		r := newRig(t, options{Seed: int(seed) + 1})
		h := handOver(r, true)
		h.slips = rand.New(rand.NewPCG(seed, 1))
		got := r.Run()
		slips += len(h.made)
		require.Equal(t, all("pass", 4), verdicts(got, "A"), "seed %d: %v", seed, h.made)
		require.Equal(t, all("pass", 6), verdicts(got, "B"), "seed %d: %v", seed, h.made)
		truth := 0
		for _, p := range got.Points {
			allowed := p.Limit.Scatter().Mul(quantity.ExactInt(2))
			for _, x := range p.Readings {
				shown := h.read[truth]
				truth++
				questioned += len(x.Questioned)
				off := x.Frequency.Exact().Sub(shown.Frequency.Exact()).Abs()
				require.Equal(t, shown.Mark, x.Mark)
				if x.Use != runner.Counted || off.Cmp(allowed) <= 0 {
					continue // no part of the result, or no more than a steady signal scatters
				}
				t.Errorf("seed %d, point %s: %q was taken, %s was shown", seed, p.Point.ID, x.Text, display(shown))
			}
		}
		require.Equal(t, len(h.read), truth, "each look at the display gave one reading")
	}
	require.Greater(t, slips, 200)
	require.Greater(t, questioned, 100)
}

// A unit that really shows half the frequency is judged by what it shows.
func TestByHandAFaultIsBelieved(t *testing.T) {
	r := newRig(t, options{Faults: []string{"wrong-prescale:input=B,amount=1/2"}})
	h := handOver(r, false)
	got := r.Run()
	remote := newRig(t, options{Faults: []string{"wrong-prescale:input=B,amount=1/2"}}).Run()
	require.Equal(t, verdicts(remote, "B"), verdicts(got, "B"))
	require.NotEmpty(t, h.read)
	twice := 0
	for _, p := range got.Points {
		for _, x := range p.Readings {
			if x.Twice {
				twice++
			}
		}
	}
	require.Positive(t, twice)
}

func TestByHandNobody(t *testing.T) {
	t.Run("from the start", func(t *testing.T) {
		r := newRig(t, options{})
		h := handOver(r, true)
		h.leaves = h.answers // RF was seen to be off when the sources were opened
		got := r.Run()
		for _, p := range got.Points {
			require.Equal(t, decision.Verdict{Word: decision.NotJudged, Reason: decision.NoOperator}, p.Verdict, p.Point.ID)
		}
		require.Len(t, got.Points, got.Planned)
		require.Empty(t, got.RFMayBeOn)
		failed, bench, open := got.Worst()
		require.Equal(t, []bool{false, false, true}, []bool{failed, bench, open})
	})
	t.Run("leaves the counter in the middle", func(t *testing.T) {
		r := newRig(t, options{})
		handOver(r, false).leaves = 12
		got := r.Run()
		require.Equal(t, []string{"pass", "pass"}, verdicts(got, "A")[:2])
		require.Equal(t, "not judged: no operator", verdicts(got, "A")[3])
		require.Equal(t, all("not judged: no operator", 6), verdicts(got, "B"))
		require.Empty(t, got.RFMayBeOn, "the sources have links")
		require.Equal(t, runner.Incomplete, got.Statement)
	})
	t.Run("leaves a source with RF on", func(t *testing.T) {
		r := newRig(t, options{})
		h := handOver(r, true)
		h.leaves = h.answers + 7
		got, err := runner.Run(t.Context(), r.Setup)
		require.NoError(t, err)
		require.Equal(t, []string{"LF"}, got.RFMayBeOn)
		_, bench, _ := got.Worst()
		require.True(t, bench, "RF that may be on is an error of the bench")
		require.True(t, r.Journal.Said("do it by hand"))
	})
}

// A source whose display shows another frequency is not the unit's fault.
func TestByHandSourceShowsSomethingElse(t *testing.T) {
	r := newRig(t, options{})
	handOver(r, true)
	person := r.Setup.Sources["MW"].(drivers.ByHand)
	require.Equal(t, "A. Example (invented)", person.By())
	r.Setup.Sources["MW"] = offSource{r.Setup.Sources["MW"]}
	got := r.Run()
	require.Equal(t, all("not judged: source does not report what was set", 6), verdicts(got, "B"))
	require.Equal(t, 16, find(got, "B-001").Setting.Tries)
}

// offSource shows 10 Hz more than was asked for.
type offSource struct{ drivers.Source }

func (s offSource) SetFrequency(ctx context.Context, f quantity.Frequency) (quantity.Frequency, error) {
	got, err := s.Source.SetFrequency(ctx, f)
	return got.Add(quantity.Of[quantity.Hertz](10, 0)), err
}
