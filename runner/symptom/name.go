package symptom

import (
	"fmt"
	"math"
	"slices"

	"bandproof/runner"
)

// Name says what a run as a whole shows, each symptom with its evidence. Every
// point that failed is covered by at least one of them; what fits none is named
// as not explained. Of a run with nothing wrong one finding says so.
func Name(r runner.Result) []Finding {
	x := read(r)
	n := &namer{reader: x}
	if r.Statement == runner.NotObtainable {
		return []Finding{n.unobtainable()}
	}
	n.shares()
	n.ratios()
	n.constants()
	n.levels()
	n.digits()
	n.dead()
	n.scatters()
	n.losesCycles()
	n.comesAndGoes()
	n.changes()
	n.selfTests()
	n.rest()
	for k := range n.found {
		n.timing(&n.found[k])
	}
	if len(n.found) == 0 {
		n.found = append(n.found, n.nothing())
	}
	return n.found
}

// namer gathers findings.
type namer struct {
	*reader
	found []Finding
}

func (n *namer) add(f Finding) { n.found = append(n.found, f) }

// where lists looks that a condition holds for.
func where(list []*look, is func(*look) bool) (out []*look) {
	for _, l := range list {
		if is(l) {
			out = append(out, l)
		}
	}
	return out
}

// at lists what was seen at some inputs with a signal of the sweep's kind: no
// self-tests, no searches in level.
func (n *namer) at(inputs []string) []*look {
	return where(n.list, func(l *look) bool {
		return slices.Contains(inputs, l.Input) && !l.SelfTest && !l.Sensitivity && !l.row && l.Frequency > 0
	})
}

// covered tells whether a finding names a look already.
func (n *namer) covered(l *look) bool {
	return slices.ContainsFunc(n.found, func(f Finding) bool { return slices.Contains(f.of, l) })
}

// selfTests names self-tests that fail.
func (n *namer) selfTests() {
	of := where(n.list, func(l *look) bool { return l.SelfTest && l.bad })
	if len(of) == 0 {
		return
	}
	f := finding(SelfTest, of)
	for _, l := range of {
		f.evidence("%s", l.Says)
	}
	f.Says = of[len(of)-1].Says
	f.Suggests = "what the unit's manual says of that answer"
	if bad := where(n.list, func(l *look) bool { return l.bad && !l.SelfTest }); len(bad) == 0 {
		f.open("all points pass: what the self-test looks at may not show at the inputs, or the self-test itself may be at fault")
	}
	f.Confirm = []string{"run the self-test again, warm and cold"}
	n.add(f)
}

// rest names what no symptom covers, by input.
func (n *namer) rest() {
	open := where(n.list, func(l *look) bool { return l.bad && !n.covered(l) })
	for _, input := range inputs(open) {
		of := where(open, func(l *look) bool { return l.Input == input })
		f := finding(Unexplained, of)
		f.Says = fmt.Sprintf("%s that none of the symptoms covers", count(len(of), "finding"))
		for k, l := range of {
			if k == 12 {
				f.evidence("and %d more", len(of)-k)
				break
			}
			f.evidence("%s: %s", l.at(), l.Says)
		}
		if len(of) == 1 && of[0].shift {
			f.open("one wrong point shows no law: whether the error is a share of the frequency, a constant or neither needs more points around it")
		}
		f.Confirm = []string{"repeat these points, and take more frequencies around them"}
		n.add(f)
	}
}

// at names a point with its frequency.
func (l *look) at() string {
	if l.Frequency <= 0 {
		return l.Point
	}
	return l.Point + " at " + digits(l.Frequency, 6)
}

// nothing is the finding of a run in which nothing failed, with how near the
// timebase is to its limit where that shows.
func (n *namer) nothing() Finding {
	if len(n.list) == 0 {
		f := Finding{Symptom: NoEvidence, Says: "no point of the run was judged"}
		if n.r.Symptom != "" {
			f.evidence("the run says: %s", n.r.Symptom)
		}
		f.Confirm = []string{"mend what stood against judging, and run again"}
		return f
	}
	f := finding(Nothing, n.list)
	f.Points = nil
	f.Says = fmt.Sprintf("all %s pass", count(len(n.list), "finding"))
	known := where(n.list, func(l *look) bool { return l.steadyShare() && l.tested })
	if len(known) > 0 {
		y, u := meanShare(known)
		f.figure("relative error of the readings, all points together", y*1e6, 2*u*1e6, "ppm")
		most := math.Inf(1)
		for _, l := range known {
			most = math.Min(most, (l.coarse-l.fine)/l.ref)
		}
		if most > 0 {
			f.evidence("that is %.0f %% of what the timebase is allowed", 100*math.Abs(y)/most)
		}
	}
	if open := n.notJudged(); open > 0 {
		f.open("%s not judged, which is no evidence of the unit", count(open, "finding"))
	}
	if !n.r.Complete {
		f.open("the run ended before its plan did: what was not taken is not known")
	}
	for _, i := range n.r.Inputs {
		if len(i.NotShown) > 0 {
			f.open("input %s: what the bench could not show is not known", i.Input.Name)
		}
	}
	return f
}

// notJudged counts what the bench could not show.
func (n *namer) notJudged() int {
	open := 0
	for _, p := range n.r.Points {
		if !p.Judged() {
			open++
		}
	}
	for _, o := range n.r.Outcomes {
		for _, row := range o.Rows {
			if row.Open() {
				open++
			}
		}
	}
	return open
}
