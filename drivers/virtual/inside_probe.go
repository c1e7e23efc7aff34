package virtual

import (
	"fmt"
	"math"
	"math/big"
	"strings"

	"bandproof/procedures/quantity"
)

// Probed is what a probe finds at a test point: what someone with an
// oscilloscope, a counter and a spectrum analyser would write down.
type Probed struct {
	Point, Stage string // Stage: after which the point sits
	// Present: something is there. A control line always has a value.
	Present bool
	// Frequency that is there on average, to nine digits; zero where nothing is, and at
	// control lines and the gate control.
	Frequency quantity.Frequency
	// Level over that of a good unit with the same signal applied, to 0.1 dB;
	// zero where nothing is.
	Level quantity.Gain
	// Noisy: jitter or scatter beyond what is normal.
	Noisy bool
	// Distorted: a spurious signal, or pulses that are missing or double.
	Distorted bool
	// Share of the time in which it is so: 1, or less where it comes and goes.
	// What comes and goes is told as it is while something is there.
	Share  quantity.Ratio
	State  string            // of a control line: its value; of a gate that does not close: "open"
	Length quantity.Duration // of the pulse at a gate control, for the gate that is set; zero elsewhere
}

// Probe tells what is at a test point now, with what the inputs see and with
// the input that is selected. Faults of stages show; those of the catalogue
// that name no stage can't be found inside. Every stage of every input is
// powered and works all the time: at a path that is not selected a probe finds
// whatever the cables bring to its connector, nothing where no cable is, and
// behind a switch only what its way lets through. Oscillators, control lines
// and gate control are always there. The gate is looked at while it is open.
// Probing changes nothing and draws nothing. An unknown point is an error that
// lists those that there are.
func (b *Bench) Probe(point string) (Probed, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	at, err := b.counter.inside.pointNamed(point)
	if err != nil {
		return Probed{}, err
	}
	c := b.counter
	in := c.inputs[c.selected]
	o := c.occasion(c.sees(in), in)
	o.draw = newDraw(b.seed, c.sc.Name, "probe", 0)
	m := b.gateMods(o)
	i := c.inside.find(at.Stage)
	shares := map[string]float64{} // by what it reads like
	var order []Probed             // the first found first, so that equal shares always give the same
	for _, chance := range b.chances(o) {
		w := c.walk(m, in, o.draw)
		w.shows = func(f *fault) bool { return chance.shows[f] }
		found := probed(at, c.inside.stages[i], w.run().waves[i])
		if _, there := shares[found.String()]; !there {
			order = append(order, found)
		}
		shares[found.String()] += chance.share
	}
	best := order[0]
	for _, p := range order[1:] {
		if p.Present && !best.Present || p.Present == best.Present && shares[p.String()] > shares[best.String()] {
			best = p
		}
	}
	best.Share = rounded[quantity.One](shares[best.String()], 4)
	return best, nil
}

// chance is one way in which faults that come and go can show together.
type chance struct {
	shows map[*fault]bool
	share float64 // of the time
}

// mostChances bounds how many faults that come and go are told apart.
const mostChances = 8

// chances lists them; further faults that come and go count as showing.
func (b *Bench) chances(o occasion) []chance {
	list := []chance{{map[*fault]bool{}, 1}}
	told := 0
	for i := range b.faults {
		f := &b.faults[i]
		if f.stage == nil || !f.applies(o) {
			continue
		}
		p := f.chance()
		sometimes := p > 0 && p < 1 && told < mostChances
		var without []chance
		for k := range list {
			if sometimes {
				rest := chance{map[*fault]bool{}, list[k].share * (1 - p)}
				for g := range list[k].shows {
					rest.shows[g] = true
				}
				without = append(without, rest)
				list[k].share *= p
			}
			list[k].shows[f] = p > 0
		}
		if sometimes {
			told++
		}
		list = append(without, list...)
	}
	return list
}

func (n *inside) pointNamed(name string) (TestPoint, error) {
	if n == nil || len(n.points) == 0 {
		return TestPoint{}, fmt.Errorf("the scenario states no test points of the counter")
	}
	names := make([]string, len(n.points))
	for i, p := range n.points {
		if names[i] = p.Name; p.Name == name {
			return p, nil
		}
	}
	return TestPoint{}, fmt.Errorf("no test point is called %q; there are %s", name, strings.Join(names, ", "))
}

// probed is what a wave looks like.
func probed(at TestPoint, s *stage, w wave) Probed {
	p := Probed{Point: at.Name, Stage: at.Stage, State: w.state}
	if s.sc.Kind == kindControl {
		p.Present = true
		return p
	}
	f := w.frequency()
	spur := w.spur.f > 0 && (w.logic || w.spur.margin > leastSeen)
	switch {
	case w.seen():
		p.Present, p.Noisy, p.Distorted = true, w.noisy, w.distorted
		p.Level = rounded[quantity.Decibel](w.level, 1)
	case spur:
		p.Present, p.Distorted, f = true, true, w.spur.f
	default:
		p.State = ""
		return p
	}
	if w.length > 0 {
		p.Length = rounded[quantity.Second](w.length, 9)
	} else {
		p.Frequency = quantity.Significant(f, 9)
	}
	return p
}

// rounded is a number with at most so many decimals.
func rounded[D quantity.Dimension](x float64, decimals int) quantity.Value[D] {
	scale := math.Pow(10, float64(decimals))
	return quantity.FromRat[D](new(big.Rat).SetFloat64(math.Round(x*scale)/scale), decimals).Trimmed()
}

// String is a line such as "TP8 (after B amplifier): 400 MHz, -15 dB, noisy".
func (p Probed) String() string {
	parts := []string{}
	switch {
	case !p.Present:
		parts = append(parts, "nothing")
	case p.Length.Sign() > 0:
		parts = append(parts, "pulse of "+p.Length.String())
	case p.Frequency.Sign() > 0:
		parts = append(parts, p.Frequency.String())
	}
	if p.State != "" {
		parts = append(parts, p.State)
	}
	if p.Level.Sign() != 0 {
		parts = append(parts, p.Level.String())
	}
	for _, x := range []struct {
		is   bool
		word string
	}{{p.Noisy, "noisy"}, {p.Distorted, "distorted"}} {
		if x.is {
			parts = append(parts, x.word)
		}
	}
	if share := p.Share.Float(); p.Present && share < 1 {
		parts = append(parts, fmt.Sprintf("%.0f %% of the time", 100*share))
	}
	return fmt.Sprintf("%s (after %s): %s", p.Point, p.Stage, strings.Join(parts, ", "))
}
