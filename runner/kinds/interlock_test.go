package kinds_test

import (
	"bytes"
	"fmt"
	"net"
	"strconv"
	"strings"
	"sync"
	"testing"

	"bandproof/procedures"
	"bandproof/procedures/quantity"
	"bandproof/runner/kinds"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// sniffer sees what is sent to a source: the highest level at any frequency.
type sniffer struct {
	net.Conn
	name string
	to   *heard
}

type heard struct {
	mu        sync.Mutex
	levels    int
	frequency map[string]quantity.Frequency
	loud      []string
	ceiling   func(source string, f quantity.Frequency) float64
}

func (s sniffer) Write(p []byte) (int, error) {
	s.to.mu.Lock()
	defer s.to.mu.Unlock()
	for _, line := range bytes.Split(p, []byte("\n")) {
		words := strings.Fields(string(line))
		switch {
		case len(words) == 2 && words[0] == "FREQ":
			if f, err := quantity.Parse[quantity.Hertz](words[1] + " Hz"); err == nil {
				s.to.frequency[s.name] = f
			}
		case len(words) == 3 && words[0] == "POW":
			s.to.levels++
			dbm, err := strconv.ParseFloat(words[1], 64)
			if most := s.to.ceiling(s.name, s.to.frequency[s.name]); err != nil || dbm > most+1e-9 {
				s.to.loud = append(s.to.loud, fmt.Sprintf("%s: %s at %s, at most %.2f dBm", s.name, line, s.to.frequency[s.name], most))
			}
		}
	}
	return s.Conn.Write(p)
}

// TestEveryLevelOfEveryKindPassesTheInterlock looks at the wire: no level is
// ever sent to a source that the ceiling of its path does not allow, whatever
// kind of measurement asks for it. Damage levels are set so low that searches
// and ranges would like to go beyond.
func TestEveryLevelOfEveryKindPassesTheInterlock(t *testing.T) {
	to := &heard{frequency: map[string]quantity.Frequency{}}
	low := strings.NewReplacer(`damage = "20 dBm"`, `damage = "-4 dBm"`, `maximum = "7 dBm"`, `maximum = "-5 dBm"`, `damage = "5 V"`, `damage = "0.4 V"`, `maximum = "1 V"`, `maximum = "0.3 V"`, `levels = ["-45 dBm", "5 dBm"]`, `levels = ["-45 dBm", "-12 dBm"]`).Replace(text(t))
	r := runnertest.New(t, runnertest.Options{Text: low, Kinds: kinds.All(), Wrap: func(name string, c net.Conn) net.Conn {
		if name != "LF" && name != "MW" {
			return c
		}
		return sniffer{c, name, to}
	}})
	r.Operator.Answers = []bool{true, false}
	to.ceiling = func(source string, f quantity.Frequency) float64 {
		for _, p := range r.Setup.Bench.Paths {
			i, ok := r.Setup.Procedure.Input(p.Input)
			if s, _ := r.Setup.Bench.Source(source); ok && p.Source == source {
				return procedures.Ceiling(r.Setup.Procedure.Unit, i, p, s, f)
			}
		}
		return -999
	}
	got := r.Run()
	require.True(t, got.Complete, got.Ended)
	require.Empty(t, to.loud)
	require.Greater(t, to.levels, 100, "the levels on the wire were seen")
	clipped := 0
	for _, o := range got.Outcomes {
		for _, x := range o.Rows {
			if strings.Contains(x.Says, "is destroyed at") {
				clipped++
			}
		}
	}
	require.Positive(t, clipped, "some kind was held back by the ceiling")
}
