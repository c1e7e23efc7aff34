package wirelog_test

import (
	"strings"
	"testing"
	"time"

	"bandproof/drivers/link"
	"bandproof/drivers/wirelog"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const counterAt = "TCPIP0::192.0.2.7::5025::SOCKET"

const sample = `# bandproof wire log 1
# program: bandproof 0.1
# begun: 2026-11-25T11:20:33.100000Z
# instrument: counter TCPIP0::192.0.2.7::5025::SOCKET
# instrument: "low source" "ASRL/tmp/a b::INSTR"
2026-11-25T11:20:33.123456Z TCPIP0::192.0.2.7::5025::SOCKET open -
2026-11-25T11:20:33.124001Z TCPIP0::192.0.2.7::5025::SOCKET sent "*IDN?\n"
2026-11-25T11:20:33.126500Z TCPIP0::192.0.2.7::5025::SOCKET received "MAKER,\"M\",\xb5\\\r\n"
2026-11-25T11:20:33.126501Z "ASRL/tmp/a b::INSTR" discarded "\x00" "came before the query was sent"
2026-11-25T11:20:33.126502Z TCPIP0::192.0.2.7::5025::SOCKET status "P"
2026-11-25T11:20:33.126503Z "" lost - "2 exchanges are missing"
2026-11-25T11:20:38.200000Z TCPIP0::192.0.2.7::5025::SOCKET silence - "timed out"
`

func TestALogIsReadAndWrittenExactly(t *testing.T) {
	l, err := wirelog.Parse("x.log", []byte(sample))
	require.NoError(t, err)
	require.Equal(t, sample, l.String())
	require.Equal(t, "bandproof 0.1", l.Program)
	require.Equal(t, "low source", l.Name("ASRL/tmp/a b::INSTR"))
	require.Equal(t, "GPIB0::1::INSTR", l.Name("GPIB0::1::INSTR"), "an address without a name stands for itself")
	require.Equal(t, []string{counterAt, "ASRL/tmp/a b::INSTR"}, l.Addresses())
	require.Len(t, l.Exchanges, 7)
	require.Equal(t, link.Exchange{At: time.Date(2026, 11, 25, 11, 20, 33, 126500000, time.UTC), Address: counterAt,
		Direction: link.Received, Bytes: []byte("MAKER,\"M\",\xb5\\\r\n")}, l.Exchanges[2])

	byMail, err := wirelog.Parse("x.log", []byte(strings.ReplaceAll(sample, "\n", "\r\n")))
	require.NoError(t, err)
	require.Equal(t, l, byMail)
}

func TestMistakesInALogAreToldWithTheirLine(t *testing.T) {
	swap := func(old, new string) string { return strings.Replace(sample, old, new, 1) }
	for _, row := range []struct{ name, text, want string }{
		{"nothing", "", "x.log: no wire log"},
		{"another file", "hello\n", `x.log:1: no wire log: expected "# bandproof wire log 1"`},
		{"another version", swap("log 1", "log 2"), "x.log:1:"},
		{"head only", "# bandproof wire log 1\n", `expected "# bandproof wire log 1" and "# begun`},
		{"no program", swap("# program: bandproof 0.1\n", ""), "x.log:2:"},
		{"begun is none", swap("11:20:33.100000Z", "noon"), "x.log:3: no wire log: \"2026-11-25Tnoon\" is no time"},
		{"time zone", swap("11:20:33.123456Z", "11:20:33.123456+01:00"), "x.log:6: "},
		{"milliseconds", swap("11:20:33.123456Z", "11:20:33.123Z"), "x.log:6: "},
		{"direction", swap(" open ", " opened "), `x.log:6: no wire log: "opened" is nothing that happens to a link`},
		{"no quotes", swap(`"*IDN?\n"`, `*IDN?\n`), "x.log:7: no wire log: is not in the one form"},
		{"open quotes", swap(`"*IDN?\n"`, `"*IDN?\n`), "x.log:7: no wire log: bytes: the quotes do not end"},
		{"another escape", swap(`\xb5`, `\265`), `x.log:8: no wire log: is not in the one form that a log has; expected 2026`},
		{"two spaces", swap("SOCKET sent", "SOCKET  sent"), "x.log:7:"},
		{"more after the note", swap(`sent"`, `sent" x`), "x.log:9:"},
		{"half a line", strings.TrimSuffix(sample, "imed out\"\n"), "x.log:12: no wire log: note: the quotes do not end, or hold an escape that is none; the file ends within this line"},
	} {
		t.Run(row.name, func(t *testing.T) {
			_, err := wirelog.Parse("x.log", []byte(row.text))
			require.ErrorIs(t, err, wirelog.ErrFormat)
			require.ErrorContains(t, err, row.want)
		})
	}
	l, err := wirelog.Parse("x.log", []byte(strings.TrimSuffix(sample, "imed out\"\n")))
	require.Error(t, err)
	require.Len(t, l.Exchanges, 6, "what stands before the mistake is there")
}

// Whatever bytes went over the wire, the log gives them back.
func TestEveryByteComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := wirelog.Log{Header: wirelog.Header{Program: "p 1", Begun: time.UnixMicro(rapid.Int64Range(0, 1e15).Draw(t, "begun")).UTC()}}
		if rapid.Bool().Draw(t, "named") {
			l.Instruments = []wirelog.Instrument{{Name: string(rapid.SliceOf(rapid.Byte()).Draw(t, "name")), Address: rapid.String().Draw(t, "at")}}
		}
		for range rapid.IntRange(0, 5).Draw(t, "n") {
			e := link.Exchange{At: time.UnixMicro(rapid.Int64Range(0, 1e15).Draw(t, "time")).UTC(), Address: rapid.String().Draw(t, "address"),
				Direction: rapid.SampledFrom(append(link.Directions(), wirelog.Lost)).Draw(t, "direction"), Note: rapid.String().Draw(t, "note")}
			if e.Bytes = rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"); len(e.Bytes) == 0 && !e.Direction.CarriesBytes() {
				e.Bytes = nil
			}
			l.Exchanges = append(l.Exchanges, e)
		}
		text := l.String()
		back, err := wirelog.Parse("x", []byte(text))
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		require.Equal(t, l, back)
	})
}

// FuzzParse: no panic; what is read is written back byte for byte, but for the
// line ends of other systems.
func FuzzParse(f *testing.F) {
	f.Add(sample)
	for _, line := range strings.SplitAfter(sample, "\n") {
		f.Add(sample[:strings.Index(sample, "2026-11-25T11:20:33.123")] + line)
	}
	f.Fuzz(func(t *testing.T, text string) {
		l, err := wirelog.Parse("x", []byte(text))
		if err != nil {
			require.ErrorIs(t, err, wirelog.ErrFormat)
			return
		}
		want := strings.ReplaceAll(text, "\r\n", "\n")
		if got := strings.TrimSuffix(l.String(), "\n"); got != strings.TrimSuffix(strings.TrimSuffix(want, "\r"), "\n") {
			t.Fatalf("read %q, wrote %q", text, got)
		}
	})
}
