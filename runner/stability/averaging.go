package stability

import (
	"fmt"
	"strconv"
	"strings"
)

// Averaging says which averaging factors are computed: a list, or all powers
// of a step that the record allows.
type Averaging struct {
	Factors []int
	Step    int // 2 for octave, 10 for decade; then Factors is empty
}

// ParseAveraging reads "octave", "decade" or a list such as "1,10,100".
func ParseAveraging(text string) (Averaging, error) {
	switch strings.TrimSpace(text) {
	case "octave":
		return Averaging{Step: 2}, nil
	case "decade":
		return Averaging{Step: 10}, nil
	}
	var a Averaging
	for _, part := range strings.Split(text, ",") {
		m, err := strconv.Atoi(strings.TrimSpace(part))
		if err != nil || m < 1 {
			return Averaging{}, fmt.Errorf("%q is no averaging factor; expected whole numbers from 1, such as 1,10,100, or octave or decade", part)
		}
		if k := len(a.Factors); k > 0 && m <= a.Factors[k-1] {
			return Averaging{}, fmt.Errorf("averaging factor %d comes after %d; expected a rising list", m, a.Factors[k-1])
		}
		a.Factors = append(a.Factors, m)
	}
	return a, nil
}

// factors are those for one deviation; one that is stated and too large is an
// error, since leaving it out would go unseen.
func (a Averaging) factors(d Deviation, t *trace) ([]int, error) {
	most := d.most(t.span())
	if most < 1 {
		return nil, tooFew(d, 1, t)
	}
	if a.Step == 0 && len(a.Factors) == 0 || a.Step == 1 || a.Step < 0 {
		return nil, fmt.Errorf("no averaging factors; expected a list, octave or decade")
	}
	if a.Step > 1 {
		var list []int
		for m := 1; m <= most; m *= a.Step {
			list = append(list, m)
			if m > most/a.Step {
				break
			}
		}
		return list, nil
	}
	for _, m := range a.Factors {
		if m < 1 {
			return nil, fmt.Errorf("averaging factor %d; expected whole numbers from 1", m)
		}
		if m > most {
			return nil, tooFew(d, m, t)
		}
	}
	return a.Factors, nil
}

func tooFew(d Deviation, m int, t *trace) error {
	extra := 0 // a run of frequency has one value less than of phase
	if t.kind == Phase {
		extra = 1
	}
	hint := ""
	if most := d.most(t.span()); most >= 1 {
		hint = fmt.Sprintf("; the largest possible is %d", most)
	}
	// Counted by division first, as 3·m may be beyond an int.
	need := fmt.Sprintf("more than %d", t.span()+extra)
	if m < 1<<28 {
		need = fmt.Sprintf("at least %d", d.needs(m)+extra)
	}
	return fmt.Errorf("%w: %s with averaging factor %d needs %s values of %s, and there are %d%s", ErrData, d, m, need, t.kind, t.span()+extra, hint)
}
