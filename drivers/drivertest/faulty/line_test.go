package faulty

import (
	"bytes"
	"context"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// carried sends pieces through a line, one after the other, and returns what
// came out in pieces, and whether the connection was cut.
func carried(t require.TestingT, s Schedule, pieces ...string) (got []string, cut bool) {
	r, w := io.Pipe()
	go func() {
		for _, p := range pieces {
			_, _ = w.Write([]byte(p))
		}
		_ = w.Close()
	}()
	NewLine(s).lanes[ToInstrument].carry(context.Background(), r, func(p []byte) error { got = append(got, string(p)); return nil },
		func(time.Duration) bool { cut = true; _ = r.Close(); return false })
	return got, cut
}

func TestEachFaultDoesWhatItSays(t *testing.T) {
	for _, row := range []struct {
		name   string
		faults string
		pieces []string
		want   []string
		cut    bool
	}{
		{"none", "", []string{"abc\n", "def\n"}, []string{"abc\n", "def\n"}, false},
		{"delay keeps the order", "out@1 delay 1ms", []string{"abc"}, []string{"a", "bc"}, false},
		{"drop", "out@1 drop 2", []string{"abcd"}, []string{"a", "d"}, false},
		{"drop goes on in the next piece", "out@2 drop 3", []string{"abc", "def"}, []string{"ab", "f"}, false},
		{"split", "out@2 split 1ms", []string{"abcd"}, []string{"ab", "cd"}, false},
		{"join", "out@0 join 1h0m0s", []string{"ab", "cd"}, []string{"abcd"}, false},
		{"join of a part", "out@1 join 1h0m0s", []string{"ab", "cd"}, []string{"a", "bcd"}, false},
		{"join ends", "out@0 join 1ms", []string{"ab"}, []string{"ab"}, false},
		{"duplicate with the next byte", "out@3 duplicate 2", []string{"abc", "def"}, []string{"abc", "bc", "def"}, false},
		{"duplicate at once", "out@3+ duplicate 2", []string{"abc"}, []string{"abc", "bc"}, false},
		{"duplicate of the piece", "out@6+ duplicate", []string{"abc", "def"}, []string{"abc", "def", "def"}, false},
		{"corrupt", "out@1 corrupt 2 ^01", []string{"abcd"}, []string{"a", "cbd"}, false},
		{"cut", "out@2 cut", []string{"abcd"}, []string{"ab"}, true},
		{"cut before the next byte only", "out@4 cut", []string{"abcd"}, []string{"abcd"}, false},
		{"cut at once", "out@4+ cut", []string{"abcd"}, []string{"abcd"}, true},
		{"the other way", "in@0 cut", []string{"abcd"}, []string{"abcd"}, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			s, err := Parse("seed 1: " + row.faults)
			require.NoError(t, err)
			got, cut := carried(t, s, row.pieces...)
			require.Equal(t, row.want, got)
			require.Equal(t, row.cut, cut)
		})
	}
}

// A schedule that was printed is the schedule that was drawn, from the same
// seed the same one.
func TestScheduleIsPrintedOnOneLineAndReadAgain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := Extent{Out: rapid.IntRange(1, 5000).Draw(t, "out"), In: rapid.IntRange(1, 5000).Draw(t, "in"), Patience: 100 * time.Millisecond}
		s := Draw(rapid.Uint64().Draw(t, "seed"), e)
		require.Equal(t, s, Draw(s.Seed, e))
		require.NotContains(t, s.String(), "\n")
		again, err := Parse(s.String())
		require.NoError(t, err)
		require.Equal(t, s, again)
	})
}

// Without drops, duplicates, corruption and cuts every byte arrives, in order.
func TestFaultsOfTimeLoseNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Draw(rapid.Uint64().Draw(t, "seed"), Extent{Out: 40, In: 40, Patience: time.Millisecond})
		kept := s.Faults[:0]
		for _, f := range s.Faults {
			if f.Kind == Delay || f.Kind == Split || f.Kind == Join {
				kept = append(kept, f)
			}
		}
		s.Faults = kept
		pieces := rapid.SliceOfN(rapid.StringMatching(`[a-z]{1,12}`), 1, 6).Draw(t, "pieces")
		got, cut := carried(t, s, pieces...)
		require.False(t, cut)
		var want, have bytes.Buffer
		for _, p := range pieces {
			want.WriteString(p)
		}
		for _, p := range got {
			have.WriteString(p)
		}
		require.Equal(t, want.String(), have.String())
	})
}

func TestScheduleThatIsNoneSaysWhere(t *testing.T) {
	for _, text := range []string{"", "seed x: ", "seed 1: out drop 1", "seed 1: up@1 drop 1", "seed 1: out@1 melt", "seed 1: out@1 drop x", "seed 1: out@1 corrupt ^100", "seed 1: out@-1 drop 1"} {
		_, err := Parse(text)
		require.Error(t, err, text)
		require.Contains(t, err.Error(), text[min(len(text), 8):])
	}
}

func FuzzParse(f *testing.F) {
	f.Add("seed 17: out@86 drop 2, in@148+ delay 7.7ms, out@177 corrupt 2 ^04")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := Parse(text)
		if err != nil {
			return
		}
		again, err := Parse(s.String())
		require.NoError(t, err)
		require.Equal(t, s, again)
	})
}
