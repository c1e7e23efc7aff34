package virtual

import (
	"time"

	"bandproof/drivers/scpi"
	"bandproof/procedures/quantity"
)

func (s *source) name() string        { return s.sc.Name }
func (s *source) link() LinkScenario  { return s.sc.Link }
func (s *source) identity() Identity  { return s.sc.Identity }
func (s *source) registers() *status  { return &s.status }
func (s *source) poweredFor() float64 { return s.timebase.powered + s.b.now() }
func (s *source) settleUp()           { s.countSettling() }
func (s *source) clear()              {}
func (s *source) gone(*session)       {}
func (s *source) commands() []command { return sourceCommands }

// reset is *RST: RF off, lowest level.
func (s *source) reset() {
	s.status.opc = false
	s.b.change(func() {
		s.before = s.frequency.Float()
		s.preset()
		s.settle()
	})
}

func (s *source) pending() (until time.Time, changed <-chan struct{}, busy bool) {
	return s.settled, nil, s.settling()
}

// conditions: the frequency bit tells that the synthesis is not locked, also
// while it settles. The event latches only a lock that failed.
func (s *source) conditions() (questionable, operation int) {
	if s.settling() {
		return quesFrequency, operSettling
	}
	if s.locked() {
		return 0, 0
	}
	if !s.lockEvents {
		s.lockEvents = true
		s.status.ques |= quesFrequency
	}
	return quesFrequency, 0
}

func onSource(pattern string, query bool, most int, run func(s *source, args []string) (string, error)) command {
	return command{scpi.MustPattern(pattern), query, most, func(x *session, args []string) (string, error) {
		return run(x.dev.(*source), args)
	}}
}

var sourceCommands = []command{
	onSource("[SOURce#:]FREQuency[:CW]", false, 1, (*source).frequencyCommand),
	onSource("[SOURce#:]FREQuency:FIXed", false, 1, (*source).frequencyCommand),
	onSource("[SOURce#:]FREQuency[:CW]", true, 1, (*source).frequencyQuery),
	onSource("[SOURce#:]FREQuency:FIXed", true, 1, (*source).frequencyQuery),
	onSource("[SOURce#:]POWer[:LEVel][:IMMediate][:AMPLitude]", false, 1, (*source).levelCommand),
	onSource("[SOURce#:]POWer[:LEVel][:IMMediate][:AMPLitude]", true, 1, (*source).levelQuery),
	onSource("OUTPut#[:STATe]", false, 1, (*source).outputCommand),
	onSource("OUTPut#[:STATe]", true, 0, func(s *source, _ []string) (string, error) { return scpi.FormatBool(s.rf), nil }),
	onSource("[SOURce#:]ROSCillator:SOURce", true, 0, func(s *source, _ []string) (string, error) {
		if s.sc.Reference == "" || s.sc.Reference == ownReference {
			return "INT", nil
		}
		return "EXT", nil
	}),
}

func (s *source) frequencyArgument(arg string) (quantity.Frequency, error) {
	normal := s.grid(quantity.Of[quantity.Hertz](10, 6))
	return numeric(arg, "HZ", bounds[quantity.Hertz]{s.sc.Range[0], s.sc.Range[1], normal})
}

func (s *source) frequencyCommand(args []string) (string, error) {
	if len(args) == 0 {
		return "", errMissing
	}
	f, err := s.frequencyArgument(args[0])
	if err != nil {
		return "", err
	}
	if !s.setFrequency(f) {
		return "", errOutOfRange
	}
	return "", nil
}

// frequencyQuery reports the setting, or one of its bounds.
func (s *source) frequencyQuery(args []string) (string, error) {
	f := s.frequency
	if len(args) == 1 {
		var err error
		if f, err = s.frequencyArgument(args[0]); err != nil {
			return "", err
		}
	} else if m := s.b.sourceMods(s.occasion()); m.readback != 0 {
		f = f.Add(quantity.FromRat[quantity.Hertz](quantity.ExactFloat(m.readback).Rat(), 6))
	}
	return number(s.grid(f).Plain(), s.sc.Link.Numbers), nil
}

func (s *source) levelArgument(arg string) (float64, error) {
	bound := func(l quantity.Level) quantity.Gain {
		text, _ := l.DBmPlain()
		return quantity.MustParse[quantity.Decibel](text + " dB")
	}
	v, err := numeric(arg, "DBM", bounds[quantity.Decibel]{bound(s.sc.Level[0]), bound(s.sc.Level[1]), bound(s.sc.Level[0])})
	return v.Float(), err
}

func (s *source) levelCommand(args []string) (string, error) {
	if len(args) == 0 {
		return "", errMissing
	}
	dbm, err := s.levelArgument(args[0])
	if err != nil {
		return "", err
	}
	if !s.setLevel(dbm) {
		return "", errOutOfRange
	}
	return "", nil
}

func (s *source) levelQuery(args []string) (string, error) {
	l := s.level
	if len(args) == 1 {
		dbm, err := s.levelArgument(args[0])
		if err != nil {
			return "", err
		}
		l = quantity.DBmLevel(dbm, decimalsOf(s.sc.LevelStep.Rat()))
	}
	text, _ := quantity.DBmLevel(l.DBm(quantity.Dbm50()), decimalsOf(s.sc.LevelStep.Rat())).DBmPlain()
	return number(text, s.sc.Link.Numbers), nil
}

func (s *source) outputCommand(args []string) (string, error) {
	if len(args) == 0 {
		return "", errMissing
	}
	on, err := scpi.ParseBool([]byte(args[0]))
	if err != nil {
		return "", errIllegalValue
	}
	s.setRF(on)
	return "", nil
}
