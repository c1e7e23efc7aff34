package uncertainty

import (
	"fmt"
	"strings"
)

// Difference combines two budgets of one quantity for B − A. A reference's
// calibration, as one certificate states it, is the same error in both: it is
// taken as fully correlated, and cancels as far as it is equally large. All
// else, its drift since calibration included, is not shown to be correlated and
// adds up as independent (root of the sum of squares). common names what is the
// same error in both.
func Difference(a, b Budget) (u Result, common []string, err error) {
	var all Budget
	side := func(name string, budget Budget, sign float64) map[string]string {
		certified := map[string]string{}
		for k, l := range budget {
			if strings.HasPrefix(l.Name, "reference ") && strings.HasPrefix(l.Source, "certificate ") && !strings.HasPrefix(l.Source, "certificate ,") {
				certified[l.Name+"\x00"+l.Source] = fmt.Sprintf("%s %d", name, k)
			}
			line := l.Times(sign * l.Coefficient())
			line.Name = fmt.Sprintf("%s %d", name, k)
			all = append(all, line)
		}
		return certified
	}
	left, right := side("A", a, -1), side("B", b, 1)
	var correlated []Correlation
	for _, l := range a { // in the order of the budget
		key := l.Name + "\x00" + l.Source
		if x, y := left[key], right[key]; x != "" && y != "" {
			correlated = append(correlated, Correlation{A: x, B: y, R: 1})
			common = append(common, l.Name)
			delete(left, key)
		}
	}
	u, err = all.CombineCorrelated(correlated)
	return u, common, err
}

// OrAsReported is a budget, or where it has no lines what a result says as a whole.
func (b Budget) OrAsReported(r Result) Budget {
	if len(b) == 0 && r.Standard > 0 {
		return Budget{Line("as reported", r.Standard, Normal, r.DegreesOfFreedom, "record")}
	}
	return b
}
