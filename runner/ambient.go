package runner

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
)

// Ambient is what a thermometer told of the room.
type Ambient struct {
	At          time.Time             `json:"at"`
	When        string                `json:"when"` // "start", "input A", "end"
	Thermometer string                `json:"thermometer"`
	Temperature *quantity.Temperature `json:"temperature,omitempty"`
	Humidity    *quantity.Ratio       `json:"humidity,omitempty"`
	Failed      string                `json:"failed,omitempty"` // why there is none
}

// ambient asks every thermometer and keeps what it says with the run. What lies
// outside the range of the bench file is a warning, and so is a thermometer
// that does not answer: it is not asked again, and the run goes on.
func (r *run) ambient(ctx context.Context, when string) {
	for _, name := range slices.Sorted(maps.Keys(r.Thermometers)) {
		if r.deaf[name] {
			continue
		}
		a, err := r.conditions(ctx, r.Thermometers[name])
		if err != nil && ctx.Err() == nil && r.Thermometers[name].Recover(ctx) == nil {
			a, err = r.conditions(ctx, r.Thermometers[name])
		}
		if ctx.Err() != nil {
			return
		}
		a.When, a.At = when, r.Clock.Now()
		if err != nil {
			a.Failed = err.Error()
			r.unheard(ctx, name, err)
		}
		r.result.Ambient = append(r.result.Ambient, a)
		r.comfortable(ctx, a)
	}
}

func (r *run) conditions(ctx context.Context, t drivers.Thermometer) (Ambient, error) {
	a := Ambient{Thermometer: t.Name()}
	temperature, err := t.Temperature(ctx)
	if err != nil {
		return a, err
	}
	a.Temperature = &temperature
	if h, ok := t.(drivers.Hygrometer); ok {
		humidity, err := h.Humidity(ctx)
		if err != nil {
			return a, err
		}
		a.Humidity = &humidity
	}
	return a, nil
}

// unheard notes a thermometer that does not answer.
func (r *run) unheard(ctx context.Context, name string, err error) {
	r.deaf[name] = true
	r.warn(ctx, fmt.Sprintf("thermometer %s does not answer and is not asked again; ambient conditions are not known from here on: %v", name, err))
}

// comfortable warns where a condition lies outside its range.
func (r *run) comfortable(ctx context.Context, a Ambient) {
	spec, _ := r.Bench.Thermometer(a.Thermometer)
	if a.Temperature != nil {
		if what := procedures.Outside(*a.Temperature, spec.Temperature); what != "" {
			r.warn(ctx, fmt.Sprintf("%s: ambient temperature by thermometer %s is %s", a.When, a.Thermometer, what))
		}
	}
	if a.Humidity != nil {
		if what := procedures.Outside(*a.Humidity, spec.Humidity); what != "" {
			r.warn(ctx, fmt.Sprintf("%s: relative humidity by thermometer %s is %s", a.When, a.Thermometer, what))
		}
	}
}
