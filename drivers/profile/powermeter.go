package profile

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"bandproof/drivers"
	"bandproof/drivers/scpi"
	"bandproof/procedures/quantity"
)

// Correction tells a power meter the frequency of the signal.
type Correction struct {
	Commands []string           `toml:"commands" jsonschema_description:"Messages with {hertz}, {kilohertz} or {megahertz}."`
	Wait     *quantity.Duration `toml:"wait,omitempty" jsonschema_description:"Pause after the last command."`
}

// Measure takes one level.
type Measure struct {
	Commands   []string           `toml:"commands,omitempty" jsonschema_description:"Messages that arm the measurement, if the query alone does not."`
	Query      string             `toml:"query" jsonschema_description:"Question that returns the level once it is measured."`
	Reply      *Reply             `toml:"reply,omitempty" jsonschema_description:"How the answer is read; unit is dBm (unless stated), W or mW."`
	UnderRange []string           `toml:"under_range,omitempty" jsonschema_description:"Whole answers that stand for too little, beside -9.9E37."`
	Timeout    *quantity.Duration `toml:"timeout,omitempty" jsonschema_description:"How long a measurement may take; 10 s unless stated."`
}

// Zero takes the zero of a power meter.
type Zero struct {
	Commands []string           `toml:"commands,omitempty" jsonschema_description:"Messages that begin the zeroing, if the query alone does not."`
	Query    string             `toml:"query" jsonschema_description:"Question that is answered once it is done, such as *OPC?."`
	Expect   []string           `toml:"expect" jsonschema_description:"Answers that stand for done."`
	Timeout  *quantity.Duration `toml:"timeout,omitempty" jsonschema_description:"How long it may take; 30 s unless stated."`
}

// Units of a level beside dBm, which is the default.
const (
	unitDBm       = "dBm"
	unitWatt      = "W"
	unitMilliwatt = "mW"
)

const (
	measureTimeout = 10 * time.Second
	zeroTimeout    = 30 * time.Second
	// wattDecimals is how many decimals of a dBm are kept of an answer in watts.
	wattDecimals = 4
)

// powerMeter plays the role drivers.PowerMeter.
type powerMeter struct {
	*device
	at *quantity.Frequency // last told; nil: none yet
}

// OpenPowerMeter begins the conversation with a power meter.
func (p *Profile) OpenPowerMeter(ctx context.Context, o Opening) (drivers.PowerMeter, error) {
	d, err := p.openDevice(ctx, o, RolePowerMeter)
	if err != nil {
		return nil, err
	}
	m := &powerMeter{device: d}
	d.again = m.setUpAgain
	q, z := errorAbility{d, d.session}, zeroAbility{m}
	switch [2]bool{p.file.Errors != nil, p.file.Zero != nil} {
	case [2]bool{true, false}:
		return struct {
			drivers.PowerMeter
			drivers.ErrorQueue
		}{m, q}, nil
	case [2]bool{false, true}:
		return struct {
			drivers.PowerMeter
			drivers.Zeroer
		}{m, z}, nil
	case [2]bool{true, true}:
		return struct {
			drivers.PowerMeter
			drivers.ErrorQueue
			drivers.Zeroer
		}{m, q, z}, nil
	}
	return struct{ drivers.PowerMeter }{m}, nil
}

func (m *powerMeter) setUpAgain(ctx context.Context) error {
	if err := m.begins(ctx); err != nil || m.at == nil {
		return err
	}
	return m.setFrequency(ctx, *m.at)
}

// SetFrequency tells the meter the frequency of the signal.
func (m *powerMeter) SetFrequency(ctx context.Context, f quantity.Frequency) error {
	return m.act(ctx, fmt.Sprintf("set the correction for %s", f), func(ctx context.Context) error {
		if f.Sign() <= 0 {
			return fmt.Errorf("%s is no frequency of a signal; expected above zero", f)
		}
		return m.setFrequency(ctx, f)
	})
}

func (m *powerMeter) setFrequency(ctx context.Context, f quantity.Frequency) error {
	if k := m.file.Correction; k != nil {
		w := words{holdHertz: f.Plain(), holdKilohertz: f.In("kHz"), holdMegahertz: f.In("MHz")}
		if err := m.commands(ctx, k.Commands, w, clockOr(k.Wait, 0)); err != nil {
			return err
		}
		if err := m.complaints(ctx); err != nil {
			return err
		}
	}
	m.at = &f
	return nil
}

// Measure takes one measurement and waits for it.
func (m *powerMeter) Measure(ctx context.Context) (got drivers.LevelReading, err error) {
	err = m.act(ctx, "measure", func(ctx context.Context) error {
		x := m.file.Measure
		if err := m.commands(ctx, x.Commands, nil, 0); err != nil {
			return err
		}
		answer, err := m.ask(ctx, x.Query, clockOr(x.Timeout, measureTimeout))
		if err != nil {
			return err
		}
		level, mark, err := x.level(answer)
		if err != nil {
			return m.understand(x.Query, err)
		}
		got = drivers.LevelReading{Text: printable(answer), Level: level, Mark: mark, At: m.clock.Now()}
		return nil
	})
	return got, err
}

// level reads an answer as a level in dBm, every digit of a dBm kept.
func (x *Measure) level(answer string) (quantity.Level, drivers.Mark, error) {
	r, unit := Reply{}, unitDBm
	if x.Reply != nil {
		r = *x.Reply
		unit, r.Unit = stated(r.Unit, unitDBm), ""
	}
	if x.under(&r, answer) {
		return quantity.Level{}, drivers.UnderRange, nil
	}
	n, mark, err := value[quantity.One](&r, answer)
	if err != nil || mark != drivers.None {
		return quantity.Level{}, mark, err
	}
	if unit == unitDBm {
		level, err := quantity.ParseLevel(n.Plain() + " dBm")
		if err != nil {
			err = fmt.Errorf("%w: %s: %w", drivers.ErrUnreadable, quote(answer), err)
		}
		return level, drivers.None, err
	}
	if n.Sign() <= 0 { // noise about zero: no power that could be told from none
		return quantity.Level{}, drivers.UnderRange, nil
	}
	dbm := 10 * math.Log10(n.Float())
	if unit == unitWatt {
		dbm += 30
	}
	return quantity.DBmLevel(dbm, wattDecimals), drivers.None, nil
}

// under tells whether an answer stands for too little.
func (x *Measure) under(r *Reply, answer string) bool {
	whole := strings.TrimSpace(answer)
	if isAnswer(whole, x.UnderRange) {
		return true
	}
	text, err := r.strip(whole)
	if err != nil {
		return false
	}
	n, err := scpi.ParseNumber([]byte(text))
	return err == nil && n.Marker == scpi.MinusInfinity
}

// zeroAbility is drivers.Zeroer.
type zeroAbility struct{ *powerMeter }

// Zero takes the meter's zero and waits for its end. RF must be off.
func (a zeroAbility) Zero(ctx context.Context) error {
	return a.act(ctx, "zero", func(ctx context.Context) error {
		z := a.file.Zero
		if err := a.commands(ctx, z.Commands, nil, 0); err != nil {
			return err
		}
		if err := a.confirm(ctx, z.Query, clockOr(z.Timeout, zeroTimeout), z.Expect, drivers.ErrInstrument); err != nil {
			return err
		}
		return a.complaints(ctx)
	})
}
