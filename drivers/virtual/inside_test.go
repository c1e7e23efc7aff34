package virtual

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// sweepPoints are settings over all inputs of the default scenario: well inside
// and near the edges of each path, some with little level to spare.
var sweepPoints = []struct {
	channel  int
	source   string
	f, level string
}{
	{1, "LF", "1 KHZ", "-12"}, {1, "LF", "10 MHZ", "-12"}, {1, "LF", "60 MHZ", "-12"}, {1, "LF", "100 MHZ", "-6"}, {1, "LF", "119 MHZ", "-6"},
	{2, "MW", "50 MHZ", "-18"}, {2, "MW", "400 MHZ", "-18"}, {2, "MW", "900 MHZ", "-18"}, {2, "MW", "1.2 GHZ", "-12"}, {2, "MW", "1.58 GHZ", "-12"},
	{3, "MW", "1.5 GHZ", "-16"}, {3, "MW", "3.13 GHZ", "-16"}, {3, "MW", "5.999 GHZ", "-16"}, {3, "MW", "6.21 GHZ", "-16"}, {3, "MW", "9.137 GHZ", "-16"},
	{3, "MW", "11.9 GHZ", "-16"}, {3, "MW", "12.3 GHZ", "-10"}, {3, "MW", "15 GHZ", "-10"}, {3, "MW", "17.9 GHZ", "-10"},
}

// sweep reads every point twice with both sources' cables in place, and then
// asks for the self-test and for each probe at one point of each path.
func sweep(t *testing.T, d *desk) (list []string) {
	t.Helper()
	for _, p := range sweepPoints {
		input := string(rune('A' + p.channel - 1))
		require.NoError(t, d.b.Connect(p.source, input))
		source := d.lf
		if p.source == "MW" {
			source = d.mw
		}
		set(source, p.f, p.level)
		for range 2 {
			list = append(list, fmt.Sprintf("%s %s %s: %s", input, p.f, p.level, d.read(p.channel, "0.1")))
		}
		for _, x := range d.b.TestPoints() {
			found, err := d.b.Probe(x.Name)
			require.NoError(t, err)
			list = append(list, input+" "+p.f+" "+found.String())
		}
		source.write("OUTP OFF")
		require.Equal(t, "1", source.ask("*OPC?"))
	}
	return append(list, "self-test "+d.unit.ask("*TST?"))
}

// different lists the lines of b that are not those of a.
func different(a, b []string) (list []string) {
	for i := range a {
		if a[i] != b[i] {
			list = append(list, b[i])
		}
	}
	return list
}

func TestEachModeOfEachStageShows(t *testing.T) {
	good := sweep(t, newDesk(t, Options{}, quietTimebase))
	for _, s := range newBench(t, Options{}, nil).Stages() {
		require.NotEmpty(t, s.Modes, s.Name)
		for _, m := range s.Modes {
			t.Run(s.Name+" "+m.Name, func(t *testing.T) {
				d := newDesk(t, Options{}, quietTimebase)
				f := Fault{Name: StageFault, Stage: s.Name, Mode: m.Name}
				require.NoError(t, d.b.SetFaults([]Fault{f}))
				again, err := ParseFault(f.String())
				require.NoError(t, err)
				require.Equal(t, f, again)
				changed := different(good, sweep(t, d))
				require.NotEmpty(t, changed)
				for _, l := range changed {
					t.Log(l)
				}
			})
		}
	}
}
