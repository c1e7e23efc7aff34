package sheet

import (
	"slices"
	"strings"

	"bandproof/runner"
)

// useWords says what readings that don't enter mean and error were for, in
// words for a customer; what is put in is how many.
var useWords = []struct {
	use  runner.Use
	what key
	// noted: the run's own note that says the same begins with or holds this.
	noted string
}{
	{runner.Discarded, "%s readings after setting kept in the record but not used, because the gate may have begun before the signal had settled", ""},
	{runner.FirstLook, "%s readings of a first set not in the mean: they scattered too much, so a second set was taken; each must lie within the limit all the same", "were read anew once"},
	{runner.Lost, "%s readings never came while others did, which is put down to the link, and taken again", "were taken anew"},
	{runner.Proof, "%s readings at another point, to prove that the signal path works", ""},
	{runner.ClosingCheck, "%s readings taken again at the end of the sweep of the path, to see whether the unit still reads right", ""},
	{runner.RFOffLook, "%s readings taken with the signal switched off, to see that the unit does not go on showing an old value", ""},
}

// notesOf says what the table has no column for. What the run noted itself and
// the sheet says better is left out.
func (w *words) notesOf(p *runner.PointResult) []string {
	var list, said []string
	if p.Symptom != "" {
		list = append(list, w.say("symptom: %s", w.word(p.Symptom)))
	}
	if p.Point.Coherent {
		list = append(list, w.say("coherent: signal and gate share one phase, so readings repeat and count as one; scatter was not tested"))
		said = append(said, "coherent: all readings at one phase")
	}
	if k := p.Setting.Refused; k > 0 {
		list = append(list, w.say("the source was not locked, or did not report what was set, after %[1]s of %[2]s settings", w.whole(k), w.whole(p.Setting.Tries)))
		said = append(said, "source was not good after")
	}
	if p.Counted > 0 && p.Reported.CoverageFactor != 2 {
		list = append(list, w.say("coverage factor k = %s", w.significant(p.Reported.CoverageFactor, 3)))
	}
	list = append(list, w.byHand(p)...)
	if p.StoppedEarly != "" {
		list = append(list, w.say("stopped early: %s", w.word(p.StoppedEarly)))
	}
	uses := map[runner.Use]int{}
	for _, r := range p.Readings {
		uses[r.Use]++
	}
	if slices.ContainsFunc(p.Notes, func(n string) bool { return strings.HasPrefix(n, pathProven) }) {
		delete(uses, runner.Proof) // the run's note says where
	}
	for _, u := range useWords {
		if k := uses[u.use]; k > 0 {
			if u.use == runner.Discarded && !p.Judged() { // all of them, whatever the gate did
				u.what = "%s readings kept in the record but not used"
			}
			list = append(list, w.say(u.what, w.count(k)))
			if u.noted != "" {
				said = append(said, u.noted)
			}
		}
	}
	for _, n := range p.Notes {
		if !slices.ContainsFunc(said, func(s string) bool { return strings.Contains(n, s) }) {
			if text := w.proven(n); !slices.Contains(list, text) { // what happened twice is said once
				list = append(list, text)
			}
		}
	}
	return list
}

// readers are the people who read the readings of a point off the display.
func readers(p *runner.PointResult) []string {
	var list []string
	for _, r := range p.Readings {
		if r.By != "" && !slices.Contains(list, r.By) {
			list = append(list, r.By)
		}
	}
	return list
}

// byHand says who set the source and read the unit, where a person did.
func (w *words) byHand(p *runner.PointResult) []string {
	var list []string
	if p.Setting.By != "" {
		list = append(list, w.say("source set by %s", p.Setting.By))
	}
	if names := readers(p); len(names) > 0 {
		list = append(list, w.say("read by %s; times of entry in the record", w.and(names)))
	}
	twice, anew := 0, 0
	for _, r := range p.Readings {
		switch {
		case r.Twice:
			twice++
		case len(r.Questioned) > 0:
			anew++
		}
	}
	if twice > 0 {
		list = append(list, w.say("%s entries looked like a slip, and the same was entered a second time", w.count(twice)))
	}
	if anew > 0 {
		list = append(list, w.say("%s entries looked like a slip and were entered anew; what was entered first is in the record", w.count(anew)))
	}
	return list
}

// pathProven begins the run's note on a path that was proven by a point.
const pathProven = "path proven: "

// proven leaves the reading out of the run's note on a proven path, so that
// points proven alike share one note; the reading stands in the record.
func (w *words) proven(note string) string {
	if text, ok := w.aidNote(note); ok {
		return text
	}
	if what, _, ok := strings.Cut(note, ", repeated, reads "); ok && strings.HasPrefix(what, pathProven) {
		return w.say("path proven: %s, which had passed, was read again and was right", w.word(strings.TrimPrefix(what, pathProven)))
	}
	return w.word(note)
}
