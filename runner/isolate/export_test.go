package isolate

import (
	"fmt"
	"math"
	"strings"

	"bandproof/runner/symptom"
)

// Update is the flag that writes golden files.
var Update = update

// TableText prints what the code has: kinds of stages, and P(symptom | mode).
func TableText() string {
	var b strings.Builder
	b.WriteString("# Rates and tables of isolation\n\nMade from the code by a test (`go test ./runner/isolate -run Table -update`); not written by hand. ")
	b.WriteString("Common practice, no source, throughout:\na model states `rate` and `modes` of a stage where something better is known.\n\n")
	b.WriteString("## Kinds of stages\n\nRate of failing, against an amplifier, and how the failures of a kind are spread over modes.\n\n| kind | rate | modes |\n| --- | --- | --- |\n")
	for _, k := range kinds() {
		var list []string
		for _, m := range k.modes {
			list = append(list, fmt.Sprintf("%s %g %%", m.mode, math.Round(1000*m.share)/10))
		}
		fmt.Fprintf(&b, "| %s | %g | %s |\n", k.name, k.rate, strings.Join(list, ", "))
	}
	fmt.Fprintf(&b, "\n## P(symptom | mode)\n\nOf a fault that has its effect in full, in percent, before the leak of %g, which is spread evenly over all symptoms.\n", Leak)
	b.WriteString("A mode has several manners where what is seen hangs together: a unit shows one of them at all points.\n")
	b.WriteString("What the stage is to the place: *signal*, *clock* (sets times), *oscillator* (mixed with), *control* (sets a way).\n")
	for _, at := range []bool{false, true} {
		if at {
			b.WriteString("\n### At a test point\n\n")
		} else {
			b.WriteString("\n### At a reading\n\n")
		}
		header(&b)
		for _, m := range allModes() {
			tableRows(&b, m, at)
		}
	}
	b.WriteString(`
Where only what a mixer gives is counted, a number that is wrong in proportion (gate time, regular loss of cycles, ratio,
double counting) shows as 45 % off by a constant, 35 % wrong in another way and 20 % off by a small share instead.

*Weak* has degrees of ` + strings.Trim(fmt.Sprint(decibels), "[]") + ` dB. At a test point up to which levels pass, it is seen as needing too much level from about 4 dB on. At a reading
it shows where it exceeds the margin of the level over the specified sensitivity and what an input has in hand over that,
` + fmt.Sprintf("%g dB with a standard deviation of %g dB", inHand, inHandSpread) + `; in a search for the least level, where it exceeds what is in hand. Behind the first stage that makes
pulses, and of clocks, 10 dB are too much at all points, and less at none. *Rolls off*, *cuts off* and *fails when warm* begin at every place between
two points that were taken. *Comes and goes* is there in ` + strings.Trim(fmt.Sprint(shares), "[]") + ` of the readings; a look at a test point is worth ` + fmt.Sprint(longLook) + ` of them;
a control line goes to one of its positions meanwhile. A switch that *stays one way* lets through what lies within a
factor of ` + strings.Trim(fmt.Sprint(passes), "[]") + ` of that way's range, and less over half an octave beyond that. At its own test point, a control line that stays has the wrong value.

A self-test sees 90 % of what is wrong. A search for the least level that meets lost cycles, scatter, or what comes and
goes, finds in 60 % that too much is needed.

Two faults together: nothing beats everything, good is beaten by everything, the same stays, and two that differ look
like either (a quarter each) or are wrong in another way.
`)
	return b.String()
}

func header(b *strings.Builder) {
	b.WriteString("| mode | the stage is |")
	for _, k := range symptom.Kinds() {
		fmt.Fprintf(b, " %s |", k)
	}
	b.WriteString("\n|" + strings.Repeat(" --- |", 2+symptoms) + "\n")
}

// tableRows prints a mode, roles that show the same on one row.
func tableRows(b *strings.Builder, m Mode, at bool) {
	row := func(name, roles string, d distribution) {
		fmt.Fprintf(b, "| %s | %s |", name, roles)
		for _, p := range d {
			if p > 0 {
				fmt.Fprintf(b, " %g |", math.Round(1e3*p)/10)
			} else {
				b.WriteString(" |")
			}
		}
		b.WriteString("\n")
	}
	switch m {
	case Weak:
		for manner, p := range m.manners() {
			row(fmt.Sprintf("weak, and too little gets through, manner %d (%g %%)", manner+1, 100*p), "any", lacking(1, manner).lookedAt(at))
		}
		return
	case ComesAndGoes:
		return // by degree, in words below
	case RollsOff:
		defer row("rolls or cuts off, within half an octave", "any", slope(at, false))
	case StaysOneWay:
		defer row("stays one way, that of the self-test", "any", ofTheTest(at))
		defer row("stays one way, the signal lies near the range of that", "any", beside(at, false))
	}
	for manner := range m.manners() {
		type line struct {
			roles []string
			d     distribution
		}
		var lines []line
		for _, r := range []struct {
			name string
			role role
		}{{"signal", asSignal}, {"clock", asClock}, {"oscillator", asOscillator}, {"control", asControl}} {
			d := inManner(m, manner, r.role, at)
			if m == WrongTime {
				d = gateTime(manner, at, r.role == asSignal)
			}
			if k := len(lines) - 1; k >= 0 && lines[k].d == d {
				lines[k].roles = append(lines[k].roles, r.name)
				continue
			}
			lines = append(lines, line{[]string{r.name}, d})
		}
		for _, l := range lines {
			name, roles := string(m), strings.Join(l.roles, ", ")
			if n := len(m.manners()); n > 1 {
				name += fmt.Sprintf(", manner %d (%g %%)", manner+1, 100*m.manners()[manner])
			}
			if len(l.roles) == 4 {
				roles = "any"
			}
			row(name, roles, l.d)
		}
	}
}
