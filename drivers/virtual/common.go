package virtual

import (
	"strconv"
	"strings"

	"bandproof/drivers/scpi"
	"bandproof/procedures/quantity"
)

// scpiVersion is what SYSTem:VERSion? answers.
const scpiVersion = "1999.0"

// commonCommands are those that every instrument here knows.
var commonCommands = []command{
	{scpi.MustPattern("*IDN"), true, 0, func(s *session, _ []string) (string, error) {
		id := s.dev.identity()
		return strings.Join([]string{id.Maker, id.Model, id.Serial, id.Firmware}, ","), nil
	}},
	{scpi.MustPattern("*RST"), false, 0, func(s *session, _ []string) (string, error) { s.dev.reset(); return "", nil }},
	{scpi.MustPattern("*CLS"), false, 0, func(s *session, _ []string) (string, error) {
		s.dev.registers().clear()
		return "", nil
	}},
	{scpi.MustPattern("*TST"), true, 0, func(s *session, _ []string) (string, error) {
		if c, ok := s.dev.(*counter); ok {
			return strconv.Itoa(c.selfTest()), nil
		}
		return "0", nil
	}},
	{scpi.MustPattern("*OPC"), false, 0, func(s *session, _ []string) (string, error) {
		s.passInstantly()
		s.dev.registers().opc = true
		s.poll()
		return "", nil
	}},
	{scpi.MustPattern("*OPC"), true, 0, func(s *session, _ []string) (string, error) { return "1", s.await() }},
	{scpi.MustPattern("*WAI"), false, 0, func(s *session, _ []string) (string, error) { return "", s.await() }},
	{scpi.MustPattern("*ESR"), true, 0, func(s *session, _ []string) (string, error) {
		s.poll()
		st := s.dev.registers()
		v := st.esr
		st.esr = 0
		return strconv.Itoa(v), nil
	}},
	{scpi.MustPattern("*STB"), true, 0, func(s *session, _ []string) (string, error) {
		s.poll()
		_, oper := s.dev.conditions()
		return strconv.Itoa(s.dev.registers().byte(oper, false)), nil
	}},
	register("*ESE", func(s *status) *int { return &s.ese }, 255),
	registerQuery("*ESE", func(s *status) *int { return &s.ese }),
	register("*SRE", func(s *status) *int { return &s.sre }, 255&^scpi.MasterSummary),
	registerQuery("*SRE", func(s *status) *int { return &s.sre }),
	{scpi.MustPattern("SYSTem:ERRor[:NEXT]"), true, 0, func(s *session, _ []string) (string, error) {
		return s.dev.registers().pop().String(), nil
	}},
	{scpi.MustPattern("SYSTem:ERRor:COUNt"), true, 0, func(s *session, _ []string) (string, error) {
		return strconv.Itoa(len(s.dev.registers().queue)), nil
	}},
	{scpi.MustPattern("SYSTem:VERSion"), true, 0, func(*session, []string) (string, error) { return scpiVersion, nil }},
	{scpi.MustPattern("STATus:PRESet"), false, 0, func(s *session, _ []string) (string, error) {
		st := s.dev.registers()
		st.quesEn, st.operEn = 0, 0
		return "", nil
	}},
	{scpi.MustPattern("STATus:QUEStionable:CONDition"), true, 0, func(s *session, _ []string) (string, error) {
		s.passInstantly()
		ques, _ := s.dev.conditions()
		return strconv.Itoa(ques), nil
	}},
	{scpi.MustPattern("STATus:QUEStionable[:EVENt]"), true, 0, func(s *session, _ []string) (string, error) {
		s.passInstantly()
		s.dev.conditions()
		st := s.dev.registers()
		v := st.ques
		st.ques = 0
		return strconv.Itoa(v), nil
	}},
	register("STATus:QUEStionable:ENABle", func(s *status) *int { return &s.quesEn }, 32767),
	registerQuery("STATus:QUEStionable:ENABle", func(s *status) *int { return &s.quesEn }),
	{scpi.MustPattern("STATus:OPERation:CONDition"), true, 0, func(s *session, _ []string) (string, error) {
		_, oper := s.dev.conditions()
		return strconv.Itoa(oper), nil
	}},
	register("STATus:OPERation:ENABle", func(s *status) *int { return &s.operEn }, 32767),
	registerQuery("STATus:OPERation:ENABle", func(s *status) *int { return &s.operEn }),
}

// passInstantly lets the pending time pass where the clock never waits, so
// that a client which polls comes to an end.
func (s *session) passInstantly() {
	if !isInstant(s.b.clock) {
		return
	}
	if until, _, busy := s.dev.pending(); busy && !until.IsZero() {
		_ = s.b.clock.Sleep(s.ctx, until.Sub(s.b.clock.Now())) // the context's end is seen by the session
	}
	s.b.catchUp()
}

// poll notes the end of an operation that *OPC waits for.
func (s *session) poll() {
	s.b.catchUp()
	if _, _, busy := s.dev.pending(); !busy && s.dev.registers().opc {
		s.dev.settleUp()
		s.dev.registers().complete()
	}
}

func register(pattern string, at func(*status) *int, mask int) command {
	return command{scpi.MustPattern(pattern), false, 1, func(s *session, args []string) (string, error) {
		if len(args) == 0 {
			return "", errMissing
		}
		v, err := numeric(args[0], "", bounds[quantity.One]{high: quantity.Of[quantity.One](int64(mask), 0)})
		if err != nil {
			return "", err
		}
		f := v.Float()
		if f < 0 || f > 65535 {
			return "", errOutOfRange
		}
		*at(s.dev.registers()) = int(f+0.5) & mask
		return "", nil
	}}
}

func registerQuery(pattern string, at func(*status) *int) command {
	return command{scpi.MustPattern(pattern), true, 0, func(s *session, _ []string) (string, error) {
		return strconv.Itoa(*at(s.dev.registers())), nil
	}}
}
