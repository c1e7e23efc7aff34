package tomlfile_test

import (
	"testing"

	"bandproof/procedures/quantity"
	"bandproof/procedures/quantity/tomlfile"

	"github.com/stretchr/testify/require"
)

type pair struct {
	At   quantity.Frequency `toml:"at"`
	Loss quantity.Gain      `toml:"loss"`
}

func (*pair) TOMLList() {}

type thing struct {
	Name  string                `toml:"name"`
	Range [2]quantity.Frequency `toml:"range"`
	Gates []quantity.Duration   `toml:"gates,omitempty"`
	Loss  []pair                `toml:"loss,omitempty"`
	Level *quantity.Level       `toml:"level,omitempty"`
	Count int                   `toml:"count,omitempty"`
	On    bool                  `toml:"on,omitempty"`
	Sub   *struct {
		X float64 `toml:"x"`
	} `toml:"sub,omitempty"`
	Map map[string]string `toml:"map,omitempty"`
}

type file struct {
	Title  string  `toml:"title"`
	Things []thing `toml:"thing,omitempty"`
}

func TestDecodeReadsEveryShape(t *testing.T) {
	text := `title = "T"
[[thing]]
name = "one"
range = ["10 Hz", "120 MHz"]
gates = ["10 ms", "1 s"]
loss = [["100 MHz", "0.4 dB"], { at = "1 GHz", loss = "1.2 dB" }]
level = "-20 dBm"
count = 3
on = true
sub.x = 1.5
[thing.map]
INT = "own"
[[thing]]
name = "two"
range = ["1 Hz", "2 Hz"]
`
	var f file
	d := tomlfile.Decode("f.toml", []byte(text), &f)
	require.NoError(t, d.Err())
	require.Len(t, f.Things, 2)
	one := f.Things[0]
	require.Equal(t, "120 MHz", one.Range[1].String())
	require.Equal(t, "1.2 dB", one.Loss[1].Loss.String())
	require.Equal(t, "-20 dBm", one.Level.String())
	require.Equal(t, 3, one.Count)
	require.True(t, one.On)
	require.Equal(t, 1.5, one.Sub.X)
	require.Equal(t, "own", one.Map["INT"])
	require.Nil(t, f.Things[1].Level)
	require.True(t, d.Has("thing[0].sub.x"))
	require.False(t, d.Has("thing[1].sub.x"))
}

func TestDecodeTellsEveryMistakeWithItsLine(t *testing.T) {
	text := `titel = "T"
[[thing]]
name = "one"
range = ["10 Hz", "120"]
gates = ["10 mm"]
count = "three"
[[thing]]
range = "wide"
on = 1
`
	var f file
	d := tomlfile.Decode("f.toml", []byte(text), &f)
	d.Add("thing[0].range", "is odd")
	require.EqualError(t, d.Err(), `f.toml:1: title: is missing; it must be given
f.toml:1: titel: is not a key here; did you mean "title"?
f.toml:4: thing "one".range[2]: "120" has no unit; expected a frequency such as "225 MHz" in GHz, MHz, kHz, Hz, mHz, µHz
f.toml:4: thing "one".range: is odd
f.toml:5: thing "one".gates[1]: "10 mm" has unit "mm"; expected a time such as "1 s" in s, ms, µs, ns, ps, min, h, d
f.toml:6: thing "one".count: is a text; expected a whole number
f.toml:7: thing[2].name: is missing; it must be given
f.toml:8: thing[2].range: is not a list of 2; expected such as [lowest, highest]
f.toml:9: thing[2].on: is a whole number; expected true or false`)
}

func TestDecodeTellsWhereTheSyntaxBreaks(t *testing.T) {
	var f file
	err := tomlfile.Decode("f.toml", []byte("title = \"T\"\n[[thing]\n"), &f).Err()
	require.ErrorContains(t, err, "f.toml:2: ")
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte("title = \"T\"\n[[thing]]\nname='a'\nrange=['1 Hz','2 Hz']\nsub.x=1\n[thing.map]\na='b'\n"))
	f.Add([]byte("thing = [1, {name=2}]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var v file
		d := tomlfile.Decode("f", data, &v)
		d.Add("thing[3].range[1].x", "x")
		_ = d.Err().Error()
	})
}
