package virtual

import (
	"math"
	"strings"
	"testing"

	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// symptom drives the bench and tells what a fault shows; each is also run
// without the fault and must then be "none".
type symptom func(t *testing.T, d *desk) string

func readings(t *testing.T, d *desk, source *client, f, level string, channel, n int) []float64 {
	t.Helper()
	set(source, f, level)
	list := []float64{number64(t, d.read(channel, "0.1"))}
	for len(list) < n {
		list = append(list, number64(t, d.unit.ask("READ?")))
	}
	return list
}

// off says how readings of 100 MHz at input A differ from the truth, which is
// known to one count of 10 Hz.
func off(f, level string, truth float64) symptom {
	return func(t *testing.T, d *desk) string {
		list := readings(t, d, d.lf, f, level, 1, 12)
		low, high := list[0], list[0]
		for _, x := range list {
			low, high = min(low, x), max(high, x)
		}
		switch {
		case low == 9.9e37:
			return "over-range"
		case high == 0:
			return "no count"
		case high-low > 10.01 && high-low > 1e-9*truth:
			return "scatter"
		case low < truth-10.01 && low > truth*1.9 || high > truth*1.9:
			return "double"
		case high < truth-10.01:
			return "low"
		case low > truth+10.01:
			return "high"
		}
		return "none"
	}
}

func talks(f func(t *testing.T, d *desk) string) symptom { return f }

func rawReply(t *testing.T, d *desk) string {
	d.lf.write("*IDN?")
	s, err := d.lf.r.ReadString('\n')
	require.NoError(t, err)
	return s
}

var faultTable = []struct {
	fault string
	shows string
	see   symptom
}{
	{"dead-input:input=A", "no count", off("100 MHZ", "-10", 100e6)},
	{"dead-above:input=A,from=90 MHz", "no count", off("100 MHZ", "-10", 100e6)},
	{"dead-above:input=A,from=101 MHz", "none", off("100 MHZ", "-10", 100e6)},
	{"dead-below:input=A,to=1 kHz", "no count", off("1 KHZ", "-10", 1e3)},
	{"dead-below:input=A,to=1 kHz", "none", off("100 MHZ", "-10", 100e6)},
	{"deaf:input=A,amount=25 dB", "no count", off("100 MHZ", "-15", 100e6)},
	{"deaf:input=A,amount=25 dB", "none", off("100 MHZ", "5", 100e6)},
	{"deaf:input=B,amount=25 dB", "none", off("100 MHZ", "-15", 100e6)},
	{"island:input=A,amount=9 dB", "scatter", off("100 MHZ", "-10", 100e6)}, // 10.2 dB above its least level
	{"island:input=A,amount=2 dB", "none", off("100 MHZ", "-10", 100e6)},
	{"overload-at-low-level:amount=20 dB", "over-range", off("100 MHZ", "0", 100e6)},
	{"missing-counts:amount=1 %", "scatter", off("100 MHZ", "-10", 100e6)},
	{"double-counting", "double", off("100 MHZ", "-10", 100e6)},
	{"wrong-prescale:amount=32/31", "high", off("100 MHZ", "-10", 100e6)},
	{"wrong-harmonic:amount=-200 kHz", "low", off("100 MHZ", "-10", 100e6)},
	{"wrong-harmonic:from=50 MHz,to=99 MHz", "none", off("100 MHZ", "-10", 100e6)},
	{"timebase-offset:amount=-5 ppm", "high", off("100 MHZ", "-10", 100e6)},
	{"timebase-offset:amount=5 ppm,above=30 °C", "none", off("100 MHZ", "-10", 100e6)},
	{"timebase-offset:amount=5 ppm,below=30 °C", "low", off("100 MHZ", "-10", 100e6)},
	{"timebase-offset:amount=5 ppm,after=3000 d", "none", off("100 MHZ", "-10", 100e6)},
	{"timebase-offset:amount=5 ppm,after=1 d", "low", off("100 MHZ", "-10", 100e6)},
	{"timebase-offset:amount=5 ppm,until=1 d", "none", off("100 MHZ", "-10", 100e6)},
	{"timebase-offset:amount=5 ppm,probability=50 %", "scatter", off("100 MHZ", "-10", 100e6)},
	{"timebase-offset:amount=5 ppm,probability=0", "none", off("100 MHZ", "-10", 100e6)},
	{"timebase-wander:amount=2 ppm", "scatter", off("100 MHZ", "-10", 100e6)},
	{"gate-short:amount=2 %", "low", off("100 MHZ", "-10", 100e6)},
	{"noisy:amount=30", "scatter", off("100 MHZ", "-10", 100e6)},
	{"stuck-digit:amount=2:7", "high", off("100 MHZ", "-10", 100e6)},
	{"stuck-digit:amount=11:7", "double", off("100 MHZ", "-10", 100e6)},
	{"missing-digit:amount=2:0", "high", off("100 MHZ", "-10", 100e6)},
	{"missing-digit:amount=0:8", "none", off("100 MHZ", "-10", 100e6)}, // shows multiples of 10 Hz
	{"gate-stays:amount=20 ms", "50 Hz", func(t *testing.T, d *desk) string {
		start := d.b.clock.Now()
		x := readings(t, d, d.lf, "123.457 KHZ", "-10", 1, 1)[0]
		if d.b.clock.Now().Sub(start).Milliseconds() < 100 && math.Mod(x, 50) == 0 {
			return "50 Hz"
		}
		return "none"
	}},
	{"self-test-fails:amount=17", "17", func(_ *testing.T, d *desk) string {
		return strings.Replace(d.unit.ask("*TST?"), "0", "none", 1)
	}},
	{"no-external-reference", "stays on its own", func(_ *testing.T, d *desk) string {
		if d.unit.ask("ROSC:SOUR EXT;SOUR?;*CLS") == "EXT" {
			return "none"
		}
		return "stays on its own"
	}},
	{"stage:stage=A limiter,mode=dead", "no count", off("100 MHZ", "-10", 100e6)},
	{"stage:stage=A limiter,mode=dead,from=101 MHz", "none", off("100 MHZ", "-10", 100e6)},
	{"stage:stage=A limiter,mode=dead,to=1 MHz", "none", off("100 MHZ", "-10", 100e6)},
	{"stage:stage=A limiter,mode=dead,after=3000 d", "none", off("100 MHZ", "-10", 100e6)},
	{"stage:stage=A limiter,mode=dead,after=1 d", "no count", off("100 MHZ", "-10", 100e6)},
	{"stage:stage=A limiter,mode=dead,until=1 d", "none", off("100 MHZ", "-10", 100e6)},
	{"stage:stage=A limiter,mode=dead,above=30 °C", "none", off("100 MHZ", "-10", 100e6)},
	{"stage:stage=A trigger,mode=double,probability=50 %", "scatter", off("100 MHZ", "-10", 100e6)},
	{"stage:stage=A amplifier,mode=intermittent,amount=50 %", "scatter", off("100 MHZ", "-10", 100e6)},
	{"stage:stage=A amplifier,mode=intermittent,amount=0 %", "none", off("100 MHZ", "-10", 100e6)},
	{"stage:stage=B limiter,mode=dead", "none", off("100 MHZ", "-10", 100e6)},
	{"held-reading", "held", func(t *testing.T, d *desk) string {
		readings(t, d, d.lf, "100 MHZ", "-10", 1, 1)
		d.lf.ask("OUTP OFF;*OPC?")
		if number64(t, d.unit.ask("READ?")) > 99e6 {
			return "held"
		}
		return "none"
	}},

	{"source-unlock:instrument=LF", "unlocked, off", lockState},
	{"source-unlock:instrument=MW", "none", lockState},
	{"source-unlock:instrument=LF,to=1 MHz", "none", lockState},
	{"source-slow-lock:instrument=LF,amount=2", "third try", func(_ *testing.T, d *desk) string {
		for try := range 5 {
			if d.lf.ask("FREQ 100 MHZ;*OPC?;STAT:QUES:COND?") == "1;0" {
				return []string{"none", "second try", "third try", "fourth try", "fifth try"}[try]
			}
		}
		return "never"
	}},
	{"source-offset:instrument=LF,amount=3 ppm", "high", off("100 MHZ", "-10", 100e6)},
	{"source-no-output:instrument=LF", "no count", off("100 MHZ", "-10", 100e6)},
	{"source-level-low:instrument=LF,amount=20 dB", "no count", off("100 MHZ", "-15", 100e6)},
	{"source-readback:instrument=LF,amount=1 kHz", "100001000.000", func(_ *testing.T, d *desk) string {
		if r := d.lf.ask("FREQ 100 MHZ;FREQ?"); r != "100000000.000" {
			return r
		}
		return "none"
	}},

	{"silent:instrument=LF,reply=*IDN?", "the next reply", talks(func(_ *testing.T, d *desk) string {
		d.lf.write("*IDN?")
		if d.lf.ask("OUTP?") == "0" {
			return "the next reply"
		}
		return "none"
	})},
	{"garbage:instrument=LF", "no text", talks(func(t *testing.T, d *desk) string {
		if strings.ContainsRune(rawReply(t, d), '\x80') || strings.Contains(rawReply(t, d), "\xfe") {
			return "no text"
		}
		return "none"
	})},
	{"crlf:instrument=LF", "CR LF", talks(func(t *testing.T, d *desk) string {
		if strings.HasSuffix(rawReply(t, d), "\r\n") {
			return "CR LF"
		}
		return "none"
	})},
	{"extra-line:instrument=LF,reply=*IDN", "a line more", talks(func(t *testing.T, d *desk) string {
		rawReply(t, d)
		if d.lf.ask("SYST:VERS?") == "0" {
			return "a line more"
		}
		return "none"
	})},
	{"late:instrument=LF,amount=3 s", "3 s", talks(func(t *testing.T, d *desk) string {
		return elapsed(t, d)
	})},
	{"split-reply:instrument=LF,amount=3 s", "3 s", talks(func(t *testing.T, d *desk) string {
		return elapsed(t, d)
	})},
}

// elapsed tells how long a reply took on the bench's clock.
func elapsed(t *testing.T, d *desk) string {
	start := d.b.clock.Now()
	rawReply(t, d)
	if took := d.b.clock.Now().Sub(start); took > 0 {
		return took.String()[:1] + " s"
	}
	return "none"
}

func lockState(_ *testing.T, d *desk) string {
	set(d.lf, "100 MHZ", "-10")
	got := d.lf.ask("STAT:QUES:COND?;EVEN?")
	f := d.read(1, "0.1")
	switch {
	case got == "32;32" && !strings.HasPrefix(f, "99999") && !strings.HasPrefix(f, "1000000"):
		return "unlocked, off"
	case got == "0;0":
		return "none"
	}
	return got + " " + f
}

func TestEveryFaultShowsAndNoneShowsWithout(t *testing.T) {
	shown := map[string]bool{}
	for _, row := range faultTable {
		t.Run(row.fault, func(t *testing.T) {
			f, err := ParseFault(row.fault)
			require.NoError(t, err)
			shown[f.Name] = shown[f.Name] || row.shows != "none"
			d := newDesk(t, Options{}, quietTimebase)
			require.Equal(t, "none", row.see(t, d), "without the fault")
			d = newDesk(t, Options{}, quietTimebase)
			require.NoError(t, d.b.SetFaults([]Fault{f}))
			require.Equal(t, row.shows, row.see(t, d), "with the fault")
			again, err := ParseFault(f.String())
			require.NoError(t, err)
			require.Equal(t, f.String(), again.String())
		})
	}
	for _, row := range aidFaults { // TestFaultsOfTheAids runs these
		name, _, _ := strings.Cut(row.fault, ":")
		shown[name] = true
	}
	for _, k := range Catalogue() {
		require.True(t, shown[k.Name], "fault %s is shown by no row", k.Name)
		require.NotEmpty(t, k.About)
	}
}

func TestRepairClearsFaults(t *testing.T) {
	d := newDesk(t, Options{}, quietTimebase)
	require.NoError(t, d.b.SetFaults([]Fault{{Name: "dead-input", Input: "A"}}))
	see := off("100 MHZ", "-10", 100e6)
	require.Equal(t, "no count", see(t, d))
	require.Len(t, d.b.Faults(), 1)
	d.b.Repair(quantity.Ratio{})
	require.Empty(t, d.b.Faults())
	require.Equal(t, "none", see(t, d))
}

func TestFaultMistakes(t *testing.T) {
	for _, row := range []struct{ fault, want string }{
		{"", "has no name"},
		{"deaf:amount", "is not key=value"},
		{"deaf:amnt=3 dB", `unknown key "amnt"`},
		{"deaf:amount=3", "has no unit"},
		{"deaf:from=3", "has no unit"},
		{"deaf:amount=3 Hz", "is not a number of dB"},
		{"deaf:amount=-3 dB", "must lie between 0 and 200"},
		{"deaf:input=X", `input "X" is none of the counter's; it has A, B, C`},
		{"deaf:instrument=LF", "is a source"},
		{"deaf:instrument=nobody", `no instrument "nobody"; it has counter, LF, MW`},
		{"deaf:from=2 GHz,to=1 GHz", "lies above"},
		{"deaf:probability=2", "not between 0 and 1"},
		{"deaf:reply=x", "conversation only"},
		{"nonesuch", "no fault is called"},
		{"dead-above:input=A", "from is missing"},
		{"dead-below:input=A", "to is missing"},
		{"dead-input:amount=3 dB", "not a parameter"},
		{"source-unlock", "must be one of the sources LF, MW"},
		{"source-unlock:instrument=counter", "a fault of a source"},
		{"source-unlock:instrument=LF,input=A", "not a parameter"},
		{"late:from=1 GHz", "does not depend on frequency"},
		{"wrong-prescale:amount=32", "two whole numbers"},
		{"wrong-prescale:amount=32/0", "two whole numbers"},
		{"stuck-digit:amount=1:12", "not a digit"},
		{"noisy:amount=many", "not a number of counts"},
		{"stage", "stage or mode is missing"},
		{"stage:stage=A trigger", "stage or mode is missing"},
		{"deaf:stage=A trigger", `parameters of the fault "stage" only`},
		{"stage:stage=Z,mode=dead", `no stage is called "Z"; there are timebase, reference buffer`},
		{"stage:stage=A trigger,mode=melts", `stage "A trigger" has no mode "melts"; it has dead, weak, noisy, double`},
		{"stage:stage=A trigger,mode=weak,amount=3 Hz", "is not a number of dB"},
		{"stage:stage=A trigger,mode=dead,amount=3 dB", `amount is not a parameter of mode "dead"`},
		{"stage:stage=A trigger,mode=dead,input=A", "the stage says where it is"},
		{"stage:stage=A trigger,mode=dead,instrument=LF", "is a source"},
		{"stage:stage=band control,mode=stuck,amount=top", "is not one of low, mid, high"},
		{"stage:stage=B prescaler,mode=ratio,amount=0", "must lie between 1 and 1000000"},
	} {
		t.Run(row.fault, func(t *testing.T) {
			b := newBench(t, Options{}, nil)
			f, err := ParseFault(row.fault)
			if err == nil {
				err = b.SetFaults([]Fault{f})
			}
			require.ErrorContains(t, err, row.want)
			require.Empty(t, b.Faults())
		})
	}
}
