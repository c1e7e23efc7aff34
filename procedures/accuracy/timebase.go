package accuracy

import (
	"fmt"

	"bandproof/procedures/quantity"

	"github.com/cockroachdb/apd/v3"
)

// Timebase is what a unit promises of its own timebase: either one stated
// figure, or terms that are combined.
type Timebase struct {
	Stated      *quantity.Ratio   `toml:"stated,omitempty" json:"stated,omitempty" jsonschema_description:"Accuracy as one figure, such as 0.5 ppm. Give this or the terms below."`
	Ageing      *quantity.Ratio   `toml:"ageing,omitempty" json:"ageing,omitempty" jsonschema_description:"Ageing per period."`
	Per         string            `toml:"per,omitempty" json:"per,omitempty" jsonschema:"enum=day,enum=month,enum=year" jsonschema_description:"Period of the ageing."`
	Interval    quantity.Duration `toml:"interval,omitempty" json:"interval" jsonschema_description:"Time since adjustment that the ageing is taken over, unless the job states the date of the last adjustment."`
	Temperature *quantity.Ratio   `toml:"temperature,omitempty" json:"temperature,omitempty" jsonschema_description:"Largest change over the permitted range of temperature."`
	Line        *quantity.Ratio   `toml:"line,omitempty" json:"line,omitempty" jsonschema_description:"Largest change over the permitted line voltage."`
	WarmUp      *quantity.Ratio   `toml:"warm_up,omitempty" json:"warm_up,omitempty" jsonschema_description:"What remains after the stated warm-up."`
	// Combine is "linear" (worst case, the default) or "rss" where the
	// specification says so.
	Combine string `toml:"combine,omitempty" json:"combine,omitempty" jsonschema:"enum=linear,enum=rss" jsonschema_description:"linear (worst case) unless the specification says root of the sum of squares."`
}

// periods of ageing in seconds (a month is a twelfth of a year of 365 days).
var periods = map[string]quantity.Duration{
	"day": quantity.Of[quantity.Second](86400, 0), "month": quantity.Of[quantity.Second](2628000, 0), "year": quantity.Of[quantity.Second](31536000, 0),
}

// Term is one part of a limit.
type Term struct {
	Name string         `json:"name"`
	Hz   quantity.Exact `json:"hz"`
	// How the value came about, for a person: "1 × 10 Hz".
	How string `json:"how"`
}

// Relative returns the promised largest |relative error| of the timebase, a
// time since the last adjustment (zero: the stated interval), and how it came
// about.
func (t Timebase) Relative(since quantity.Duration) (quantity.Exact, string, error) {
	if t.Stated != nil {
		return t.Stated.Exact().Abs(), "stated " + t.Stated.String(), nil
	}
	var parts []quantity.Exact
	how := ""
	add := func(x quantity.Exact, text string) {
		parts = append(parts, x.Abs())
		if how != "" {
			how += " + "
		}
		how += text
	}
	if t.Ageing != nil {
		period, ok := periods[t.Per]
		if !ok {
			return quantity.Exact{}, "", fmt.Errorf("ageing is per %q; expected day, month or year", t.Per)
		}
		if since.Sign() == 0 {
			since = t.Interval
		}
		if since.Sign() <= 0 {
			return quantity.Exact{}, "", fmt.Errorf("time since adjustment is %s; the ageing term needs one above zero (interval, or the date of the last adjustment)", since)
		}
		add(t.Ageing.Exact().Mul(since.Exact()).Quo(period.Exact()), fmt.Sprintf("ageing %s per %s over %s", t.Ageing, t.Per, since))
	}
	for _, x := range []struct {
		name string
		r    *quantity.Ratio
	}{{"temperature", t.Temperature}, {"line", t.Line}, {"warm-up", t.WarmUp}} {
		if x.r != nil {
			add(x.r.Exact(), x.name+" "+x.r.String())
		}
	}
	if len(parts) == 0 {
		return quantity.Exact{}, "", fmt.Errorf("timebase promises nothing; give stated, or ageing, temperature, line or warm_up")
	}
	if t.Combine == "rss" {
		x, err := rss(parts)
		return x, "root of sum of squares of " + how, err
	}
	sum := quantity.Exact{}
	for _, p := range parts {
		sum = sum.Add(p)
	}
	return sum, how, nil
}

// Drift is how far the stated ageing lets the timebase go within a time; stated
// is false where no ageing is.
func (t Timebase) Drift(over quantity.Duration) (relative quantity.Exact, stated bool) {
	period, ok := periods[t.Per]
	if t.Ageing == nil || !ok {
		return quantity.Exact{}, false
	}
	return t.Ageing.Exact().Abs().Mul(over.Exact()).Quo(period.Exact()), true
}

// rss returns the root of the sum of squares to 50 digits.
func rss(parts []quantity.Exact) (quantity.Exact, error) {
	sum := quantity.Exact{}
	for _, p := range parts {
		sum = sum.Add(p.Mul(p))
	}
	r := sum.Rat()
	ctx := apd.BaseContext.WithPrecision(60)
	var n, d apd.BigInt
	n.SetMathBigInt(r.Num())
	d.SetMathBigInt(r.Denom())
	var q, root apd.Decimal
	if _, err := ctx.Quo(&q, apd.NewWithBigInt(&n, 0), apd.NewWithBigInt(&d, 0)); err != nil {
		return quantity.Exact{}, fmt.Errorf("root of sum of squares: %w", err)
	}
	if _, err := apd.BaseContext.WithPrecision(50).Sqrt(&root, &q); err != nil {
		return quantity.Exact{}, fmt.Errorf("root of sum of squares: %w", err)
	}
	return quantity.ExactOf(quantity.RatOf(&root)), nil
}
