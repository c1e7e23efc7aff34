package isolate

// Mode is a way in which a stage fails.
type Mode string

// Modes of failure. What each does to what is seen is in table.go.
const (
	Dead         Mode = "dead"            // nothing comes out
	Weak         Mode = "weak"            // less comes out than should, by some dB
	RollsOff     Mode = "rolls off above" // nothing comes out above some frequency of the signal that it has
	CutsOff      Mode = "cuts off below"  // nothing comes out below some frequency
	Scatters     Mode = "noisy"
	ComesAndGoes Mode = "comes and goes"
	FailsWarm    Mode = "fails when warm" // dead after some time
	Doubles      Mode = "doubles"         // distorts: cycles are counted twice
	Strays       Mode = "stray signal"    // oscillates, or lets a signal through that should not be there
	Misses       Mode = "misses cycles"
	WrongRatio   Mode = "wrong ratio"
	OffFrequency Mode = "off frequency"
	Unstable     Mode = "unstable"
	WrongTime    Mode = "wrong gate time"
	ShortGates   Mode = "no long gates" // the gate is never longer than some time, whatever is set
	WrongDigits  Mode = "wrong digits"  // of the number: stuck, missing
	StaysOneWay  Mode = "stays one way" // of a switch, or the line that sets it
	DeadOneWay   Mode = "dead one way"  // of a switch
)

// share is a mode with its share of the failures of a kind of stage.
type share struct {
	mode  Mode
	share float64
}

// kind is what is usual of a kind of stage.
type kind struct {
	name  string
	about string
	rate  float64 // against an amplifier
	modes []share
}

// kinds lists the kinds of stages: how often each fails against an amplifier,
// and how. Common practice, no source: parts that see the outside world or
// great power fail first, semiconductors before passive parts, contacts before
// both. A model states better figures where it has them.
func kinds() []kind {
	return []kind{
		{"connector", "an input of the unit", 0.5, []share{{Dead, 0.4}, {ComesAndGoes, 0.4}, {Weak, 0.2}}},
		{"limiter", "protects what follows", 1.5, []share{{Dead, 0.5}, {Weak, 0.35}, {RollsOff, 0.1}, {ComesAndGoes, 0.05}}},
		{"attenuator", "", 0.7, []share{{Dead, 0.3}, {Weak, 0.4}, {ComesAndGoes, 0.2}, {RollsOff, 0.1}}},
		{"amplifier", "", 1, []share{{Dead, 0.4}, {Weak, 0.2}, {RollsOff, 0.1}, {CutsOff, 0.05}, {Scatters, 0.08}, {Doubles, 0.02}, {Strays, 0.03}, {ComesAndGoes, 0.07}, {FailsWarm, 0.05}}},
		{"limiting amplifier", "gives one level whatever it is given, if that is enough", 1, []share{{Dead, 0.4}, {Weak, 0.2}, {RollsOff, 0.1}, {CutsOff, 0.05}, {Scatters, 0.08}, {Doubles, 0.02}, {Strays, 0.03}, {ComesAndGoes, 0.07}, {FailsWarm, 0.05}}},
		{"trigger", "makes pulses of a signal", 0.8, []share{{Dead, 0.4}, {Weak, 0.15}, {Doubles, 0.15}, {Misses, 0.1}, {Scatters, 0.1}, {ComesAndGoes, 0.1}}},
		{"filter", "", 0.4, []share{{Dead, 0.35}, {Weak, 0.2}, {RollsOff, 0.25}, {CutsOff, 0.15}, {ComesAndGoes, 0.05}}},
		{"switch", "selects one of several ways", 1, []share{{Dead, 0.2}, {StaysOneWay, 0.3}, {DeadOneWay, 0.2}, {ComesAndGoes, 0.2}, {Weak, 0.1}}},
		{"mixer", "", 0.8, []share{{Dead, 0.5}, {Weak, 0.27}, {RollsOff, 0.1}, {Scatters, 0.05}, {Strays, 0.03}, {ComesAndGoes, 0.05}}},
		{"oscillator", "makes a frequency of its own, or from the timebase", 0.9, []share{{Dead, 0.4}, {OffFrequency, 0.35}, {Unstable, 0.15}, {ComesAndGoes, 0.05}, {FailsWarm, 0.05}}},
		{"timebase", "the reference of the unit", 0.8, []share{{OffFrequency, 0.6}, {Dead, 0.15}, {Unstable, 0.2}, {FailsWarm, 0.05}}},
		{"multiplier", "", 0.7, []share{{Dead, 0.5}, {Weak, 0.3}, {RollsOff, 0.1}, {Scatters, 0.05}, {ComesAndGoes, 0.05}}},
		{"divider", "", 0.8, []share{{Dead, 0.5}, {WrongRatio, 0.25}, {Misses, 0.1}, {RollsOff, 0.05}, {ComesAndGoes, 0.1}}},
		{"buffer", "", 0.6, []share{{Dead, 0.55}, {Weak, 0.2}, {Scatters, 0.1}, {ComesAndGoes, 0.15}}},
		{"gate", "lets the signal through for a time", 0.6, []share{{Dead, 0.5}, {WrongTime, 0.25}, {Scatters, 0.15}, {ComesAndGoes, 0.1}}},
		{"gate control", "makes the gate's time from the timebase", 0.7, []share{{Dead, 0.4}, {WrongTime, 0.35}, {ShortGates, 0.1}, {Unstable, 0.05}, {ComesAndGoes, 0.1}}},
		{"counting chain", "", 0.7, []share{{Dead, 0.3}, {WrongDigits, 0.3}, {Misses, 0.15}, {RollsOff, 0.1}, {WrongRatio, 0.05}, {ComesAndGoes, 0.1}}},
		{"output register", "holds what is shown and sent", 0.5, []share{{WrongDigits, 0.6}, {Dead, 0.3}, {ComesAndGoes, 0.1}}},
		{"control line", "sets a switch", 0.6, []share{{StaysOneWay, 0.8}, {ComesAndGoes, 0.2}}},
		{"supply", "", 1.5, []share{{Dead, 0.5}, {Scatters, 0.2}, {ComesAndGoes, 0.2}, {FailsWarm, 0.1}}},
		{"other", "", 0.5, []share{{Dead, 0.6}, {Weak, 0.1}, {Scatters, 0.1}, {ComesAndGoes, 0.2}}},
	}
}

func kindNamed(name string) (kind, bool) {
	for _, k := range kinds() {
		if k.name == name {
			return k, true
		}
	}
	return kind{}, false
}

// weights returns the modes of a stage with their shares, which sum to 1.
func (s Stage) weights() []share {
	k, _ := kindNamed(s.Kind)
	if len(s.Modes) == 0 {
		return k.modes
	}
	usual := map[Mode]float64{}
	for _, m := range k.modes {
		usual[m.mode] = m.share
	}
	list, sum := make([]share, 0, len(s.Modes)), 0.0
	for _, m := range s.Modes {
		w := usual[Mode(m)]
		if w == 0 {
			w = 0.1 // one that the kind does not usually have
		}
		list, sum = append(list, share{Mode(m), w}), sum+w
	}
	for k := range list {
		list[k].share /= sum
	}
	return list
}

// allModes lists every mode there is.
func allModes() []Mode {
	return []Mode{Dead, Weak, RollsOff, CutsOff, Scatters, ComesAndGoes, FailsWarm, Doubles, Strays, Misses, WrongRatio,
		OffFrequency, Unstable, WrongTime, ShortGates, WrongDigits, StaysOneWay, DeadOneWay}
}
