package virtual

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"bandproof/drivers/scpi"
	"bandproof/procedures/quantity"
)

func (c *counter) name() string        { return c.sc.Name }
func (c *counter) link() LinkScenario  { return c.sc.Link }
func (c *counter) identity() Identity  { return c.sc.Identity }
func (c *counter) registers() *status  { return &c.status }
func (c *counter) poweredFor() float64 { return c.powered() }
func (c *counter) settleUp()           {}
func (c *counter) clear()              { c.abort() }

// pending tells of the open gate.
func (c *counter) pending() (until time.Time, changed <-chan struct{}, busy bool) {
	c.catchUp()
	if c.run == nil {
		return time.Time{}, nil, false
	}
	if c.run.waiting {
		return time.Time{}, c.run.changed, true
	}
	return c.run.end, c.run.changed, true
}

// reset is *RST. The cable follows the selected input.
func (c *counter) reset() {
	c.abort()
	c.status.opc = false
	c.b.change(c.preset)
}

func (c *counter) conditions() (questionable, operation int) {
	if _, _, busy := c.pending(); busy {
		operation = operMeasuring
	}
	return 0, operation
}

// gone stops a gate that the client began.
func (c *counter) gone(s *session) {
	c.catchUp()
	if c.run != nil && c.run.owner == s {
		c.abort()
	}
}

// initiate opens a gate. On the instant clock it is over at once.
func (c *counter) initiate(s *session) {
	c.begin(s)
	s.passInstantly()
}

// fetch waits for the open gate and gives its reading.
func (c *counter) fetch(s *session) (string, error) {
	mine := c.run
	if err := s.await(); err != nil {
		if c.run != nil && c.run == mine && c.run.owner == s {
			c.abort() // what the client gave up on must not use up an ordinal
		}
		return "", err
	}
	if c.last == "" {
		return "", errStale
	}
	return c.last, nil
}

func (c *counter) commands() []command { return counterCommands }

// onCounter makes a command of a function on the counter's model.
func onCounter(pattern string, query bool, most int, run func(c *counter, s *session, args []string) (string, error)) command {
	return command{scpi.MustPattern(pattern), query, most, func(s *session, args []string) (string, error) {
		return run(s.dev.(*counter), s, args)
	}}
}

var counterCommands = []command{
	onCounter("[SENSe#:]FUNCtion[:ON]", false, 1, (*counter).setFunction),
	onCounter("[SENSe#:]FUNCtion[:ON]", true, 0, func(c *counter, _ *session, _ []string) (string, error) {
		return fmt.Sprintf("\"FREQ %d\"", c.channel()), nil
	}),
	onCounter("CONFigure[:SCALar][:VOLTage]:FREQuency", false, 3, func(c *counter, _ *session, args []string) (string, error) {
		return "", c.configure(args)
	}),
	onCounter("CONFigure", true, 0, func(c *counter, _ *session, _ []string) (string, error) {
		return fmt.Sprintf("\"FREQ (@%d)\"", c.channel()), nil
	}),
	onCounter("*TRG", false, 0, func(c *counter, s *session, _ []string) (string, error) {
		if c.run == nil { // a trigger while a gate is open is ignored
			c.initiate(s)
		}
		return "", nil
	}),
	onCounter("MEASure[:SCALar][:VOLTage]:FREQuency", true, 3, func(c *counter, s *session, args []string) (string, error) {
		if err := c.configure(args); err != nil {
			return "", err
		}
		c.abort()
		c.initiate(s)
		return c.fetch(s)
	}),
	onCounter("[SENSe#:]FREQuency:APERture", false, 1, (*counter).setAperture),
	onCounter("[SENSe#:]FREQuency:APERture", true, 1, func(c *counter, _ *session, args []string) (string, error) {
		g := c.gate
		if len(args) == 1 {
			var err error
			if g, err = c.gateArgument(args[0]); err != nil {
				return "", err
			}
		}
		return number(g.Plain(), c.sc.Link.Numbers), nil
	}),
	onCounter("INITiate[:IMMediate]", false, 0, func(c *counter, s *session, _ []string) (string, error) {
		if c.run != nil {
			return "", errInitIgnored
		}
		c.initiate(s)
		return "", nil
	}),
	onCounter("FETCh[:SCALar][:FREQuency]", true, 0, func(c *counter, s *session, _ []string) (string, error) { return c.fetch(s) }),
	onCounter("READ[:SCALar][:FREQuency]", true, 0, func(c *counter, s *session, _ []string) (string, error) {
		c.abort() // READ? is ABORt, INITiate, FETCh? (SCPI-1999 vol. 2, 3, from memory)
		c.initiate(s)
		return c.fetch(s)
	}),
	onCounter("ABORt", false, 0, func(c *counter, _ *session, _ []string) (string, error) { c.abort(); return "", nil }),
	onCounter("[SENSe#:]ROSCillator:SOURce", false, 1, (*counter).setOscillator),
	onCounter("[SENSe#:]ROSCillator:SOURce", true, 0, func(c *counter, _ *session, _ []string) (string, error) {
		if c.reports() == ownReference {
			return "INT", nil
		}
		return "EXT", nil
	}),
	onCounter("[SENSe#:]ROSCillator:SOURce:AUTO", true, 0, func(c *counter, _ *session, _ []string) (string, error) {
		return scpi.FormatBool(c.reference == autoReference), nil
	}),
}

var functionPattern = scpi.MustPattern("[VOLTage:]FREQuency")

// setFunction reads "FREQuency 2".
func (c *counter) setFunction(_ *session, args []string) (string, error) {
	if len(args) == 0 {
		return "", errMissing
	}
	a, err := scpi.ParseArgument(args[0])
	if err != nil {
		return "", err
	}
	if a.Kind != scpi.StringData {
		return "", errDataType
	}
	word, channel, _ := strings.Cut(strings.TrimSpace(string(a.Data)), " ")
	if _, ok := functionPattern.Match(word); !ok {
		return "", errIllegalValue
	}
	return "", c.choose(strings.TrimSpace(channel))
}

// choose selects a channel by its number; none stands for the first.
func (c *counter) choose(text string) error {
	channel := c.inputs[0].sc.Channel
	if text != "" {
		n, err := strconv.Atoi(text)
		if err != nil {
			return errIllegalValue
		}
		channel = n
	}
	if !c.selectChannel(channel) {
		return errOutOfRange
	}
	return nil
}

// configure reads the arguments of CONFigure and MEASure: what is expected and
// to what resolution, which change nothing here, and a channel list.
func (c *counter) configure(args []string) error {
	channel := ""
	for i, a := range args {
		if strings.HasPrefix(a, "(@") {
			if i != len(args)-1 || !strings.HasSuffix(a, ")") {
				return errIllegalValue
			}
			channel = strings.TrimSpace(a[2 : len(a)-1])
			continue
		}
		if _, err := numeric(a, "HZ", bounds[quantity.Hertz]{}); err != nil {
			return err
		}
	}
	return c.choose(channel)
}

func (c *counter) gateArgument(arg string) (quantity.Duration, error) {
	return numeric(arg, "S", bounds[quantity.Second]{c.sc.Gate[0], c.sc.Gate[1], c.sc.DefaultGate})
}

func (c *counter) setAperture(_ *session, args []string) (string, error) {
	if len(args) == 0 {
		return "", errMissing
	}
	g, err := c.gateArgument(args[0])
	if err != nil {
		return "", err
	}
	if !c.setGate(g) {
		return "", errOutOfRange
	}
	return "", nil
}

func (c *counter) setOscillator(_ *session, args []string) (string, error) {
	if len(args) == 0 {
		return "", errMissing
	}
	for pattern, choice := range map[string]string{"INTernal": ownReference, "EXTernal": externalReference, "AUTO": autoReference} {
		if scpi.MatchKeyword(pattern, args[0]) {
			if !c.setReference(choice) {
				return "", errHardwareMissing
			}
			return "", nil
		}
	}
	return "", errIllegalValue
}
