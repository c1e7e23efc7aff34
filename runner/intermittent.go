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

// intermittent says in words that at one point some readings are right while
// others are missing or far off; "" where it is not so. Readings that spread
// without a gap, or of which the right ones do not agree among themselves, are
// scatter, which has its own word. All readings of all sets speak: none is
// forgiven because a later one was right.
func intermittent(res *PointResult) string {
	k := sorted(res)
	steady := procedures.Spread(k.right).Cmp(scatterAllowed(res)) <= 0
	apart := k.wrong > 0 && k.between == 0 && steady
	if len(k.right) == 0 || k.missing == 0 && !apart {
		return ""
	}
	var list []string
	if k.missing > 0 {
		list = append(list, fmt.Sprintf("%d of %d readings gave no count", k.missing, k.all))
	}
	if k.wrong > 0 {
		list = append(list, fmt.Sprintf("%d of %d readings %s", k.wrong, k.all, k.words()))
	}
	return intermittentWord + strings.Join(list, ", ")
}

// heap is the readings of a point by how right they are.
type heap struct {
	right                        []quantity.Exact // Hz
	all, missing, wrong, between int
	looks                        map[string]bool // what wrong ones look like
}

func sorted(res *PointResult) heap {
	h := heap{looks: map[string]bool{}}
	limit := res.Limit.Total
	var off []quantity.Exact
	for _, x := range res.Readings {
		if x.Use != Counted && x.Use != FirstLook {
			continue
		}
		h.all++
		f := x.Frequency.Exact()
		switch d := f.Sub(res.Reference).Abs(); {
		case x.Mark != drivers.None:
			h.missing++
		case d.Cmp(limit) <= 0:
			h.right = append(h.right, f)
		default:
			off = append(off, d)
			h.looks[symptomOf(f, res.Reference, limit)] = true
		}
	}
	far := limit.Add(scatterAllowed(res).Mul(quantity.ExactInt(farFactor)))
	if ten := limit.Mul(quantity.ExactInt(farFactor)); len(h.right) == 1 && far.Cmp(ten) < 0 {
		far = ten // one alone may be right by chance
	}
	for _, d := range off {
		if d.Cmp(far) > 0 {
			h.wrong++
		} else {
			h.between++
		}
	}
	return h
}

// words says what wrong readings look like where all look alike.
func (h heap) words() string {
	if len(h.looks) == 1 {
		for look := range h.looks {
			if what, ok := strings.CutPrefix(look, "reads "); ok {
				return "showed " + what
			}
		}
	}
	return "lay far off"
}
