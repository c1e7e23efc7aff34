package manual

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
)

// source plays drivers.Source and drivers.ByHand.
type source struct {
	hand
	rf        rfState
	frequency quantity.Frequency // as last confirmed
	level     *quantity.Level    // as last confirmed; nil: not known
}

// rfState is what is known of the RF.
type rfState int

const (
	rfUnknown rfState = iota
	rfOff             // a person has seen it
	rfOn              // a person was asked to switch it on
)

// closeWithin bounds the last question, when an instrument is closed.
const closeWithin = 10 * time.Second

// OpenSource returns a source that a person sets. The first question is that
// RF is off. Where nobody answers it the source is open all the same, its RF
// not known to be off: RFOff then asks again, and nothing else was asked for.
//
// What a person has confirmed is not asked for twice: RFOff with RF off, and
// SetLevel with the level as it was, return at once.
func OpenSource(ctx context.Context, o Opening) (drivers.Source, error) {
	h, err := newHand(o, "source "+o.Name)
	if err != nil {
		return nil, err
	}
	s := &source{hand: h}
	if err := s.RFOff(ctx); err != nil && !errors.Is(err, drivers.ErrNoOperator) {
		return nil, err
	}
	return s.withLamps(), nil
}

// RFOff has the person switch RF off and say so in a word: Enter alone is not
// enough, it is pressed too easily.
func (s *source) RFOff(ctx context.Context) error {
	return s.act(ctx, "switch RF off", s.off)
}

func (s *source) off(ctx context.Context) error {
	if s.rf == rfOff {
		return nil
	}
	how := "RF off (no switch: lowest level, and take the cable off the source)"
	if s.Panel.RFOff != "" {
		how = "RF off: " + s.Panel.RFOff
	}
	q := Question{Do: how, Answer: `look, and type "off" once RF is off`}
	for {
		text, err := s.ask(ctx, q)
		if err != nil {
			return err
		}
		if strings.EqualFold(text, "off") {
			s.rf = rfOff
			return nil
		}
		q.Wrong = `only "off" is taken as an answer; if it can't be switched off, take the cable off the source`
	}
}

// RFOn has the person switch RF on.
func (s *source) RFOn(ctx context.Context) error {
	return s.act(ctx, "switch RF on", func(ctx context.Context) error {
		if s.level == nil {
			return errors.New("no level is set since the source was opened or recovered; set one first")
		}
		if s.rf == rfOn {
			return nil
		}
		s.rf = rfOn // from the question on it may be
		if err := s.doneCautious(ctx, "RF on", fmt.Sprintf("%s at %s goes to the input; no more", *s.level, s.frequency)); err != nil {
			return err
		}
		return s.settle(ctx)
	})
}

func (s *source) doneCautious(ctx context.Context, do, caution string) error {
	q := Question{Do: do, Answer: whenDone, Caution: caution}
	for {
		text, err := s.ask(ctx, q)
		if err != nil {
			return err
		}
		switch strings.ToLower(text) {
		case "", "on", "y", "yes", "done":
			return nil
		}
		q.Wrong = "that was not asked; " + whenDone
	}
}

func (s *source) settle(ctx context.Context) error {
	return s.Clock.Sleep(ctx, time.Duration(s.Panel.Settle.Float()*float64(time.Second)))
}

// Settle implements drivers.Source.
func (s *source) Settle() quantity.Duration { return s.Panel.Settle }

const whenSet = "press Enter when its display shows so, or type what it shows"

// SetFrequency has the person set a frequency and returns what its display
// then shows.
func (s *source) SetFrequency(ctx context.Context, f quantity.Frequency) (quantity.Frequency, error) {
	var got quantity.Frequency
	err := s.act(ctx, "set "+f.String(), func(ctx context.Context) error {
		q := Question{Do: "set " + s.Panel.show(f), Answer: whenSet}
		if s.rf == rfOn && s.level != nil {
			q.Caution = fmt.Sprintf("RF is on: the level stays at %s", *s.level)
		}
		s.frequency = quantity.Frequency{}
		e, err := enter(ctx, &s.hand, q, func(text string) (quantity.Frequency, error) {
			if confirms(text) {
				return f, nil
			}
			return quantity.ParseEntry[quantity.Hertz](text, s.Panel.Unit)
		}, func(x quantity.Frequency) string {
			if x.Cmp(f) == 0 {
				return ""
			}
			return fmt.Sprintf("%s is not what is wanted; set %s", typed(s.Panel, x), s.Panel.show(f))
		}, quantity.Frequency.Plain)
		if err != nil {
			return err
		}
		got, s.frequency = e.value, e.value
		return s.settle(ctx)
	})
	return got, err
}

// confirms tells whether an answer says that all is as asked for.
func confirms(text string) bool {
	switch strings.ToLower(text) {
	case "", "y", "yes", "done":
		return true
	}
	return false
}

// SetLevel asks the interlock, and only then the person. A level on the
// display that the interlock does not pass is never taken: RF goes off.
func (s *source) SetLevel(ctx context.Context, level quantity.Level) (quantity.Level, error) {
	got := level
	err := s.act(ctx, "set the level to "+level.String(), func(ctx context.Context) error {
		if err := s.permit(level); err != nil {
			return err
		}
		if s.level != nil && s.level.String() == level.String() {
			return nil
		}
		s.level = nil
		e, err := enter(ctx, &s.hand, Question{Do: "set the level to " + level.String(), Answer: whenSet, Caution: "no more than that; the input may not stand it"},
			func(text string) (quantity.Level, error) { return readLevel(text, level) },
			func(x quantity.Level) string { return s.wrongLevel(x, level) }, quantity.Level.String)
		if err != nil {
			return err
		}
		if err := s.permit(e.value); err != nil {
			return errors.Join(err, s.off(ctx))
		}
		got, s.level = e.value, &e.value
		return s.settle(ctx)
	})
	return got, err
}

func (s *source) permit(level quantity.Level) error {
	if s.Interlock == nil {
		return fmt.Errorf("%w: no interlock is there to pass it", drivers.ErrInterlock)
	}
	return s.Interlock.Permit(s.Opening.Name, level)
}

// readLevel reads a level; a number alone is in dBm where that was asked for.
func readLevel(text string, asked quantity.Level) (quantity.Level, error) {
	if confirms(text) {
		return asked, nil
	}
	if strings.Contains(text, ",") {
		return quantity.Level{}, fmt.Errorf("%w: %q has a comma; write decimals with a point", quantity.ErrSyntax, printable(text))
	}
	x, err := quantity.ParseLevel(text)
	if err != nil && !asked.IsVoltage() {
		if bare, e := quantity.ParseLevel(text + " dBm"); e == nil {
			return bare, nil
		}
	}
	return x, err
}

func (s *source) wrongLevel(x, asked quantity.Level) string {
	load := quantity.Dbm50()
	off := x.DBm(load) - asked.DBm(load)
	switch {
	case s.permit(x) != nil:
		return fmt.Sprintf("%s is more than the input may get, %s is wanted: "+never, x, asked)
	case math.Abs(off) > s.levelStep()/2+1e-9:
		return fmt.Sprintf("%s is not what is wanted; set %s", x, asked)
	}
	return ""
}

func (s *source) levelStep() float64 {
	if s.Panel.LevelStep > 0 {
		return s.Panel.LevelStep
	}
	return 0.1
}

// Recover leaves RF off and the level forgotten, as after opening.
func (s *source) Recover(ctx context.Context) error {
	return s.act(ctx, "recover", func(ctx context.Context) error {
		s.level = nil
		return s.off(ctx)
	})
}

// Close has RF switched off, for which it waits only shortly: the run has asked
// before.
func (s *source) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), closeWithin)
	defer cancel()
	return s.RFOff(ctx)
}
