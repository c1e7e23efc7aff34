package symptom

import (
	"fmt"
	"math"
	"math/big"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
)

// shownDigits is one reading as it was shown: all digits, and the weight of the last.
type shownDigits struct {
	all  *big.Int
	last float64 // Hz
}

func digitsOf(f quantity.Frequency) shownDigits {
	d := f.Decimal()
	return shownDigits{new(big.Int).Abs(d.Coeff.MathBigInt()), math.Pow10(int(d.Exponent))}
}

// at is the digit at a place, 0 for the last, and its weight in Hz.
func (d shownDigits) at(place int) (digit int64, weight float64) {
	x := new(big.Int).Quo(d.all, new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(place)), nil))
	return x.Mod(x, big.NewInt(10)).Int64(), d.last * math.Pow10(place)
}

// Among how many readings of different value, at how many points, a digit must stay
// the same, and how many others the digit before it must show, to be called stuck:
// by chance six are alike once in 100,000 times.
const (
	mostPlace    = 3
	leastValues  = 6
	leastPoints  = 4
	leastChanges = 4
)

// stuckDigit looks for a place at which all readings of the run show one digit while
// the place before it changes; only digits that a count can change speak.
func (n *namer) stuckDigit() (place int, digit int64, values int, ok bool) {
	for place = range mostPlace + 1 {
		here, before, different, points := map[int64]bool{}, map[int64]bool{}, map[string]bool{}, map[string]bool{}
		for _, l := range n.list {
			for _, d := range l.digits {
				x, weight := d.at(place)
				if weight < l.count*(1-1e-9) {
					continue
				}
				y, _ := d.at(place + 1)
				here[x], before[y], different[d.all.String()], points[l.Point] = true, true, true, true
				digit = x
			}
		}
		if len(here) == 1 && len(before) >= leastChanges && len(different) >= leastValues && len(points) >= leastPoints {
			return place, digit, len(different), true
		}
	}
	return 0, 0, 0, false
}

// digits names a digit that is stuck or missing: as the measurement of gate and
// resolution found it, or as the readings of the whole run have it in common. What a
// stuck digit can do to a reading it may have done at each point that failed.
func (n *namer) digits() {
	of := where(n.list, func(l *look) bool { return l.bad && l.reason == decision.DigitFault })
	rows := len(of)
	bad := where(n.list, func(l *look) bool {
		return l.bad && len(l.errors) > 0 && l.missing == 0 && (l.Kind == Other || l.Kind == Noisy || l.Kind == TooFew || l.Kind == Intermittent)
	})
	if len(bad)+rows == 0 {
		return
	}
	place, digit, values, stuck := n.stuckDigit()
	if stuck {
		of = append(of, where(bad, func(l *look) bool {
			_, weight := l.digits[0].at(place)
			return !l.row && l.furthest() <= 9*weight+l.coarse
		})...)
	}
	if len(of) == 0 {
		return
	}
	f := finding(Digits, of)
	for _, l := range of[:rows] {
		f.evidence("%s: %s", l.at(), l.Says)
	}
	f.Says = "as the measurement of the digits finds it"
	if stuck {
		f.Says = fmt.Sprintf("the %s always shows %d", placeWord(place), digit)
		f.evidence("in all %d different readings of the run the %s is %d where a count can change it, while the digit before it takes other values", values, placeWord(place), digit)
		f.evidence("the errors of %s are no larger than that digit can make them", pointWords(of[rows:]))
	}
	f.Suggests = "the display, its driver, the latch or the decade of that digit, or the reply's way to the interface"
	if stuck {
		f.open("counter or reply: whether the display shows the same digit was not read")
	}
	f.Confirm = []string{"compare display and reply", "take the measurement of gate and resolution, which steps each digit through its values"}
	n.add(f)
}

func placeWord(place int) string {
	return [...]string{"last digit", "second digit from the end", "third digit from the end", "fourth digit from the end"}[place]
}

// furthest is the largest error of a reading, Hz.
func (l *look) furthest() float64 {
	far := 0.0
	for _, e := range l.errors {
		far = math.Max(far, math.Abs(e))
	}
	return far
}
