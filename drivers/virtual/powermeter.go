package virtual

import (
	"math"
	"time"

	"bandproof/drivers/scpi"
	"bandproof/procedures/quantity"
)

const (
	// replyUnder stands for minus infinity (SCPI-1999 vol. 1, 7.2.1.4, from memory).
	replyUnder = "-9.9E37"
	// untold is what a decade between the signal and the frequency that the meter
	// was told makes of its correction, in dB: enough to be seen.
	untold = 0.6
)

// powerMeter is the model of a power meter behind a coupler at an input.
type powerMeter struct {
	b        *Bench
	sc       PowerMeterScenario
	status   status
	input    *input
	coupling []lossPoint
	told     quantity.Frequency // for the correction factor
	inWatts  bool
}

var fiftyMegahertz = quantity.Of[quantity.Hertz](50, 6) // correction after *RST

func newPowerMeter(b *Bench, sc PowerMeterScenario) *powerMeter {
	return &powerMeter{b: b, sc: sc, status: status{size: sc.Link.ErrorQueue, esr: scpi.PowerOn},
		input: b.counter.inputNamed(sc.Input), coupling: tableOf(sc.Coupling), told: fiftyMegahertz}
}

func (m *powerMeter) name() string        { return m.sc.Name }
func (m *powerMeter) link() LinkScenario  { return m.sc.Link }
func (m *powerMeter) identity() Identity  { return m.sc.Identity }
func (m *powerMeter) registers() *status  { return &m.status }
func (m *powerMeter) poweredFor() float64 { return longPowered + m.b.now() }
func (m *powerMeter) commands() []command { return powerMeterCommands }
func (m *powerMeter) settleUp()           {}
func (m *powerMeter) clear()              {}
func (m *powerMeter) gone(*session)       {}
func (m *powerMeter) reset()              { m.told, m.inWatts = fiftyMegahertz, false }

func (m *powerMeter) pending() (time.Time, <-chan struct{}, bool) { return time.Time{}, nil, false }
func (m *powerMeter) conditions() (questionable, operation int)   { return 0, 0 }

// measure is the reply to a measurement: a level, or a marker.
func (m *powerMeter) measure() string {
	s := m.b.signal(m.input)
	o := occasion{instrument: m.sc.Name, f: s.set, powered: m.poweredFor(), ambient: m.b.ambient, draw: newDraw(m.b.seed, m.sc.Name, s.setting, 0)}
	mods := m.b.meterMods(o)
	if !s.present || mods.deaf {
		return replyUnder
	}
	dbm := s.level - m.input.gain(s.f) - lossAt(m.coupling, s.f) + mods.offset
	dbm += untold * math.Abs(math.Log10(s.f/m.told.Float()))
	if m.sc.Error != nil {
		dbm += m.sc.Error.Float() * (2*o.draw.uniform("level") - 1)
	}
	r := quantity.Dbm50()
	switch {
	case dbm < m.sc.Level[0].DBm(r):
		return replyUnder
	case dbm > m.sc.Level[1].DBm(r):
		return replyOver
	}
	if m.inWatts {
		return number(quantity.FromRat[quantity.One](quantity.ExactFloat(math.Pow(10, dbm/10-3)).Rat(), 12).Plain(), "nr3")
	}
	text, _ := quantity.DBmLevel(dbm, 3).DBmPlain()
	return number(text, m.sc.Link.Numbers)
}

func onPowerMeter(pattern string, query bool, most int, run func(m *powerMeter, args []string) (string, error)) command {
	return command{scpi.MustPattern(pattern), query, most, func(s *session, args []string) (string, error) {
		return run(s.dev.(*powerMeter), args)
	}}
}

var powerMeterCommands = []command{
	onPowerMeter("MEASure[:SCALar]:POWer[:AC]", true, 0, func(m *powerMeter, _ []string) (string, error) { return m.measure(), nil }),
	onPowerMeter("READ[:SCALar][:POWer][:AC]", true, 0, func(m *powerMeter, _ []string) (string, error) { return m.measure(), nil }),
	onPowerMeter("[SENSe#:]FREQuency[:CW]", false, 1, (*powerMeter).tell),
	onPowerMeter("[SENSe#:]FREQuency[:CW]", true, 0, func(m *powerMeter, _ []string) (string, error) {
		return number(m.told.Plain(), m.sc.Link.Numbers), nil
	}),
	onPowerMeter("UNIT#:POWer", false, 1, (*powerMeter).setUnit),
	onPowerMeter("UNIT#:POWer", true, 0, func(m *powerMeter, _ []string) (string, error) {
		if m.inWatts {
			return "W", nil
		}
		return "DBM", nil
	}),
	onPowerMeter("CALibration#:ZERO:AUTO", false, 1, func(m *powerMeter, args []string) (string, error) {
		if len(args) == 0 {
			return "", errMissing
		}
		if !scpi.MatchKeyword("ONCE", args[0]) {
			return "", errIllegalValue
		}
		if m.b.signal(m.input).present {
			return "", errExecution // a zero with a signal on is none
		}
		return "", nil
	}),
	onPowerMeter("ABORt", false, 0, func(*powerMeter, []string) (string, error) { return "", nil }),
}

func (m *powerMeter) tell(args []string) (string, error) {
	if len(args) == 0 {
		return "", errMissing
	}
	f, err := numeric(args[0], "HZ", bounds[quantity.Hertz]{m.sc.Range[0], m.sc.Range[1], fiftyMegahertz})
	if err != nil {
		return "", err
	}
	if f.Cmp(m.sc.Range[0]) < 0 || f.Cmp(m.sc.Range[1]) > 0 {
		return "", errOutOfRange
	}
	m.told = f
	return "", nil
}

func (m *powerMeter) setUnit(args []string) (string, error) {
	if len(args) == 0 {
		return "", errMissing
	}
	for unit, watts := range map[string]bool{"DBM": false, "W": true} {
		if scpi.MatchKeyword(unit, args[0]) {
			m.inWatts = watts
			return "", nil
		}
	}
	return "", errIllegalValue
}
