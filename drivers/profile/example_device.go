package profile

import (
	"context"
	"fmt"

	"bandproof/drivers"
	"bandproof/procedures/quantity"
)

// performDevice does the actions of switch, power meter and thermometer; done
// is false for any other instrument.
func (e Example) performDevice(ctx context.Context, instrument drivers.Instrument) (text string, err error, done bool) {
	switch i := instrument.(type) {
	case drivers.Switch:
		text, err = e.performSwitch(ctx, i)
	case drivers.PowerMeter:
		text, err = e.performPowerMeter(ctx, i)
	case drivers.Thermometer:
		text, err = e.performThermometer(ctx, i)
	default:
		return "", nil, false
	}
	return text, err, true
}

func (e Example) performSwitch(ctx context.Context, s drivers.Switch) (string, error) {
	switch e.Do {
	case "route":
		return "", s.Route(ctx, e.With)
	case "position":
		position, err := s.Position(ctx)
		if err == nil && position == "" {
			position = wordNone
		}
		return position, err
	}
	return "", fmt.Errorf("a switch cannot do %q", e.Do)
}

func (e Example) performPowerMeter(ctx context.Context, m drivers.PowerMeter) (string, error) {
	switch e.Do {
	case "correction":
		f, err := quantity.Parse[quantity.Hertz](e.With)
		if err != nil {
			return "", err
		}
		return "", m.SetFrequency(ctx, f)
	case "measure":
		r, err := m.Measure(ctx)
		if err == nil && r.Mark != drivers.None {
			return string(r.Mark), nil
		}
		return r.Level.String(), err
	case "zero":
		if z, ok := m.(drivers.Zeroer); ok {
			return "", z.Zero(ctx)
		}
	}
	return "", fmt.Errorf("power meter %s cannot do %q", m.Name(), e.Do)
}

func (e Example) performThermometer(ctx context.Context, t drivers.Thermometer) (string, error) {
	switch e.Do {
	case "temperature":
		v, err := t.Temperature(ctx)
		return v.String(), err
	case "humidity":
		if h, ok := t.(drivers.Hygrometer); ok {
			v, err := h.Humidity(ctx)
			return v.String(), err
		}
	}
	return "", fmt.Errorf("thermometer %s cannot do %q", t.Name(), e.Do)
}
