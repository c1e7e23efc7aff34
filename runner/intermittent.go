package runner

import (
	"fmt"
	"strings"

	"bandproof/drivers"
	"bandproof/procedures"
	"bandproof/procedures/quantity"
)

// farFactor is how many times the scatter that a steady signal may show lies
// between the limit and a reading that counts as far off.
const farFactor = 10

// intermittentWord begins the symptom of a fault that comes and goes.
const intermittentWord = "intermittent: "

// ComesAndGoes tells whether a symptom is that of a fault that comes and goes.
func ComesAndGoes(symptom string) bool { return strings.HasPrefix(symptom, intermittentWord) }

// Intermittent says in words that at one point some readings are right while
// others are missing or far off; "" where it is not so. Readings that spread
// without a gap, or of which the right ones do not agree among themselves, are
// scatter, which has its own word. All readings of all sets speak: none is
// forgiven because a later one was right.
func (p *PointResult) Intermittent() string {
	k := p.Heap()
	steady := procedures.Spread(k.Right).Cmp(p.ScatterAllowed()) <= 0
	apart := k.Far > 0 && k.Between == 0 && steady
	if len(k.Right) == 0 || k.Missing == 0 && !apart {
		return ""
	}
	var list []string
	if k.Missing > 0 {
		list = append(list, fmt.Sprintf("%d of %d readings gave no count", k.Missing, k.All))
	}
	if k.Far > 0 {
		list = append(list, fmt.Sprintf("%d of %d readings %s", k.Far, k.All, k.words()))
	}
	return intermittentWord + strings.Join(list, ", ")
}

// Heap is the readings of a point, of a first look too, by how right they are.
type Heap struct {
	Right, Off []quantity.Exact // within and beyond the limit, Hz
	// Of those beyond, Far lie far beyond, Between lie near to it.
	All, Missing, Far, Between int
	looks                      map[string]bool // what those beyond look like
}

// Heap sorts the readings that the verdict rests on.
func (p *PointResult) Heap() Heap {
	h := Heap{looks: map[string]bool{}}
	limit := p.Limit.Total
	for _, x := range p.Readings {
		if x.Use != Counted && x.Use != FirstLook {
			continue
		}
		h.All++
		f := x.Frequency.Exact()
		switch d := f.Sub(p.Reference).Abs(); {
		case x.Mark != drivers.None:
			h.Missing++
		case d.Cmp(limit) <= 0:
			h.Right = append(h.Right, f)
		default:
			h.Off = append(h.Off, f)
			h.looks[symptomOf(f, p.Reference, limit)] = true
		}
	}
	far := limit.Add(p.ScatterAllowed().Mul(quantity.ExactInt(farFactor)))
	if ten := limit.Mul(quantity.ExactInt(farFactor)); len(h.Right) == 1 && far.Cmp(ten) < 0 {
		far = ten // one alone may be right by chance
	}
	for _, f := range h.Off {
		if f.Sub(p.Reference).Abs().Cmp(far) > 0 {
			h.Far++
		} else {
			h.Between++
		}
	}
	return h
}

// words says what wrong readings look like where all look alike.
func (h Heap) words() string {
	if len(h.looks) == 1 {
		for look := range h.looks {
			if what, ok := strings.CutPrefix(look, "reads "); ok {
				return "showed " + what
			}
		}
	}
	return "lay far off"
}
