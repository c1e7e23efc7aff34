package main

import (
	"strings"
	"testing"
	"time"

	"bandproof/reports/record"
	"bandproof/runner"

	"github.com/stretchr/testify/assert"
)

// night is one night: what is on the bench, what happens to it, and what must
// and must not stand in the record in the morning.
type night struct {
	name                           string
	switched                       bool     // the bench that needs nobody
	procedure, benchFile, scenario []string // pairs: old, new text
	faults                         []string // from the start
	cold                           bool     // the unit is switched on with the run
	leavesAfter                    int      // moves of a cable; 0: the person stays
	later                          time.Duration
	asking                         promptFlags
	happens                        happens

	statement runner.Statement
	code      int
	verdicts  map[string]string // of points, and of findings by task; all other points pass
	others    string            // why the other points need not
	says      []string          // somewhere in events, warnings, notes, symptoms, findings
	never     []string
	front     []string // on the data sheet, before its conditions
	frontNot  []string
}

// twoSourced is the bench of the demo with a cable from the low source to input B
// as well.
var (
	twoSourcedBench = []string{"[[path]]\nname = \"MW to C\"", `[[path]]
name = "LF to B"
source = "LF"
input = "B"

[[path.part]]
name = "cable 3, 1 m"
loss = [["1 MHz", "0 dB"], ["250 MHz", "0.5 dB"]]

[[path]]
name = "MW to C"`}
	twoSourcedWires = []string{"[[wire]]\nsource = \"MW\"\ninput = \"C\"", `[[wire]]
source = "LF"
input = "B"
loss = [["1 MHz", "0.04 dB"], ["250 MHz", "0.5 dB"]]

[[wire]]
source = "MW"
input = "C"`}
	longGates   = []string{"points = [\"100 MHz\", \"400 MHz\", \"900 MHz\", \"1.2 GHz\"]\ngate = \"1 s\"", "points = [\"100 MHz\", \"200 MHz\", \"400 MHz\", \"900 MHz\"]\ngate = \"10 s\""}
	untilSteady = []string{`origin = "Invented for the tests."`, `origin = "Invented for the tests."
[warm_up_until]
input = "B"
frequency = "1 GHz"
gate = "1 s"
every = "10 s"
drift = "0.1 ppm"
per = "1 h"
over = "10 min"
longest = "2 h"
otherwise = "warn"
`}
)

var nights = []night{
	{name: "nothing happens", statement: runner.WithinAll, code: exitOK,
		front: []string{"As found: within tolerance over all of the specified range", "Of 10 planned points: 10 pass", "0 fail, 0 not judged"},
		never: []string{"warning: ", "put off", "intermittent"}, frontNot: []string{"Nobody was at the bench", "Warnings that bear on trust"}},

	{name: "source unlocks in the middle and comes back", statement: runner.WithinAll, code: exitOK,
		happens: happens{"point B-001": breaks("source-unlock:instrument=MW"), "input B: ": breaks()},
		says:    []string{"point B-002 at 100 MHz put off: source not locked", "points put off, taken again now", "source was not good after"},
		never:   []string{"fail"}, front: []string{"Of 10 planned points: 10 pass"}},

	{name: "source unlocks for good", statement: runner.Incomplete, code: exitOpen,
		happens:  happens{"point B-001": breaks("source-unlock:instrument=MW")},
		verdicts: all("not judged: source not locked", "B-002 B-003 B-004 B-005 B-006 B-sensitivity-001"),
		says:     []string{"source MW is still not good, trying again in"}, never: []string{"fail: ", "pass: no"},
		front: []string{"As found: incomplete", "5 not judged", "source not locked"}, frontNot: []string{"outside tolerance"}},

	{name: "source drifts away, and the monitor sees it", switched: true, statement: runner.Incomplete, code: exitOpen,
		happens:  happens{"point B-001": breaks("source-offset:instrument=SG,amount=3 ppm")},
		verdicts: all("not judged: source not at frequency (monitor)", "B-002 B-003 B-004 B-005 C-001 C-002 C-003 C-004 C-005 B-sensitivity-001"),
		says:     []string{"monitor shows"}, never: []string{"fail: "},
		front: []string{"As found: incomplete", "source not at frequency (monitor)"}, frontNot: []string{"outside tolerance"}},

	{name: "unit is cold", cold: true, procedure: untilSteady, scenario: []string{`powered_for = "2 d"`, `powered_for = "0 s"`, "seed = 1\n", "seed = 1\nage_by_clock = true\n"},
		statement: runner.WithinAll, code: exitOK, says: []string{"warm-up until 1 GHz at input B drifts by at most"}, never: []string{"fail"},
		front: []string{"Of 10 planned points: 10 pass"}},

	{name: "unit loses an input half-way", statement: runner.Outside, code: exitFailed,
		happens:  happens{"point B-002": breaks("dead-input:input=B")},
		verdicts: all("fail: no count", "B-003 B-004 B-005 B-006 B-sensitivity-001"),
		says:     []string{"input B changed within the run: point B-002, pass at ", "passed before the unit changed within the run"},
		front:    []string{"As found: outside tolerance", "As found: changed within the run", "What passed did so before the unit changed within the run"}},

	{name: "unit loses an input after its last point", statement: runner.Outside, code: exitFailed,
		happens: happens{"point B-006": breaks("dead-input:input=B")}, verdicts: all("fail: no count", "B-sensitivity-001"),
		says:  []string{"input B changed within the run: point "},
		front: []string{"As found: outside tolerance", "As found: changed within the run", "Of 10 planned points: 10 pass"}},

	{name: "fault that comes and goes", statement: runner.Outside, code: exitFailed, faults: []string{"dead-input:input=B,probability=0.3"},
		others: "which points are hit is a matter of chance",
		says:   []string{"intermittent: "},
		front:  []string{"As found: outside tolerance", "intermittent: "}},

	{name: "link to the unit is cut and comes back", statement: runner.WithinAll, code: exitOK, happens: happens{"point B-001": cut("counter"), "measured B-sensitivity-001": cut("MW")},
		says: []string{"clearing and trying again"}, never: []string{"fail", "not judged"},
		front: []string{"Of 10 planned points: 10 pass"}},

	{name: "two sources, and the better one is off", benchFile: twoSourcedBench, scenario: twoSourcedWires, procedure: longGates, faults: []string{"source-offset:instrument=LF,amount=1 ppm"},
		statement: runner.Outside, code: exitFailed,
		verdicts: map[string]string{"A-004": "fail: error outside the limit", "B-002": "not judged: sources disagree", "B-003": "not judged: sources disagree"},
		says:     []string{"source LF is in doubt: source MW shows something else at B-0", "what failed with source LF alone may be its fault: A-004"},
		front:    []string{"source LF is in doubt", "sources disagree"}},

	{name: "switch matrix, and nobody there", switched: true, statement: runner.WithinShown, code: exitOK, leavesAfter: -1,
		says: []string{"switch SW routes path"}, never: []string{"no operator", "fail"}, front: []string{"Of 14 planned points: 14 pass"}},

	{name: "switch that is stuck", switched: true, faults: []string{"switch-stuck"}, statement: runner.Incomplete, code: exitOpen,
		verdicts: all("not judged: path not proven", "A-001 A-002 A-003 A-004 B-001 B-002 B-003 B-004 B-005 C-001 C-002 C-003 C-004 C-005"), never: []string{"fail: no count"},
		front: []string{"As found: incomplete", "path not proven"}, frontNot: []string{"outside tolerance"}},

	{name: "person leaves after the first cable", statement: runner.Incomplete, code: exitOpen, leavesAfter: 1, asking: promptFlags{"30 min", "skip"},
		verdicts: all("not judged: no operator", "B-001 B-002 B-003 B-004 B-005 B-006 B-edge-001 B-sensitivity-001"),
		says:     []string{"offered once more"}, never: []string{"fail"},
		front: []string{"As found: incomplete", "Nobody was at the bench when it was needed: 6 points and 2 findings of other measurements not judged for that", "no operator"}, frontNot: []string{"outside tolerance"}},
}

// Nights in model time, each through the whole program: files, plan, run with
// several kinds of measurement, journal and record in a real store, data sheet.
// Each must end in the right record.
func TestNights(t *testing.T) {
	t.Parallel() // it mostly waits
	for _, n := range nights {
		t.Run(n.name, func(t *testing.T) {
			b := newBed(t, n)
			r, front := b.sleep()
			assert.True(t, r.Run.Complete, r.Run.Ended)
			assert.Equal(t, n.statement, r.Run.Statement)
			assert.Equal(t, n.code, codeOf(r.Run))
			n.checkVerdicts(t, r)
			text := everything(r)
			for _, want := range n.says {
				assert.Contains(t, text, want)
			}
			for _, not := range n.never {
				assert.NotContains(t, text, not)
			}
			if front == "" {
				return
			}
			for _, want := range n.front {
				assert.Contains(t, front, want)
			}
			for _, not := range n.frontNot {
				assert.NotContains(t, front, not)
			}
			if t.Failed() {
				t.Log(text + "\n" + front)
			}
		})
	}
}

// all gives these points and tasks the same verdict.
func all(verdict, ids string) map[string]string {
	list := map[string]string{}
	for _, id := range strings.Fields(ids) {
		list[id] = verdict
	}
	return list
}

// checkVerdicts: those that the night names, and no other bad or open one where
// the statement is good.
func (n night) checkVerdicts(t *testing.T, r record.Record) {
	t.Helper()
	found := map[string]string{}
	for _, p := range r.Run.Points {
		found[p.Point.ID] = p.Verdict.String()
	}
	for _, o := range r.Run.Outcomes {
		for _, x := range o.Rows {
			if old, ok := found[o.Task.ID]; !ok || old == "pass" || old == "" {
				found[o.Task.ID] = x.Verdict.String()
			}
		}
	}
	for id, want := range n.verdicts {
		assert.Equal(t, want, found[id], id)
	}
	for _, p := range r.Run.Points {
		if n.verdicts[p.Point.ID] == "" && n.others == "" {
			assert.Equal(t, "pass", p.Verdict.String(), p.Point.ID)
		}
	}
	failed, _, open := r.Run.Worst()
	assert.Equal(t, n.code == exitOK, !failed && !open)
}

// everything that a record says in words, but its cautions.
func everything(r record.Record) string {
	var list []string
	for _, e := range r.Run.Events {
		list = append(list, e.Text)
	}
	list = append(list, r.Run.Warnings...)
	point := func(p runner.PointResult) {
		list = append(list, p.Point.ID+": "+p.Verdict.String(), p.Symptom)
		list = append(list, p.Notes...)
	}
	for _, p := range r.Run.Points {
		point(p)
	}
	for _, o := range r.Run.Outcomes {
		for _, x := range o.Rows {
			list = append(list, o.Task.ID+": "+x.What+": "+x.Verdict.String()+": "+x.Says)
		}
		list = append(list, o.Notes...)
	}
	return strings.Join(list, "\n")
}
