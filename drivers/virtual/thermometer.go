package virtual

import (
	"strconv"
	"time"

	"bandproof/drivers/scpi"
	"bandproof/procedures/quantity"
)

// thermometer is the model of a thermometer and hygrometer in the room.
type thermometer struct {
	b      *Bench
	sc     ThermometerScenario
	status status
}

func newThermometer(b *Bench, sc ThermometerScenario) *thermometer {
	return &thermometer{b: b, sc: sc, status: status{size: sc.Link.ErrorQueue, esr: scpi.PowerOn}}
}

func (t *thermometer) name() string        { return t.sc.Name }
func (t *thermometer) link() LinkScenario  { return t.sc.Link }
func (t *thermometer) identity() Identity  { return t.sc.Identity }
func (t *thermometer) registers() *status  { return &t.status }
func (t *thermometer) poweredFor() float64 { return longPowered + t.b.now() }
func (t *thermometer) commands() []command { return thermometerCommands }
func (t *thermometer) settleUp()           {}
func (t *thermometer) clear()              {}
func (t *thermometer) gone(*session)       {}
func (t *thermometer) reset()              {}

func (t *thermometer) pending() (time.Time, <-chan struct{}, bool) { return time.Time{}, nil, false }
func (t *thermometer) conditions() (questionable, operation int)   { return 0, 0 }

func onThermometer(pattern string, run func(t *thermometer) float64) command {
	return command{scpi.MustPattern(pattern), true, 0, func(s *session, _ []string) (string, error) {
		t := s.dev.(*thermometer)
		return number(strconv.FormatFloat(run(t), 'f', 1, 64), t.sc.Link.Numbers), nil
	}}
}

var thermometerCommands = []command{
	onThermometer("MEASure[:SCALar]:TEMPerature", func(t *thermometer) float64 {
		shown := t.b.ambient
		if t.sc.Error != nil {
			shown += t.sc.Error.Float()
		}
		return shown
	}),
	// No command of SCPI-1999 asks for humidity: common practice, no source.
	onThermometer("MEASure[:SCALar]:HUMidity", func(t *thermometer) float64 { return t.b.humidity }),
}

// SetHumidity changes the relative humidity of the room.
func (b *Bench) SetHumidity(h quantity.Ratio) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.humidity = 100 * h.Float()
}
