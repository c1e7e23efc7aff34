package quantity

import (
	"fmt"
	"math"
	"strings"

	"github.com/cockroachdb/apd/v3"
)

// Level is a signal level as a specification states it: a power in dBm, or a
// voltage (rms). The zero value is 0 dBm.
type Level struct {
	d     apd.Decimal
	volts bool
}

// ParseLevel reads "-20 dBm" or a voltage such as "25 mV" or "25 mV rms".
func ParseLevel(text string) (Level, error) {
	number, name, err := split(text)
	if err == nil && name == "dBm" {
		d, err := decimal(number)
		if err == nil {
			err = bounded(d)
		}
		if err != nil {
			return Level{}, levelMistake(text, err.Error())
		}
		return Level{d: *d}, nil
	}
	v, err := Parse[Volt](text)
	if err != nil {
		if name == "" {
			return Level{}, levelMistake(text, "has no unit or no number")
		}
		return Level{}, levelMistake(text, fmt.Sprintf("has unit %q", name))
	}
	if v.Sign() < 0 {
		return Level{}, levelMistake(text, "is a negative voltage")
	}
	return Level{d: v.d, volts: true}, nil
}

func levelMistake(text, why string) error {
	return fmt.Errorf("%w: %q %s; expected a level such as \"-20 dBm\" or \"25 mV\"", ErrSyntax, clip(text), why)
}

// MustLevel is ParseLevel for constants; it panics on a text that is refused.
func MustLevel(text string) Level {
	l, err := ParseLevel(text)
	if err != nil {
		panic(err)
	}
	return l
}

// DBmLevel returns a level in dBm rounded to the given number of decimals,
// which is what a source is told. Values that are not finite give -999 dBm,
// far below what any source accepts.
func DBmLevel(dbm float64, decimals int) Level {
	if math.IsNaN(dbm) || math.IsInf(dbm, 0) {
		dbm = -999
	}
	d, _, err := apd.NewFromString(strings.TrimSpace(fmt.Sprintf("%.*f", decimals, dbm)))
	if err != nil {
		return Level{d: *apd.New(-999, 0)}
	}
	if d.IsZero() {
		d.Negative = false
	}
	return Level{d: *d}
}

// VoltLevel returns a level in volts rms to four significant digits.
func VoltLevel(volts float64) Level {
	d, _, err := apd.NewFromString(fmt.Sprintf("%.3e", math.Max(volts, 0)))
	if err != nil || d.Form != apd.Finite {
		return Level{volts: true}
	}
	return Level{d: *d, volts: true}
}

// IsVoltage tells whether the level was stated as a voltage.
func (l Level) IsVoltage() bool { return l.volts }

// DBm returns the level in dBm. A voltage is converted as if it stood across
// resistance r (the definition of dBm, P = V²/R); 0 V gives -Inf.
func (l Level) DBm(r Resistance) float64 {
	x, _ := RatOf(&l.d).Float64()
	if !l.volts {
		return x
	}
	return 10 * math.Log10(x*x/r.Float()*1000)
}

// Volts returns the rms voltage, of a power as it stands across resistance r.
func (l Level) Volts(r Resistance) float64 {
	x, _ := RatOf(&l.d).Float64()
	if l.volts {
		return x
	}
	return math.Sqrt(math.Pow(10, x/10) / 1000 * r.Float())
}

// DBmPlain returns the number of a level in dBm as text, and false for a voltage.
func (l Level) DBmPlain() (string, bool) { return l.d.Text('f'), !l.volts }

// Exact returns the number as stated, in dBm or in volts.
func (l Level) Exact() Exact { return Exact{RatOf(&l.d)} }

// String writes the level in the unit in which it was stated.
func (l Level) String() string {
	if l.volts {
		return Value[Volt]{l.d}.String()
	}
	return l.d.Text('f') + " dBm"
}

// Grouped writes like String for print.
func (l Level) Grouped() string {
	if l.volts {
		return Value[Volt]{l.d}.Grouped()
	}
	return Group(l.d.Text('f')) + narrow + "dBm"
}

// MarshalText writes the form of String.
func (l Level) MarshalText() ([]byte, error) { return []byte(l.String()), nil }

// UnmarshalText reads what ParseLevel reads.
func (l *Level) UnmarshalText(text []byte) error {
	p, err := ParseLevel(string(text))
	if err != nil {
		return err
	}
	*l = p
	return nil
}

// Pattern returns the regular expression of accepted texts and an example.
func (l Level) Pattern() (pattern, example string) {
	return numberPattern + `(dBm|[kmuµμ]?V( rms)?)\s*$`, "-20 dBm"
}

// Dbm50 is the resistance that dBm refers to in this trade.
func Dbm50() Resistance { return Of[Ohm](50, 0) }
