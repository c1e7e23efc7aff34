package runner_test

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"

	"bandproof/runner"
	"bandproof/runner/runnertest"

	"github.com/stretchr/testify/require"
)

// heard is what the instruments of the bench were told, in order.
type heard struct {
	mu   sync.Mutex
	list []string
}

func (h *heard) hear(instrument, message, _ string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.list = append(h.list, instrument+" "+message)
}

func (h *heard) from(n int) []string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return append([]string{}, h.list[n:]...)
}

// slow is a journal whose every write of a point takes as long as the rest of
// the program needs to come to a stand.
type slow struct {
	*runnertest.Journal
	heard *heard
	wait  func()
	// meanwhile is what the bench heard during the write of each point.
	meanwhile map[string][]string
	fails     string // the point whose write fails at last
	before    int    // messages heard when the write of a point began
}

// Standing is what the run says itself just before it begins a write.
func (j *slow) Standing(ctx context.Context, s runner.Standing) error {
	j.before = len(j.heard.from(0))
	return j.Journal.Standing(ctx, s)
}

func (j *slow) Point(ctx context.Context, p runner.PointResult) error {
	j.wait()
	if _, again := j.meanwhile[p.Point.ID]; !again { // after the closing check it is journaled again
		j.meanwhile[p.Point.ID] = j.heard.from(j.before)
	}
	if p.Point.ID == j.fails {
		return runnertest.ErrFull
	}
	return j.Journal.Point(ctx, p)
}

// levelOf is the level that a message sets at a source, in dBm.
func levelOf(message string) (float64, bool) {
	_, number, ok := strings.Cut(message, "POW ")
	if !ok {
		return 0, false
	}
	level, err := strconv.ParseFloat(strings.TrimSuffix(number, " DBM"), 64)
	return level, err == nil
}

// While a point is being journaled the source goes on to the next frequency, but
// no reading is triggered, no level raised, and RF not switched on: the message
// log of the bench shows it for every point. A journal that fails in the end
// ends the run there.
func TestNothingIsReadOrRaisedBeforeTheLastPointIsOnDisk(t *testing.T) {
	for _, fails := range []string{"", "B-002"} {
		t.Run("fails at "+fails, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				h := &heard{}
				// Above 1 GHz the level falls.
				r := runnertest.New(t, runnertest.Options{Heard: h.hear, Procedure: []string{"to = \"1.6 GHz\"\nlevel = \"-20 dBm\"\n",
					"to = \"1 GHz\"\nlevel = \"-20 dBm\"\n\n[[input.sensitivity]]\nfrom = \"1 GHz\"\nto = \"1.6 GHz\"\nlevel = \"-25 dBm\"\n"}})
				j := &slow{Journal: r.Journal, heard: h, wait: synctest.Wait, meanwhile: map[string][]string{}, fails: fails}
				r.Setup.Journal = j
				result, err := runner.Run(t.Context(), r.Setup)
				if fails == "" {
					require.NoError(t, err)
					r.Always(result)
				} else {
					require.ErrorIs(t, err, runner.ErrJournal)
					for _, p := range result.Points {
						require.NotEqual(t, fails, p.Point.ID, "what is not on disk does not count")
					}
				}
				went, fell, last := 0, 0, map[string]float64{}
				for _, p := range r.Setup.Plan.Points {
					last[p.Source] = dBm(t, p.Levels.Source.String())
					for _, message := range j.meanwhile[p.ID] {
						require.NotContains(t, message, "READ?", "%s: %s", p.ID, message)
						require.NotContains(t, message, "OUTP ON", "%s: %s", p.ID, message)
						require.NotContains(t, message, "OUTP 1", "%s: %s", p.ID, message)
						if strings.Contains(message, "FREQ ") {
							went++
						}
						if level, ok := levelOf(message); ok {
							source, _, _ := strings.Cut(message, " ")
							require.LessOrEqual(t, level, last[source], "%s: %s", p.ID, message)
							fell++
						}
					}
				}
				require.Equal(t, fails == "", fell == 1, "one step goes down by level")
				if fails == "" { // all but the last point of each input were followed at once
					require.Equal(t, len(r.Setup.Plan.Points)-2, went, fmt.Sprint(j.meanwhile))
				}
			})
		})
	}
}

func dBm(t *testing.T, text string) float64 {
	t.Helper()
	number, _, _ := strings.Cut(text, " ")
	level, err := strconv.ParseFloat(number, 64)
	require.NoError(t, err, text)
	return level
}
