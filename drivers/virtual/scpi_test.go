package virtual

import (
	"context"
	"fmt"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestCounterCommands(t *testing.T) {
	for _, row := range []struct{ name, send, want string }{
		{"identity", "*IDN?", "Invented Instruments,Demo Counter Three,DC3-0042,1.4"},
		{"no error", "SYST:ERR?", `0,"No error"`},
		{"no error, long form", ":SYSTEM:ERROR:NEXT?", `0,"No error"`},
		{"version", "syst:vers?", "1999.0"},
		{"self-test", "*TST?", "0"},
		{"power-on event", "*ESR?;*ESR?", "128;0"},
		{"enable registers", "*ESE 60;*SRE 255;*ESE?;*SRE?", "60;191"},
		{"status byte", "*CLS;*ESE 32;*SRE 32;NONSENSE\n*STB?", "100"},
		{"function", `SENS:FUNC "FREQ 3";FUNC?`, `"FREQ 3"`},
		{"function, long form", `:SENSE1:FUNCTION:ON 'FREQUENCY 2';ON?`, `"FREQ 2"`},
		{"configure", "CONF:FREQ (@2);:CONF?", `"FREQ (@2)"`},
		{"configure, with expectation", "CONF:SCAL:VOLT:FREQ 10 MHZ,1,(@3);:FUNC?", `"FREQ 3"`},
		{"gate", "SENS:FREQ:APER 1;APER?", "1"},
		{"gate with unit", "FREQ:APER 10 MS;APER?", "0.010"},
		{"gate bounds", "FREQ:APER? MIN;APER? MAX;APER? DEF", "0.001;100;0.100"},
		{"relative header", "SENS:FREQ:APER 2;:ROSC:SOUR?;:FREQ:APER?", "INT;2"},
		{"nothing to fetch", "FETC?;SYST:ERR?", `-230,"Data corrupt or stale"`},
		{"a reading, no signal", "READ?;FETC?;:FETC:FREQ?", "0;0;0"},
		{"measure", "MEAS:FREQ? (@1)", "0"},
		{"operation complete", "*CLS;INIT;*OPC?;*OPC;*ESR?", "1;1"},
		{"wait", "INIT;*WAI;FETC?", "0"},
		{"undefined", "FREQ:APPER 1\nSYST:ERR?", `-113,"Undefined header"`},
		{"undefined stops the message", "NONSENSE;*IDN?;:SYST:ERR?\nSYST:ERR?", `-113,"Undefined header"`},
		{"missing", "FREQ:APER;:SYST:ERR?\nSYST:ERR?", `-109,"Missing parameter"`},
		{"too many", "FREQ:APER 1,2;:SYST:ERR?\nSYST:ERR?", `-108,"Parameter not allowed"`},
		{"out of range", "FREQ:APER 1e9;APER?;:SYST:ERR?", `0.100;-222,"Data out of range"`},
		{"wrong unit", "FREQ:APER 1 V\nSYST:ERR?", `-131,"Invalid suffix"`},
		{"not a number", "FREQ:APER ten\nSYST:ERR?", `-104,"Data type error"`},
		{"not a number either", "FREQ:APER 1.2.3\nSYST:ERR?", `-131,"Invalid suffix"`},
		{"exponent", "FREQ:APER 1e99\nSYST:ERR?", `-123,"Exponent too large"`},
		{"no such input", "CONF:FREQ (@9);:SYST:ERR?", `-222,"Data out of range"`},
		{"no channel list", "CONF:FREQ (@1\nSYST:ERR?", `-102,"Syntax error"`},
		{"function without quotes", "FUNC FREQ\nSYST:ERR?", `-104,"Data type error"`},
		{"function of another kind", "FUNC \"PER 1\";:SYST:ERR?", `-224,"Illegal parameter value"`},
		{"open quote", "FUNC \"FREQ 1\nSYST:ERR?", `-102,"Syntax error"`},
		{"byte that is no text", "\x80\x81?\nSYST:ERR?", `-102,"Syntax error"`},
		{"reset", "FREQ:APER 1;*RST;:FREQ:APER?", "0.100"},
		{"auto reference", "ROSC:SOUR AUTO;SOUR?;SOUR:AUTO?", "EXT;1"},
		{"wrong reference", "ROSC:SOUR MOON;:SYST:ERR?", `-224,"Illegal parameter value"`},
		{"error count", "NONSENSE\nSYST:ERR:COUN?", "1"},
		{"queue overflow", strings.Repeat("NONSENSE\n", 20) + strings.TrimSuffix(strings.Repeat("SYST:ERR?;:", 17), ";:"),
			strings.Repeat(`-113,"Undefined header";`, 15) + `-350,"Queue overflow";0,"No error"`},
		{"an empty unit", "*OPC?;;*IDN?\n\nSYST:ERR?", `-102,"Syntax error"`},
		{"commands before a mistake are carried out", "FREQ:APER 1;?\nFREQ:APER?;:SYST:ERR?", `1;-102,"Syntax error"`},
		{"a suffix that is not there", "SENS2:FREQ:APER?\nSYST:ERR?", `-114,"Header suffix out of range"`},
		{"message too long", strings.Repeat("A", 70000) + "\nSYST:ERR?", `-363,"Input buffer overrun"`},
		{"status preset", "STAT:QUES:ENAB 32;ENAB?;:STAT:OPER:ENAB 16;:STAT:PRES;:STAT:QUES:ENAB?;:STAT:OPER:ENAB?", "32;0;0"},
		{"carriage return ends a message", "*OPC?\r", "1"},
	} {
		t.Run(row.name, func(t *testing.T) {
			c := dial(t, newBench(t, Options{}, nil), "counter")
			require.Equal(t, row.want, c.ask("%s", row.send), "sent %.200q", row.send)
		})
	}
}

func TestSourceCommands(t *testing.T) {
	for _, row := range []struct{ name, send, want string }{
		{"identity", "*IDN?", "Invented Instruments,Demo Source High,DSH-0011,3.1"},
		{"frequency", "FREQ 1.5 GHZ;FREQ?", "1500000000.00"},
		{"frequency, long form", ":SOURCE:FREQUENCY:CW 1E9;:SOUR:FREQ:FIX?", "1000000000.00"},
		{"frequency on the grid", "FREQ 1000000000.006;FREQ?", "1000000000.01"},
		{"MHZ is mega, also as MAHZ", "FREQ 20MHZ;FREQ?;FREQ 30 MAHZ;FREQ?", "20000000.00;30000000.00"},
		{"bounds", "FREQ? MIN;FREQ? MAX;:POW? MIN;:POW? MAX", "10000000.00;18000000000.00;-60.00;13.00"},
		{"frequency out of range", "FREQ 20 GHZ;FREQ?;:SYST:ERR?", `10000000.00;-222,"Data out of range"`},
		{"level", "POW -20;POW?;:SOUR:POW:LEV:IMM:AMPL -10 DBM;:POW?", "-20.00;-10.00"},
		{"level on the grid", "POW -20.126;POW?", "-20.13"},
		{"level out of range", "POW 14;POW?;:SYST:ERR?", `-60.00;-222,"Data out of range"`},
		{"level in volts", "POW 1 V\nSYST:ERR?", `-131,"Invalid suffix"`},
		{"output", "OUTP?;OUTP ON;OUTP?;OUTP:STAT OFF;:OUTP?", "0;1;0"},
		{"output, wrong", "OUTP MAYBE;:SYST:ERR?", `-224,"Illegal parameter value"`},
		{"reference", "ROSC:SOUR?", "EXT"},
		{"locked", "FREQ 1 GHZ;*OPC?;STAT:QUES:COND?;EVEN?", "1;0;0"},
		{"a lock failure is an event", "FREQ 5 GHZ;*OPC?;STAT:QUES:COND?;EVEN?;EVEN?", "1;32;32;0"},
		{"reset", "FREQ 1 GHZ;:POW 0;:OUTP ON;*RST;FREQ?;POW?;:OUTP?", "10000000.00;-60.00;0"},
	} {
		t.Run(row.name, func(t *testing.T) {
			b := newBench(t, Options{}, func(s *Scenario) {
				s.Sources[1].LockFails = []LockScenario{{Range: [2]hertz{*parsedHertz("4.9 GHz"), *parsedHertz("5.1 GHz")}}}
			})
			require.Equal(t, row.want, dial(t, b, "MW").ask("%s", row.send), "sent %q", row.send)
		})
	}
}

func TestLockFailures(t *testing.T) {
	edit := func(l LockScenario) func(*Scenario) {
		return func(s *Scenario) {
			l.Range = [2]hertz{*parsedHertz("1 GHz"), *parsedHertz("2 GHz")}
			s.Sources[1].LockFails = []LockScenario{l}
		}
	}
	try := func(c *client, f string) string { return c.ask("FREQ %s;*OPC?;STAT:QUES:COND?", f) }
	t.Run("first tries of each setting", func(t *testing.T) {
		c := dial(t, newBench(t, Options{}, edit(LockScenario{Tries: 2})), "MW")
		for _, f := range []string{"1 GHZ", "1.5 GHZ"} {
			require.Equal(t, []string{"1;32", "1;32", "1;0", "1;0"}, []string{try(c, f), try(c, f), try(c, f), try(c, f)}, f)
		}
		require.Equal(t, "1;0", try(c, "3 GHZ"))
	})
	t.Run("with a probability", func(t *testing.T) {
		c := dial(t, newBench(t, Options{}, edit(LockScenario{Probability: parsedRatio("30 %")})), "MW")
		failed := 0
		for range 200 {
			if try(c, "1.2 GHZ") == "1;32" {
				failed++
			}
		}
		require.InDelta(t, 60, failed, 26) // 4 sigma
	})
}

// A second INITiate during a gate, ABORt, clear and new questions during a
// pending answer, on a clock that only the test moves.
func TestWhileAGateIsOpen(t *testing.T) {
	for _, row := range []struct {
		name, busy, send, want, after string
	}{
		{"a second INIT is ignored", "interrupt", "INIT\nINIT\nSYST:ERR?", `-213,"Init ignored"`, ""},
		{"measuring shows in the operation register", "interrupt", "INIT\nSTAT:OPER:COND?", "16", ""},
		{"a question interrupts READ?", "interrupt", "READ?\n*IDN?;:SYST:ERR?", `Invented Instruments,Demo Counter Three,DC3-0042,1.4;-410,"Query INTERRUPTED"`, ""},
		{"ABORt ends READ?", "interrupt", "READ?\nABOR\nSTAT:OPER:COND?", "0", ""},
		{"ABORt ends READ? where messages queue", "queue", "READ?\nABOR\nSTAT:OPER:COND?", "0", ""},
		{"*CLS ends READ? and the complaint", "interrupt", "READ?\n*CLS\nSYST:ERR?", `0,"No error"`, ""},
		{"a question waits in line", "queue", "READ?\n*TST?", "", "0\n0"},
		{"FETCh? waits", "interrupt", "INIT\nFETC?", "", "0"},
		{"*OPC? waits", "interrupt", "INIT\n*OPC?", "", "1"},
		{"*OPC notes the end", "interrupt", "*CLS\nINIT\n*OPC\n*WAI\n*ESR?", "", "1"},
	} {
		t.Run(row.name, func(t *testing.T) {
			clock := newStepClock()
			b := newBench(t, Options{Clock: clock}, func(s *Scenario) { s.Counter.Link.WhileBusy = row.busy })
			c := dial(t, b, "counter")
			slept := false
			for line := range strings.SplitSeq(row.send, "\n") {
				c.write("%s", line)
				if line == "READ?" {
					<-clock.slept
					slept = true
				}
			}
			if row.want != "" {
				require.Equal(t, row.want, c.read())
				return
			}
			if !slept {
				<-clock.slept
			}
			clock.advance(time.Second)
			for line := range strings.SplitSeq(row.after, "\n") {
				require.Equal(t, line, c.read())
			}
		})
	}
}

func TestAnAbortedGateUsesUpNoOrdinal(t *testing.T) {
	straight := newDesk(t, Options{}, func(s *Scenario) { s.Faults = []Fault{{Name: "noisy", Amount: "1000"}} })
	set(straight.lf, "10 MHZ", "-10")
	want := []string{straight.read(1, "0.1"), straight.unit.ask("READ?"), straight.unit.ask("READ?")}
	require.NotEqual(t, want[0], want[1])

	for _, row := range []struct {
		name string
		stop func(t *testing.T, b *Bench, c *client) *client
	}{
		{"ABORt", func(_ *testing.T, _ *Bench, c *client) *client { c.write("ABOR"); c.ask("*OPC?"); return c }},
		{"a clear", func(_ *testing.T, _ *Bench, c *client) *client { c.write("*CLS"); c.ask("*OPC?"); return c }},
		{"a question", func(_ *testing.T, _ *Bench, c *client) *client { c.ask("*IDN?"); return c }},
		{"a lost connection", func(t *testing.T, b *Bench, c *client) *client {
			require.NoError(t, c.conn.Close())
			require.Eventually(t, func() bool {
				b.mu.Lock()
				defer b.mu.Unlock()
				return b.counter.run == nil
			}, 5*time.Second, time.Millisecond)
			return dial(t, b, "counter")
		}},
	} {
		t.Run(row.name, func(t *testing.T) {
			clock := newStepClock()
			b := newBench(t, Options{Clock: clock}, func(s *Scenario) { s.Faults = []Fault{{Name: "noisy", Amount: "1000"}} })
			lf, c := dial(t, b, "LF"), dial(t, b, "counter")
			lf.write("FREQ 10 MHZ;:POW -10 DBM;:OUTP ON")
			require.Equal(t, "1", lf.ask("OUTP?"))
			clock.advance(time.Second) // settled
			require.Equal(t, "1", lf.ask("*OPC?"))
			c.write("FUNC \"FREQ 1\";FREQ:APER 0.1")
			var got []string
			for range want {
				c.write("READ?")
				<-clock.slept
				c = row.stop(t, b, c)
				c.write("READ?")
				<-clock.slept
				clock.advance(time.Second)
				got = append(got, c.read())
			}
			require.Equal(t, want, got)
		})
	}
}

func TestMissingSignal(t *testing.T) {
	t.Run("not a number", func(t *testing.T) {
		c := dial(t, newBench(t, Options{}, func(s *Scenario) { s.Counter.NoSignal = "nan" }), "counter")
		require.Equal(t, "9.91E37", c.ask("READ?"))
	})
	t.Run("never answers until the signal comes", func(t *testing.T) {
		d := newDesk(t, Options{}, func(s *Scenario) { s.Counter.NoSignal = "timeout" })
		d.unit.write("READ?")
		require.Eventually(t, func() bool {
			d.b.mu.Lock()
			defer d.b.mu.Unlock()
			return d.b.counter.run != nil && d.b.counter.run.waiting
		}, 5*time.Second, time.Millisecond)
		set(d.lf, "10 MHZ", "-10")
		require.InDelta(t, 10e6, number64(t, d.unit.read()), 11*10e6) // it may have begun while settling
		require.InDelta(t, 10e6, number64(t, d.unit.ask("READ?")), 11)
	})
	t.Run("never answers until ABORt", func(t *testing.T) {
		c := dial(t, newBench(t, Options{}, func(s *Scenario) { s.Counter.NoSignal = "timeout" }), "counter")
		c.write("READ?")
		c.write("ABOR")
		require.Equal(t, "1", c.ask("*OPC?"))
	})
	t.Run("fixed decimals", func(t *testing.T) {
		c := dial(t, newBench(t, Options{}, nil), "counter")
		require.Equal(t, "0.0", c.ask("FREQ:APER 10;:READ?"))
	})
}

func TestReplyForms(t *testing.T) {
	d := newDesk(t, Options{}, func(s *Scenario) {
		quietTimebase(s)
		s.Counter.Link.Numbers, s.Sources[0].Link.Numbers = "nr3", "nr3"
		s.Counter.Link.Terminator = "crlf"
	})
	set(d.lf, "10 MHZ", "-10")
	require.Equal(t, "+1.0000000000E+07", d.lf.ask("FREQ?"))
	require.Regexp(t, `^(\+1\.0000000|\+9\.999999)E\+0[67]\r$`, d.read(1, "1"))
}

func TestOneClientAtATimeUnlessMore(t *testing.T) {
	for _, clients := range []int{1, 2} {
		t.Run(fmt.Sprint(clients), func(t *testing.T) {
			b := newBench(t, Options{}, func(s *Scenario) { s.Counter.Link.Clients = clients })
			l, err := net.Listen("tcp", "127.0.0.1:0")
			require.NoError(t, err)
			running(t, func(ctx context.Context) error { return b.ServeListener(ctx, "counter", l) })
			connect := func() *client {
				conn, err := net.Dial("tcp", l.Addr().String())
				require.NoError(t, err)
				t.Cleanup(func() { _ = conn.Close() })
				return newClient(t, conn)
			}
			one, two := connect(), connect()
			require.Equal(t, "1", one.ask("*OPC?"))
			two.write("*OPC?")
			require.NoError(t, two.conn.(net.Conn).SetReadDeadline(time.Now().Add(150*time.Millisecond)))
			_, err = two.r.ReadString('\n')
			if clients == 1 {
				require.Error(t, err, "the second client is left waiting")
				require.NoError(t, one.conn.Close())
				require.NoError(t, two.conn.(net.Conn).SetReadDeadline(time.Now().Add(5*time.Second)))
				require.Equal(t, "1", two.read())
				return
			}
			require.NoError(t, err)
		})
	}
}

func TestServeUnknownInstrument(t *testing.T) {
	b := newBench(t, Options{}, nil)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.ErrorContains(t, b.ServeListener(context.Background(), "nobody", l), `no instrument "nobody"`)
	_, err = b.Dial(context.Background(), "nobody")
	require.ErrorContains(t, err, `no instrument "nobody"`)
	a, z := net.Pipe()
	defer func() { _ = z.Close() }()
	require.ErrorContains(t, b.ServePort(context.Background(), "nobody", a), `no instrument "nobody"`)
}

// FuzzInterpreter: no bytes make an instrument fall over, and it still answers
// afterwards.
func FuzzInterpreter(f *testing.F) {
	for _, s := range []string{"*IDN?", "FUNC \"FREQ 2\";:READ?", "CONF:FREQ 1,(@3)", "FREQ 1E9;:POW -3 DBM;:OUTP ON;*OPC?", "INIT;*OPC;ABOR",
		":::;;?,(@\"", "FREQ:APER 1E-99999", "*ESE -1;*SRE 1e40", "STAT:QUES:COND?;EVEN?", "FREQ? MAX;FREQ MIN", "\x00\xff\n\r*RST"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := DefaultScenario()
		require.NoError(t, err)
		b, err := New(s, Options{Clock: NewInstantClock()})
		require.NoError(t, err)
		for _, d := range []device{b.counter, b.sources[0]} {
			in := make(chan string)
			x := &session{b: b, dev: d, ctx: context.Background(), in: in}
			for m := range strings.SplitSeq(text, "\n") {
				_, _, err := x.execute(m)
				require.NoError(t, err)
			}
			reply, has, err := x.execute("*OPC?")
			require.NoError(t, err)
			require.True(t, has)
			require.Equal(t, "1", reply)
		}
	})
}
