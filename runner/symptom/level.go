package symptom

import (
	"fmt"
	"math"
	"slices"
)

// weak tells whether what a point lacks is level: the search for the least level
// nearest in frequency found that the input needs more than the point has, or the
// same frequency counts properly at a higher level. The highest level of a search that
// found none is taken for that where other searches at the input found too high ones.
func (n *namer) weak(l *look) bool {
	if !l.bad || l.Kind != None && l.Kind != TooFew && l.Kind != Noisy && l.Kind != Intermittent {
		return false
	}
	if l.top && slices.ContainsFunc(n.list, func(m *look) bool { return m.Input == l.Input && m.Kind == Weak }) {
		return true
	}
	if near := n.nearestSearch(l); near != nil && near.Kind == Weak && near.Margin > l.Margin {
		return true
	}
	return slices.ContainsFunc(n.list, func(m *look) bool {
		return m.Input == l.Input && m.Frequency == l.Frequency && m.Kind == Good && !m.Sensitivity && m.Level > l.Level
	})
}

// nearestSearch is the search for a level at this input that is nearest to a point
// in frequency.
func (n *namer) nearestSearch(l *look) (best *look) {
	far := math.Inf(1)
	for _, m := range n.list {
		if m.Sensitivity && m.Input == l.Input && m.Frequency > 0 && l.Frequency > 0 {
			if d := math.Abs(math.Log(m.Frequency / l.Frequency)); d < far {
				best, far = m, d
			}
		}
	}
	return best
}

// levels names inputs that need too much level.
func (n *namer) levels() {
	for _, input := range n.r.InputNames() {
		searches := where(n.list, func(l *look) bool { return l.Input == input && l.Sensitivity })
		bad := where(searches, func(l *look) bool { return l.Kind == Weak })
		follow := where(n.at([]string{input}), n.weak)
		if len(bad)+len(follow) == 0 {
			continue
		}
		f := finding(NeedsLevel, append(slices.Clone(bad), follow...))
		f.Suggests = "the input stage: attenuator, protection, amplifier, trigger level"
		f.Says = "counts only at a higher level than it should"
		if len(bad) > 0 {
			n.margins(&f, bad, searches)
		}
		if len(follow) > 0 {
			f.evidence("%s of the sweep and of other measurements fail at a lower level than that, or count at a higher one (%s)", count(len(follow), "point"), pointWords(follow))
		}
		good := where(searches, func(l *look) bool { return !l.bad })
		if len(good) > 0 {
			f.evidence("within specification at %s", frequencies(good))
		}
		if len(bad) == 0 {
			f.open("how much level is missing: no search for the least level was made")
		}
		f.open("input or bench: the level at the input is as the bench file's losses and the source have it, unless a power meter measured it there")
		f.Confirm = []string{"measure the level at the connector", "compare the signal before and behind the input amplifier with what a good input has"}
		n.add(f)
	}
}

// margins says by how much the least level lies above what is specified, and how
// that runs with frequency.
func (n *namer) margins(f *Finding, bad, searches []*look) {
	low, high := bad[0], bad[0]
	for _, l := range bad {
		if l.Margin < low.Margin {
			low = l
		}
		if l.Margin > high.Margin {
			high = l
		}
	}
	f.Says = fmt.Sprintf("needs up to %.3g dB more than specified", high.Margin)
	if high.top {
		f.Says = fmt.Sprintf("needs more than %.3g dB above what is specified, the highest level that was tried", high.Margin)
	}
	f.figure("least level above what is specified, at most", high.Margin, 2*high.u, "dB")
	f.evidence("%d of %d searches find more than specified: from %+.3g dB at %s to %+.3g dB at %s", len(bad), len(searches), low.Margin, digits(low.Frequency, 4), high.Margin, digits(high.Frequency, 4))
	for _, l := range bad[:min(3, len(bad))] {
		f.evidence("%s: %s", l.at(), l.Says)
	}
	if len(bad) >= 3 && high.Margin-low.Margin >= 3 {
		rises := low.Frequency < high.Frequency
		what := "falls"
		if rises {
			what = "rises"
		}
		f.evidence("what is missing %s with frequency, by %.3g dB", what, high.Margin-low.Margin)
	}
}

// frequencies lists the frequencies of looks.
func frequencies(list []*look) string {
	var out []string
	for k, l := range list {
		if k == mostListed {
			out = append(out, fmt.Sprintf("%d more", len(list)-k))
			break
		}
		out = append(out, digits(l.Frequency, 4))
	}
	return listed(out)
}
