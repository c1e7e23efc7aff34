package virtual

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"bandproof/drivers/scpi"
)

// relay is the model of a coaxial switch.
type relay struct {
	b      *Bench
	sc     SwitchScenario
	status status
	closed int // channel; 0 is none
}

func newRelay(b *Bench, sc SwitchScenario) *relay {
	return &relay{b: b, sc: sc, status: status{size: sc.Link.ErrorQueue, esr: scpi.PowerOn}}
}

func (r *relay) name() string        { return r.sc.Name }
func (r *relay) link() LinkScenario  { return r.sc.Link }
func (r *relay) identity() Identity  { return r.sc.Identity }
func (r *relay) registers() *status  { return &r.status }
func (r *relay) poweredFor() float64 { return longPowered + r.b.now() }
func (r *relay) commands() []command { return relayCommands }
func (r *relay) settleUp()           {}
func (r *relay) clear()              {}
func (r *relay) gone(*session)       {}
func (r *relay) reset()              { r.move(0) }

func (r *relay) pending() (time.Time, <-chan struct{}, bool) { return time.Time{}, nil, false }
func (r *relay) conditions() (questionable, operation int)   { return 0, 0 }

func (r *relay) occasion() occasion {
	return occasion{instrument: r.sc.Name, powered: r.poweredFor(), ambient: r.b.ambient, draw: newDraw(r.b.seed, r.sc.Name, strconv.Itoa(r.closed), 0)}
}

// move closes a channel and opens all others, or opens all; a fault may hold
// the switch where it is.
func (r *relay) move(channel int) {
	if r.b.relayMods(r.occasion()).stuck {
		return
	}
	r.b.change(func() {
		r.closed = channel
		for _, w := range r.b.wires {
			if w.relay == r && w.plugged && (w.channel != channel || r.dead()) {
				r.b.unplug(w)
			}
		}
		for _, w := range r.b.wires {
			if w.relay == r && w.channel == channel && !r.dead() {
				r.b.plug(w)
			}
		}
	})
}

// dead tells whether the contacts do not close though the switch says so.
func (r *relay) dead() bool { return r.b.relayMods(r.occasion()).dead }

func onRelay(pattern string, query bool, most int, run func(r *relay, args []string) (string, error)) command {
	return command{scpi.MustPattern(pattern), query, most, func(s *session, args []string) (string, error) {
		return run(s.dev.(*relay), args)
	}}
}

var relayCommands = []command{
	onRelay("ROUTe:CLOSe", false, 1, func(r *relay, args []string) (string, error) {
		channel, err := r.channel(args)
		if err == nil {
			r.move(channel)
		}
		return "", err
	}),
	onRelay("ROUTe:CLOSe", true, 1, func(r *relay, args []string) (string, error) {
		channel, err := r.channel(args)
		return scpi.FormatBool(err == nil && channel == r.closed), err
	}),
	onRelay("ROUTe:CLOSe:STATe", true, 0, func(r *relay, _ []string) (string, error) {
		if r.closed == 0 {
			return "(@)", nil
		}
		return fmt.Sprintf("(@%d)", r.closed), nil
	}),
	onRelay("ROUTe:OPEN", false, 1, func(r *relay, args []string) (string, error) {
		channel, err := r.channel(args)
		if err == nil && channel == r.closed {
			r.move(0)
		}
		return "", err
	}),
	onRelay("ROUTe:OPEN:ALL", false, 0, func(r *relay, _ []string) (string, error) { r.move(0); return "", nil }),
}

// channel reads a channel list with one channel, such as (@2).
func (r *relay) channel(args []string) (int, error) {
	if len(args) == 0 {
		return 0, errMissing
	}
	text, begins := strings.CutPrefix(strings.TrimSpace(args[0]), "(@")
	text, ends := strings.CutSuffix(text, ")")
	if !begins || !ends {
		return 0, errDataType
	}
	n, err := strconv.Atoi(strings.TrimSpace(text))
	if err != nil {
		return 0, errIllegalValue
	}
	if n < 1 || n > r.sc.Positions {
		return 0, errOutOfRange
	}
	return n, nil
}
