package profile

import (
	"context"
	"fmt"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
)

// Ambient asks for a condition of the room.
type Ambient struct {
	Query   string             `toml:"query" jsonschema_description:"The question."`
	Reply   *Reply             `toml:"reply,omitempty" jsonschema_description:"How the answer is read."`
	Timeout *quantity.Duration `toml:"timeout,omitempty" jsonschema_description:"How long the answer may take."`
}

// Bounds of what a room with people in it can have; beyond them an answer is
// no such condition (common sense, no source).
var (
	coldest = quantity.Of[quantity.Celsius](-60, 0)
	hottest = quantity.Of[quantity.Celsius](100, 0)
	soaked  = quantity.Of[quantity.One](1, 0)
)

// thermometer plays the role drivers.Thermometer.
type thermometer struct{ *device }

// OpenThermometer begins the conversation with a thermometer or hygrometer.
func (p *Profile) OpenThermometer(ctx context.Context, o Opening) (drivers.Thermometer, error) {
	d, err := p.openDevice(ctx, o, RoleThermometer)
	if err != nil {
		return nil, err
	}
	d.again = d.begins
	t := thermometer{d}
	q, h := errorAbility{d, d.session}, humidityAbility{d}
	switch [2]bool{p.file.Errors != nil, p.file.Humidity != nil} {
	case [2]bool{true, false}:
		return struct {
			drivers.Thermometer
			drivers.ErrorQueue
		}{t, q}, nil
	case [2]bool{false, true}:
		return struct {
			drivers.Thermometer
			drivers.Hygrometer
		}{t, h}, nil
	case [2]bool{true, true}:
		return struct {
			drivers.Thermometer
			drivers.ErrorQueue
			drivers.Hygrometer
		}{t, q, h}, nil
	}
	return struct{ drivers.Thermometer }{t}, nil
}

// Temperature asks for the ambient temperature.
func (t thermometer) Temperature(ctx context.Context) (quantity.Temperature, error) {
	return ambient(ctx, t.device, "ask for the temperature", t.file.Temperature, "°C", coldest, hottest)
}

// humidityAbility is drivers.Hygrometer.
type humidityAbility struct{ *device }

// Humidity asks for the relative humidity.
func (a humidityAbility) Humidity(ctx context.Context) (quantity.Ratio, error) {
	return ambient(ctx, a.device, "ask for the humidity", a.file.Humidity, "%", quantity.Ratio{}, soaked)
}

func ambient[D quantity.Dimension](ctx context.Context, d *device, doing string, a *Ambient, unit string, low, high quantity.Value[D]) (got quantity.Value[D], err error) {
	err = d.act(ctx, doing, func(ctx context.Context) error {
		answer, err := d.ask(ctx, a.Query, clockOr(a.Timeout, d.timeout()))
		if err != nil {
			return err
		}
		r := Reply{}
		if a.Reply != nil {
			r = *a.Reply
		}
		r.Unit = stated(r.Unit, unit)
		got, err = setting[D](&r, answer)
		if err == nil && (got.Cmp(low) < 0 || got.Cmp(high) > 0) {
			err = fmt.Errorf("%w: %s is no condition of a room; expected %s to %s", drivers.ErrUnreadable, quote(answer), low, high)
		}
		return d.understand(a.Query, err)
	})
	return got, err
}
