package virtual

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestDefaultScenarioIsSound(t *testing.T) {
	s, err := DefaultScenario()
	require.NoError(t, err)
	require.Equal(t, "DC3-0042", s.Counter.Identity.Serial)
	require.Len(t, s.Counter.Inputs, 3)
	b := newBench(t, Options{}, nil)
	require.Equal(t, []Instrument{{"counter", RoleCounter, "127.0.0.1:5025"}, {"LF", RoleSource, "127.0.0.1:5026"}, {"MW", RoleSource, "127.0.0.1:5027"}}, b.Instruments())
}

// Each row damages the default scenario in one place.
func TestDamagedScenarios(t *testing.T) {
	for _, row := range []struct{ name, old, new, want string }{
		{"syntax", "[counter.link]", "[counter.link", "three-input.toml:"},
		{"unknown key", "no_signal =", "nosignal =", `nosignal: is not a key here; did you mean "no_signal"?`},
		{"missing key", "default_gate = \"100 ms\"\n", "", "counter.default_gate: is missing"},
		{"no unit", `offset = "0.12 ppm"`, `offset = 0.12`, "counter.timebase.offset: 12 % is too large"},
		{"not a frequency", `"40 MHz", "1.6 GHz"]`, `"40 MHz", "1.6"]`, `"1.6" has no unit`},
		{"other schema", "bandproof scenario 1", "bandproof scenario 9", `schema: is "bandproof scenario 9"; expected "bandproof scenario 1"`},
		{"range falls", `range = ["40 MHz", "1.6 GHz"]`, `range = ["4 GHz", "1.6 GHz"]`, `counter.input "B".range: [4 GHz, 1.6 GHz] does not rise`},
		{"unknown kind", `kind = "direct"`, `kind = "dirct"`, `counter.input "A".kind: is "dirct"; expected one of direct, prescaled, reciprocal, down-converted`},
		{"prescale missing", "prescale = 32\n", "", `counter.input "B".prescale: is missing`},
		{"prescale where none is", `kind = "direct"`, "kind = \"direct\"\nprescale = 4", `counter.input "A".prescale: is for kind "prescaled" only`},
		{"damage below maximum", `damage = "5 V"`, `damage = "0.5 V"`, `counter.input "A".max: 1 V lies above damage 500 mV`},
		{"channel taken", "channel = 2", "channel = 1", `counter.input "B".channel: 1 is below 1 or taken`},
		{"unknown no_signal", `no_signal = "zero"`, `no_signal = "none"`, "expected one of zero, nan, timeout"},
		{"unknown reference", `external = "standard"`, `external = "std"`, `counter.external: there is no reference "std"`},
		{"reference of a source", "name = \"MW\"\nreference = \"standard\"", "name = \"MW\"\nreference = \"std\"", `source "MW".reference: there is no reference "std"`},
		{"source name taken", `name = "MW"`, `name = "LF"`, `"LF" is empty or taken`},
		{"levels as voltages", "name = \"MW\"\nreference = \"standard\"\nrange = [\"10 MHz\", \"18 GHz\"]\nlevel = [\"-60 dBm\", \"13 dBm\"]", "name = \"MW\"\nreference = \"standard\"\nrange = [\"10 MHz\", \"18 GHz\"]\nlevel = [\"1 mV\", \"1 V\"]", "is a voltage"},
		{"wire to nowhere", "input = \"C\"\nloss", "input = \"D\"\nloss", `wire[3].input: there is no input "D"`},
		{"loss falls back", `["6 GHz", "1.6 dB"]`, `["0.6 GHz", "1.6 dB"]`, "wire[3].loss[2]: 600 MHz is not above zero and the entry before"},
		{"gain in a cable", `["6 GHz", "1.6 dB"]`, `["6 GHz", "-1.6 dB"]`, "is a gain"},
		{"port out of range", "127.0.0.1:5026", "127.0.0.1:75026", `source "LF".link.tcp: "127.0.0.1:75026" has no port`},
		{"bits of a character", `tcp = "127.0.0.1:5026"`, "tcp = \"127.0.0.1:5026\"\ndata_bits = 6", `link.data_bits: is 6; expected 7 to 8`},
		{"comma in the identity", `model = "Demo Source Low"`, `model = "Demo, Low"`, "would break the reply to *IDN?"},
		{"gate out of range", `default_gate = "100 ms"`, `default_gate = "1 h"`, "counter.default_gate: 1 h lies outside gate"},
		{"unknown fault", "[[reference]]", "[[fault]]\nname = \"rust\"\n[[reference]]", `fault "rust": rust: no fault is called "rust"`},
		{"fault on no input", "[[reference]]", "[[fault]]\nname = \"deaf\"\ninput = \"Z\"\n[[reference]]", `input "Z" is none of the counter's`},
		{"stage of no kind", `kind = "trigger"`, `kind = "triger"`, `counter.stage "A trigger".kind: is "triger"; expected one of limiter, `},
		{"stage name taken", `name = "A trigger"`, `name = "A amplifier"`, `"A amplifier" is empty, taken`},
		{"stage fed by one below", `fed_by = ["A amplifier"]`, `fed_by = ["gate"]`, `counter.stage "A trigger".fed_by[1]: no stage "gate" stands above this one`},
		{"stage fed by nothing", "fed_by = [\"A amplifier\"]\n", "", `counter.stage "A trigger": has neither input nor fed_by`},
		{"stage fed by two", `fed_by = ["A amplifier"]`, `fed_by = ["A amplifier", "A limiter"]`, `fed_by: names 2; one stage or one input feeds`},
		{"stage at no input", "kind = \"limiter\"\ninput = \"A\"", "kind = \"limiter\"\ninput = \"Z\"", `counter.stage "A limiter".input: there is no input "Z"`},
		{"key of another kind", `kind = "trigger"`, "kind = \"trigger\"\nratio = 2", `ratio: is for divider only; this is "trigger"`},
		{"key of a kind missing", "ratio = 32\n", "", `counter.stage "B prescaler".ratio: is missing`},
		{"way of no control line", `way = "mid"`, `way = "middle"`, `control line "band control" has no value "middle"`},
		{"way of a selector", `ways = ["A", "B", "C", "test"]`, `ways = ["A", "B", "C", "D"]`, `control line "input control" has no value "D"`},
		{"too few ways", `ways = ["A", "B", "C", "test"]`, `ways = ["A", "B", "C"]`, `has 3 values for 4 stages`},
		{"driven by what drives nothing", `control = "gate control"`, `control = "band control"`, `no gate control "band control" stands above`},
		{"harmonics for a direct input", `harmonics_for = "C"`, `harmonics_for = "A"`, `there is no input "A" of kind "down-converted"`},
		{"value twice", `{ value = "mid", input`, `{ value = "low", input`, `"low" is empty or taken`},
		{"two gates", `kind = "counting chain"`, "kind = \"gate\"\ncontrol = \"gate control\"", "has 2 of gate; there must be one"},
		{"point behind no stage", `stage = "B prescaler"`, `stage = "prescaler"`, `counter.test_point "TP9".stage: there is no stage "prescaler"`},
		{"point twice", `name = "TP9"`, `name = "TP8"`, `"TP8" is empty or taken`},
		{"way that leads nowhere", `fed_by = ["C low filter", "C mid amplifier", "C high amplifier"]`, `fed_by = ["C low filter", "C high amplifier"]`, `at input "C" does not get to the reply`},
		{"another ratio than the input's", "ratio = 32", "ratio = 16", `by the stages a signal of 40 MHz is counted as 2.5 MHz, by the kind of the input as 1.25 MHz`},
		{"fault of no stage", "[[reference]]", "[[fault]]\nname = \"stage\"\nstage = \"heater\"\nmode = \"dead\"\n[[reference]]", `no stage is called "heater"; there are timebase, `},
	} {
		t.Run(row.name, func(t *testing.T) {
			text := string(DefaultScenarioText())
			require.Contains(t, text, row.old)
			text = strings.Replace(text, row.old, row.new, 1)
			_, err := LoadScenario("three-input.toml", []byte(text))
			require.ErrorContains(t, err, row.want)
			require.Regexp(t, `^three-input\.toml:\d+: `, err.Error(), "every mistake has its line")
		})
	}
}

func TestAllMistakesAtOnce(t *testing.T) {
	text := strings.NewReplacer("channel = 2", "channel = 1", `no_signal = "zero"`, `no_signal = "x"`, `name = "MW"`, `name = "LF"`).Replace(string(DefaultScenarioText()))
	_, err := LoadScenario("f", []byte(text))
	require.GreaterOrEqual(t, strings.Count(err.Error(), "\n"), 2, "%v", err)
}

func FuzzLoadScenario(f *testing.F) {
	f.Add(DefaultScenarioText())
	f.Add(SwitchedScenarioText())
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := LoadScenario("f", text)
		if err != nil {
			return
		}
		if _, err := New(s, Options{Clock: NewInstantClock()}); err != nil {
			t.Fatalf("a scenario that was passed builds no bench: %v", err)
		}
	})
}
