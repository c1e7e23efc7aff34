package symptom

import "cmp"

// unobtainable is the one finding of a unit that gave no reading at all: nothing
// tells one input of it from another.
func (n *namer) unobtainable() Finding {
	f := finding(NoReadings, where(n.list, func(l *look) bool { return l.bad }))
	f.Says = cmp.Or(n.r.Symptom, "the unit gives no reading at all")
	tried := 0
	for _, p := range n.r.Points {
		tried += len(p.Readings)
	}
	if tried == 0 {
		f.evidence("not obtainable at %s; no signal was applied, the symptom is what a person saw", count(len(n.r.Points), "planned point"))
		f.open("whether any input works: none was tried")
	} else {
		f.evidence("%s of %s, and none with a count", count(tried, "reading"), count(len(n.r.Points), "point"))
		f.open("what reads the unit: a link or a profile that does not fit looks the same")
	}
	f.Suggests = "what all inputs share: supply, timebase, gate and counting chain, display, and what controls them"
	f.Confirm = []string{"look whether anything is lit, and what the unit answers to its identity",
		"have supply and mains side (fuse, voltage selector, cord) looked at by a person licensed for it, disconnected first"}
	return f
}
