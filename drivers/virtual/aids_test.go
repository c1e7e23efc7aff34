package virtual

import (
	"strings"
	"testing"

	"bandproof/procedures/quantity"

	"github.com/stretchr/testify/require"
)

// bay is the switched bench with a client at each instrument.
type bay struct {
	b                                      *Bench
	unit, source, monitor, sw, power, room *client
}

func newBay(t *testing.T, edit func(*Scenario)) *bay {
	t.Helper()
	s, err := LoadScenario(SwitchedScenarioName, SwitchedScenarioText())
	require.NoError(t, err)
	if edit != nil {
		edit(&s)
	}
	b, err := New(s, Options{Clock: NewInstantClock()})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	return &bay{b, dial(t, b, "counter"), dial(t, b, "SG"), dial(t, b, "monitor"), dial(t, b, "SW"), dial(t, b, "PM"), dial(t, b, "room")}
}

func (y *bay) level(t *testing.T, f string) float64 {
	y.power.write("SENS:FREQ %s", f)
	return number64(t, y.power.ask("MEAS:POW?"))
}

// to routes the source to a channel and puts a signal on.
func (y *bay) to(channel, f, level string) {
	y.source.ask("OUTP OFF;*OPC?")
	y.sw.ask("ROUT:OPEN:ALL;:ROUT:CLOS (@%s);*OPC?", channel)
	set(y.source, f, level)
}

func TestSwitchRoutesTheSource(t *testing.T) {
	y := newBay(t, nil)
	require.Equal(t, "0;0;0", y.sw.ask("ROUT:CLOS? (@1);CLOS? (@2);CLOS? (@6)"), "open at power-on")
	require.Equal(t, "(@)", y.sw.ask("ROUT:CLOS:STAT?"))
	set(y.source, "100 MHZ", "0")
	require.Zero(t, number64(t, y.unit.ask("FUNC \"FREQ 1\";FREQ:APER 0.1;:READ?")), "no way to the input")
	y.to("1", "100 MHZ", "0")
	require.Equal(t, "1;0;(@1)", y.sw.ask("ROUT:CLOS? (@1);CLOS? (@2);CLOS:STAT?"))
	require.InEpsilon(t, 100e6, number64(t, y.unit.ask("READ?")), 1e-5)
	y.to("2", "100 MHZ", "0")
	require.Zero(t, number64(t, y.unit.ask("READ?")), "routed to B")
	require.InEpsilon(t, 100e6, number64(t, y.unit.ask("FUNC \"FREQ 2\";READ?")), 1e-5)
	for message, code := range map[string]string{"ROUT:CLOS (@7)": "-222", "ROUT:CLOS 1": "-104", "ROUT:CLOS (@1,2)": "-224", "ROUT:CLOS": "-109"} {
		y.sw.write("%s", message)
		require.True(t, strings.HasPrefix(y.sw.ask("SYST:ERR?"), code), message)
	}
	require.Empty(t, y.b.Events())
	require.Error(t, y.b.Connect("SG", "A"), "no hand moves what a switch routes")
}

func TestSwitchingWithRFOnIsNoted(t *testing.T) {
	y := newBay(t, nil)
	y.to("1", "100 MHZ", "0")
	y.sw.ask("ROUT:CLOS (@2);*OPC?")
	require.NotEmpty(t, y.b.Events())
	require.Equal(t, HotMove, y.b.Events()[0].Kind)
}

// The monitor counts the source wherever the switch leads it, and knows what
// the source itself does not report.
func TestMonitorCountsTheSource(t *testing.T) {
	y := newBay(t, nil)
	set(y.source, "6 GHZ", "0")
	counted := func() float64 { return number64(t, y.monitor.ask("FREQ:APER 1;:READ?")) }
	require.InDelta(t, 6e9, counted(), 1.01, "same reference: nothing but a count")
	require.NoError(t, y.b.SetFaults([]Fault{{Name: "source-offset", Instrument: "SG", Amount: "1 ppm"}}))
	require.InDelta(t, 6e9+6000, counted(), 1.01)
	require.NoError(t, y.b.SetFaults([]Fault{{Name: "gate-short", Instrument: "monitor", Amount: "1 %"}}))
	require.InDelta(t, 6e9*0.99, counted(), 2)
	y.source.ask("OUTP OFF;*OPC?")
	require.Zero(t, counted())
}

func TestPowerMeterMeasuresAtTheInput(t *testing.T) {
	y := newBay(t, func(s *Scenario) {
		s.PowerMeters[0].Error, s.Sources[0].LevelError = nil, nil
	})
	require.Equal(t, -9.9e37, y.level(t, "6 GHZ"), "no signal")
	y.to("3", "18 GHZ", "0")
	require.InDelta(t, -10.7-10.4, y.level(t, "18 GHZ"), 0.001, "wire and coupling of the scenario")
	require.InDelta(t, -10.7-10.4+0.6, y.level(t, "1.8 GHZ"), 0.001, "told another frequency, its correction is wrong")
	require.Equal(t, "W", y.power.ask("UNIT:POW W;POW?"))
	require.InEpsilon(t, 7.7625e-6, y.level(t, "18 GHZ"), 1e-3, "10^((-21.1-30)/10) W")
	require.Equal(t, "DBM", y.power.ask("*RST;UNIT:POW?"))
	require.True(t, strings.HasPrefix(y.power.ask("CAL:ZERO:AUTO ONCE;*WAI;:SYST:ERR?"), "-200"), "a zero with a signal on is refused")
	y.to("2", "1 GHZ", "0")
	require.Equal(t, -9.9e37, y.level(t, "1 GHZ"), "routed elsewhere")
}

func TestThermometerTellsTheRoom(t *testing.T) {
	y := newBay(t, nil)
	require.Equal(t, "23.5;45.0", y.room.ask("MEAS:TEMP?;HUM?"), "0.1 °C too much, as the scenario says")
	y.b.SetAmbient(quantity.MustParse[quantity.Celsius]("31 °C"))
	y.b.SetHumidity(quantity.MustParse[quantity.One]("80 %"))
	require.Equal(t, "31.1;80.0", y.room.ask("MEAS:TEMP?;HUM?"))
}

var aidFaults = []struct {
	fault, shows string
	see          func(t *testing.T, y *bay) string
}{
	{"switch-stuck", "(@)", func(_ *testing.T, y *bay) string {
		if got := y.sw.ask("ROUT:CLOS (@2);CLOS:STAT?"); got != "(@2)" {
			return got
		}
		return "none"
	}},
	{"switch-no-contact", "reads back, no signal", func(t *testing.T, y *bay) string {
		y.to("3", "6 GHZ", "0")
		if y.sw.ask("ROUT:CLOS:STAT?") == "(@3)" && y.level(t, "6 GHZ") < -1e37 {
			return "reads back, no signal"
		}
		return "none"
	}},
	{"meter-offset:amount=6 dB", "low", func(t *testing.T, y *bay) string {
		y.to("3", "6 GHZ", "0")
		if y.level(t, "6 GHZ") < -22 {
			return "low"
		}
		return "none"
	}},
	{"meter-dead", "under-range", func(t *testing.T, y *bay) string {
		y.to("3", "6 GHZ", "0")
		if y.level(t, "6 GHZ") < -1e37 {
			return "under-range"
		}
		return "none"
	}},
}

func TestFaultsOfTheAids(t *testing.T) {
	for _, row := range aidFaults {
		t.Run(row.fault, func(t *testing.T) {
			f, err := ParseFault(row.fault)
			require.NoError(t, err)
			require.Equal(t, "none", row.see(t, newBay(t, nil)), "without the fault")
			y := newBay(t, nil)
			require.NoError(t, y.b.SetFaults([]Fault{f}))
			require.Equal(t, row.shows, row.see(t, y), "with the fault")
		})
	}
	b := newBench(t, Options{}, nil)
	require.ErrorContains(t, b.SetFaults([]Fault{{Name: "switch-stuck"}}), "the bench has no switch")
}

func TestSwitchedScenarioMistakes(t *testing.T) {
	for _, row := range []struct{ name, old, new, want string }{
		{"position that the switch lacks", "position = 3", "position = 9", `wire[3].position: is 9; switch "SW" has 1 to 6`},
		{"wire over no switch", "switch = \"SW\"\nposition = 3", "switch = \"SX\"\nposition = 3", `there is no switch "SX"`},
		{"position without switch", "switch = \"SW\"\nposition = 3", "position = 3", "has no meaning without switch"},
		{"meter at no input", `input = "C"` + "\ncoupling", `input = "D"` + "\ncoupling", `there is no input "D"`},
		{"monitor at no source", `source = "SG"` + "\nsplitter", `source = "SH"` + "\nsplitter", `there is no source "SH"`},
		{"monitor's gate", `name = "1"` + "\nchannel = 1", `name = "1"` + "\nchannel = 0", "channel: 0 is below 1 or taken"},
		{"one name twice", `name = "room"`, `name = "SG"`, `.name: "SG" is empty or taken`},
		{"no positions", "positions = 6", "positions = 0", "positions: is 0; expected"},
		{"humidity", `humidity = "45 %"`, `humidity = "145 %"`, "is not between 0 and 100 %"},
	} {
		t.Run(row.name, func(t *testing.T) {
			text := string(SwitchedScenarioText())
			require.Contains(t, text, row.old)
			_, err := LoadScenario("s.toml", []byte(strings.Replace(text, row.old, row.new, 1)))
			require.ErrorContains(t, err, row.want)
		})
	}
}

func FuzzChannelList(f *testing.F) {
	for _, seed := range []string{"(@1)", "(@ 6 )", "(@1,2)", "(@)", "@1", "(@-1)", "(@99999999999999999999)", ""} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r := &relay{sc: SwitchScenario{Positions: 6}}
		if n, err := r.channel([]string{text}); err == nil && (n < 1 || n > 6) {
			t.Fatalf("%q is channel %d", text, n)
		}
	})
}
