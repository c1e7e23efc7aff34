package stability

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Deviation names one statistic.
type Deviation string

// The deviations.
const (
	ADEV   Deviation = "adev"   // Allan
	OADEV  Deviation = "oadev"  // overlapping Allan
	MDEV   Deviation = "mdev"   // modified Allan
	TDEV   Deviation = "tdev"   // time: tau·mdev/√3, in seconds for fractional frequency
	HDEV   Deviation = "hdev"   // Hadamard: blind to linear frequency drift
	OHDEV  Deviation = "ohdev"  // overlapping Hadamard
	TotDEV Deviation = "totdev" // total, not corrected for its bias at long averaging times
)

// Deviations are all of them in the order of tables.
func Deviations() []Deviation { return []Deviation{ADEV, OADEV, MDEV, TDEV, HDEV, OHDEV, TotDEV} }

// Title is the deviation's name in words.
func (d Deviation) Title() string {
	return map[Deviation]string{ADEV: "Allan deviation", OADEV: "overlapping Allan deviation", MDEV: "modified Allan deviation", TDEV: "time deviation",
		HDEV: "Hadamard deviation", OHDEV: "overlapping Hadamard deviation", TotDEV: "total deviation"}[d]
}

// ParseDeviations reads a list such as "adev,mdev".
func ParseDeviations(text string) ([]Deviation, error) {
	var list []Deviation
	for _, name := range strings.Split(text, ",") {
		d := Deviation(strings.TrimSpace(name))
		if err := d.check(); err != nil {
			return nil, err
		}
		if slices.Contains(list, d) {
			return nil, fmt.Errorf("deviation %q is listed twice", d)
		}
		list = append(list, d)
	}
	return list, nil
}

func (d Deviation) check() error {
	if slices.Contains(Deviations(), d) {
		return nil
	}
	names := make([]string, 0, 7)
	for _, k := range Deviations() {
		names = append(names, string(k))
	}
	return fmt.Errorf("%q is no deviation; expected one of %s", string(d), strings.Join(names, ", "))
}

// order is how often phase is differenced: 3 for Hadamard, else 2.
func (d Deviation) order() int {
	if d == HDEV || d == OHDEV {
		return 3
	}
	return 2
}

func (d Deviation) modified() bool   { return d == MDEV || d == TDEV }
func (d Deviation) overlapped() bool { return d != ADEV && d != HDEV }

// most is the largest averaging factor for a record of span·tau0.
func (d Deviation) most(span int) int {
	if d.modified() {
		return (span + 1) / 3
	}
	return span / d.order()
}

// needs is the least span that an averaging factor asks for.
func (d Deviation) needs(m int) int {
	if d.modified() {
		return 3*m - 1
	}
	return d.order() * m
}

// of computes the deviation for averaging factor m, of how many terms; zero
// terms where gaps leave none.
func (d Deviation) of(t *trace, m int) (value float64, terms int) {
	var sum float64
	f := float64(m)
	norm := 2 * f * f
	switch {
	case d.modified():
		sum, terms = t.averaged(m)
		norm *= f * f
	case d == TotDEV:
		sum, terms = t.reflected(m)
	default:
		stride := m
		if d.overlapped() {
			stride = 1
		}
		sum, terms = t.differences(d.order(), m, stride)
		if d.order() == 3 {
			norm = 6 * f * f
		}
	}
	if terms == 0 {
		return 0, 0
	}
	return math.Sqrt(sum/norm/float64(terms)) * t.scale, terms
}
