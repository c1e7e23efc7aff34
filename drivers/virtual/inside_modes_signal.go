package virtual

import (
	"strconv"

	"bandproof/procedures/quantity"
)

// hertzText writes a frequency as an amount has it.
func hertzText(f float64) string { return quantity.Significant(f, 3).String() }

// signalModes are those of the stages that a signal passes from a connector
// to the selector.
func signalModes(s *stage) []stageMode {
	open := dies("It is open: nothing passes.")
	dead := dies("It gives nothing.")
	weak := loses("weak", "It gives this much too little.", "15 dB")
	misses := mode("misses", "This share of the pulses gets lost.", inShare, "0.1 %",
		func(m *stageMods, a amount) { m.missing += min(1, a.x) })
	switch s.sc.Kind {
	case kindLimiter:
		return []stageMode{open, loses("leaky", "A diode conducts at any level, and takes this much off.", "15 dB")}
	case kindAttenuator:
		return []stageMode{open, loses("stuck", "It attenuates all the time, by this much.", "20 dB")}
	case kindAmplifier:
		return []stageMode{
			dead, weak, rollsOff(s), noisy("Its noise makes readings scatter: by so many counts at the least level, by less above."),
			comesAndGoes("At this share of the gates it gives nothing.", func(m *stageMods, _ amount) { m.dead = true }),
			mode("oscillates", "It oscillates by itself at this frequency, and amplifies less.", inPositive, hertzText(oscillatesAt*s.high),
				func(m *stageMods, a amount) { m.spur = a.x }),
		}
	case kindFilter:
		return []stageMode{open, weak, rollsOff(s), mode("detuned", "Its passband lies this much too low.", inShare, "30 %",
			func(m *stageMods, a amount) { m.detune += min(0.99, a.x) })}
	case kindTrigger:
		return []stageMode{
			dead, loses("weak", "Its threshold lies this much too high.", "15 dB"),
			noisy("Its threshold is noisy: readings scatter by so many counts at the least level, by less above."),
			mode("double", "It has no hysteresis: this share of the cycles triggers twice.", inShare, "100 %",
				func(m *stageMods, a amount) { m.double += a.x }),
		}
	case kindDivider:
		return []stageMode{dead, misses, mode("ratio", "It divides by this number.", inWhole, strconv.Itoa(max(1, s.sc.Ratio-1)),
			func(m *stageMods, a amount) { m.ratio = a.n })}
	}
	return []stageMode{ // a buffer
		dead, loses("weak", "It gives this much too little.", "10 dB"),
		comesAndGoes("At this share of the gates it gives nothing.", func(m *stageMods, _ amount) { m.dead = true }),
	}
}

// switchModes are those of what decides where a signal goes.
func switchModes(n *inside, s *stage) []stageMode {
	line := s
	if s.sc.Kind == kindSwitch && s.control >= 0 {
		line = n.stages[s.control]
	}
	var values []string
	for _, v := range line.sc.Values {
		values = append(values, v.Value)
	}
	if len(values) == 0 {
		return nil
	}
	stays := func(about string) stageMode {
		return mode("stuck", about, inOneOf(values), values[0], func(m *stageMods, a amount) { m.stuck = a.text })
	}
	if s.sc.Kind == kindControl {
		return []stageMode{
			stays("It stays at this value."),
			comesAndGoes("At this share of the gates it falls back to its first value.", func(m *stageMods, _ amount) { m.rest = true }),
		}
	}
	return []stageMode{
		mode("dead-way", "It has no contact this way.", inOneOf(values), values[min(1, len(values)-1)], func(m *stageMods, a amount) { m.deadWay = a.text }),
		stays("It stays this way, whatever its control line says."),
		loses("weak", "Its contacts take this much off.", "15 dB"),
		comesAndGoes("At this share of the gates it has no contact.", func(m *stageMods, _ amount) { m.dead = true }),
	}
}

// conversionModes are those of what makes and mixes frequencies.
func conversionModes(n *inside, s *stage) []stageMode {
	weak := loses("weak", "It gives this much too little.", "15 dB")
	switch s.sc.Kind {
	case kindMultiplier:
		return []stageMode{dies("It gives no harmonics."), weak, rollsOff(s)}
	case kindMixer:
		return []stageMode{dies("It gives no intermediate frequency."), weak, mode("leaky",
			"The local oscillator gets through to the intermediate frequency, this much above the least level.", inDecibel, "15 dB",
			func(m *stageMods, a amount) { m.leak = a.x })}
	}
	offset, pull := "5 ppm", "20 Hz"
	if len(s.fedBy) > 0 {
		offset, pull = "50 ppm", "5 kHz"
	}
	unstable := stageMode{StageMode{"unstable", "It scatters from gate to gate with this standard deviation.", inShare.what, "1 ppm"}, inShare, false,
		func(m *stageMods, a amount, d draw, p string) { m.y, m.wanders = m.y+a.x*d.normal(p+" wander"), true }}
	return []stageMode{
		dies("It does not oscillate."),
		mode("off-frequency", "It is off by this ratio.", inRatio, offset, func(m *stageMods, a amount) { m.y += a.x }),
		mode("pulled", "It is pulled by this much.", inHertz, pull, func(m *stageMods, a amount) { m.pull += a.x }),
		unstable,
	}
}

// countingModes are those from the gate to the reply.
func countingModes(s *stage) []stageMode {
	short := mode("short", "The gate is this share too short.", inShare, "1 %", func(m *stageMods, a amount) { m.short += min(0.99, a.x) })
	digit := func(name, about string, at func(m *stageMods) **amount) stageMode {
		normal := "2:7"
		if name == "missing-digit" {
			normal = "1:0"
		}
		return mode(name, about, inDigit, normal, func(m *stageMods, a amount) { *at(m) = &a })
	}
	switch s.sc.Kind {
	case kindGate:
		return []stageMode{
			mode("stuck-open", "It never closes: the count overflows.", amountUnit{}, "", func(m *stageMods, _ amount) { m.open = true }),
			mode("stuck-closed", "It never opens.", amountUnit{}, "", func(m *stageMods, _ amount) { m.dead = true }),
			short, mode("jitter", "Its length scatters with this standard deviation.", inTime, "200 ns", func(m *stageMods, a amount) { m.jitter += a.x }),
		}
	case kindGateControl:
		return []stageMode{
			dies("It never opens the gate."), short,
			mode("wrong-length", "The gate is this many times as long as it should.", inRational, "1/10", func(m *stageMods, a amount) { m.length = orOne(m.length) * a.x }),
			mode("stays", "No gate is longer than this, whatever is set.", inTime, "20 ms", func(m *stageMods, a amount) { m.most = lower(m.most, a.x) }),
		}
	case kindChain:
		return []stageMode{
			dies("It counts nothing."),
			mode("misses", "This share of the pulses is not counted.", inShare, "0.1 %", func(m *stageMods, a amount) { m.missing += min(1, a.x) }),
			mode("slow", "It counts nothing above this frequency.", inPositive, hertzText(slowAt*s.high), func(m *stageMods, a amount) { m.slow = lower(m.slow, a.x) }),
			digit("stuck-decade", "One of its decades stays.", func(m *stageMods) **amount { return &m.decade }),
		}
	}
	return []stageMode{ // an output register
		dies("It is never loaded: the reply is zero."),
		digit("stuck-digit", "A digit of the display and the reply stays.", func(m *stageMods) **amount { return &m.digit }),
		digit("missing-digit", "A digit of the display and the reply never takes this value, but the one below it.", func(m *stageMods) **amount { return &m.blind }),
	}
}

// slowAt is where a counting chain stops counting unless stated, over the
// highest frequency that it is made for.
const slowAt = 0.4
