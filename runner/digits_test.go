package runner_test

import (
	"net"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"

	"bandproof/drivers/link"
	"bandproof/drivers/profile"
	"bandproof/drivers/profiles"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// misprint is a line without a checksum that changes one digit of a frequency
// in some replies: of those frequencies from 100 MHz on for which hits says so,
// counted from 1.
type misprint struct {
	net.Conn
	count *atomic.Int64
	hits  func(n int64) bool
}

var frequency = regexp.MustCompile(`^[0-9]{9,}(\.[0-9]+)?\r?\n$`)

func (m misprint) Read(p []byte) (int, error) {
	n, err := m.Conn.Read(p)
	if frequency.Match(p[:n]) && m.hits(m.count.Add(1)) {
		p[2] = '0' + (p[2]-'0'+5)%10
	}
	return n, err
}

// A digit that was changed into another digit can't be seen in one message.
// Where the counter can't be asked for its reading once more, the readings of
// a point must show it, and they are never averaged.
func TestChangedDigitsAreScatter(t *testing.T) {
	for _, row := range []struct {
		name    string
		hits    func(n int64) bool
		again   bool // the profile asks for each reading once more
		verdict string
		looks   int // readings of a first look that are kept, at B-004
	}{
		{"none", func(int64) bool { return false }, false, "pass", 0},
		{"now and then", func(n int64) bool { return n%3 == 0 }, false, "fail: unstable", 5},
		{"now and then, but each reading is asked for twice", func(n int64) bool { return n%7 == 0 }, true, "pass", 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			count := &atomic.Int64{}
			r := newRig(t, options{Wrap: func(instrument string, c net.Conn) net.Conn {
				if instrument != "counter" {
					return c
				}
				return misprint{c, count, row.hits}
			}})
			if !row.again {
				withoutAgain(r)
			}
			result := r.Run()
			require.Equal(t, all(row.verdict, 5), verdicts(result, "B")[1:], "all but the one below 100 MHz")
			p, looks := find(result, "B-004"), 0
			for _, x := range p.Readings {
				if x.Use == runner.FirstLook {
					looks++
				}
			}
			require.Equal(t, row.looks, looks, "what was read first is kept")
		})
	}
}

// withoutAgain opens the counter with a profile that asks for no reading twice.
func withoutAgain(r *rig) {
	r.T.Helper()
	require.NoError(r.T, r.Setup.Counter.Close())
	text, err := profiles.Text("scpi-counter")
	require.NoError(r.T, err)
	whole, _, _ := strings.Cut(string(text), "[[example]]")
	plain := regexp.MustCompile(`(?m)^again = .*$`).ReplaceAllString(whole, "")
	require.NotEqual(r.T, whole, plain)
	p, err := profile.Load("plain.toml", []byte(plain))
	require.NoError(r.T, err)
	opener := link.Opener{Dial: r.Dial}
	l, err := opener.Open(r.T.Context(), p.Prefer(link.Config{Address: r.Setup.Bench.Counter.Address}))
	require.NoError(r.T, err)
	r.Setup.Counter, err = p.OpenCounter(r.T.Context(), profile.Opening{Name: "counter", Link: l, Clock: r.Clock})
	require.NoError(r.T, err)
	r.T.Cleanup(func() { _ = r.Setup.Counter.Close() })
}
