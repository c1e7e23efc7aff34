package procedures

import (
	"math"
	"slices"

	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/procedures/uncertainty"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// EarlyStop says when fewer readings than a sweep plans are enough.
type EarlyStop struct {
	Rate      quantity.Ratio `toml:"rate" json:"rate" jsonschema_description:"Share of the readings that go wrong at the least intermittent unit that must be found."`
	Detection quantity.Ratio `toml:"detection" json:"detection" jsonschema_description:"Probability that at least one wrong reading of such a unit is seen before a point may pass. With rate it gives the least number of readings."`
	Share     quantity.Ratio `toml:"share" json:"share" jsonschema_description:"Share of intermittent units among those that come in, as far as is known. With margin it may raise the least number of readings."`
	// Margin is what may be added to the probability that a unit is wrongly
	// accepted; nil is 0.2 %.
	Margin *quantity.Ratio `toml:"margin,omitempty" json:"margin,omitempty" jsonschema_description:"What stopping early may add to the share of units that are wrongly accepted, at whatever rate intermittent ones fail; 0.2 % unless stated."`
	// Confirm is the number of readings that must fail alike; 0 is 2.
	Confirm int `toml:"confirm,omitempty" json:"confirm,omitempty" jsonschema:"minimum=1,maximum=1000" jsonschema_description:"Readings that must fail alike before a point fails early; 2 unless stated."`
	// Confidence that the rest of the readings would lie where they are expected;
	// nil is 99 %.
	Confidence *quantity.Ratio `toml:"confidence,omitempty" json:"confidence,omitempty" jsonschema_description:"Confidence with which the readings left out must lie where the verdict stays as it is; 99 % unless stated."`
}

// StopRule is an early stop as planned for one point.
type StopRule struct {
	Least      int     `json:"least"`      // readings before the point may pass
	Confirm    int     `json:"confirm"`    // readings that fail alike before it may fail
	Confidence float64 `json:"confidence"` // that the verdict would stay as it is
}

// expected is the number of readings of a point that passes as soon as it may.
func (p Point) expected() int {
	if p.EarlyStop == nil {
		return p.Readings
	}
	return p.EarlyStop.Least
}

// rule is the early stop of a point that is to be read n times; nil where the
// sweep has none.
func (e *EarlyStop) rule(n int) *StopRule {
	if e == nil {
		return nil
	}
	r := StopRule{Least: e.Least(n), Confirm: 2, Confidence: 0.99}
	if e.Confirm > 0 {
		r.Confirm = e.Confirm
	}
	if e.Confidence != nil {
		r.Confidence = e.Confidence.Float()
	}
	return &r
}

// Least is the number of readings, of n, before a point may pass: so many that
// a unit whose readings go wrong at the stated rate shows one with the stated
// probability, 1 − (1 − rate)^k ≥ detection (binomial), and so many more that
// intermittent units, whatever their rate, raise the share of false accepts by at
// most half the margin. The other half is for units near the limit, and lets
// 10,000 units show that the margin is kept.
func (e *EarlyStop) Least(n int) int {
	k := int(math.Ceil(math.Min(math.Log1p(-e.Detection.Float())/math.Log1p(-e.Rate.Float()), float64(n)) - 1e-9))
	margin := 0.002
	if e.Margin != nil {
		margin = e.Margin.Float()
	}
	for k = max(k, 1); k < n && e.Share.Float()*rise(k, n) > margin/2; k++ {
	}
	return min(k, n)
}

// rise is the most by which reading k times instead of n raises the probability
// that an intermittent unit shows no wrong reading, over all rates: the largest
// x^k − x^n for x between 0 and 1, which lies at x^(n−k) = k/n.
func rise(k, n int) float64 {
	if k >= n {
		return 0
	}
	x := math.Pow(float64(k)/float64(n), 1/float64(n-k))
	return math.Pow(x, float64(k)) - math.Pow(x, float64(n))
}

// Enough tells whether the readings so far settle the verdict of a point that is
// planned with n readings, so that the rest need not be taken. missing are
// readings that were no number. It is never true of a pass before the least
// number of readings, of a conditional verdict, where readings scatter by more
// than the limit allows, so that no scatter is hidden, or where so few of them
// would make the reported uncertainty large.
func (s StopRule) Enough(rule decision.Rule, m Measurement, missing, n int) (bool, error) {
	k := len(m.Readings)
	if missing > 0 {
		return k == 0 && missing >= s.Confirm && missing < n, nil // no count, each time
	}
	if k >= n || k < min(s.Least, s.Confirm) || len(m.Also) > 0 {
		return false, nil
	}
	lowest, highest, ok := s.rest(m, n)
	if !ok {
		return false, nil
	}
	now, err := Judge(rule, m)
	if err != nil {
		return false, err
	}
	switch now.Verdict.Word {
	case decision.Pass:
		ok = k >= s.Least && now.sharp()
	case decision.Fail:
		ok = k >= s.Confirm && allOutside(m)
	default:
		ok = false
	}
	for _, other := range []quantity.Exact{lowest, highest} {
		if !ok {
			return false, nil
		}
		whole := m
		whole.Readings = append(slices.Clip(m.Readings), slices.Repeat([]quantity.Exact{other}, n-k)...)
		then, err := Judge(rule, whole)
		if err != nil {
			return false, err
		}
		ok = then.Verdict.Word == now.Verdict.Word
	}
	return ok, nil
}

// sharp tells whether the reported uncertainty is good enough to stop reading:
// no larger than the unit's resolution alone makes it, or at most a quarter of
// the limit. Two readings that differ by a count have one degree of freedom, and
// an uncertainty of many counts.
func (j Judgement) sharp() bool {
	repeats := slices.ContainsFunc(j.ReportedBudget, func(c uncertainty.Contribution) bool { return c.Name == repeatabilityLine })
	return !repeats || j.TURWithUnit == nil || *j.TURWithUnit >= 4
}

func allOutside(m Measurement) bool {
	return !slices.ContainsFunc(m.Readings, func(x quantity.Exact) bool { return x.Sub(m.Reference).Abs().Cmp(m.Limit.Total) <= 0 })
}

// rest is where the readings that are left out would lie, lowest and highest.
// Readings within one count of each other (or one digit of a coarser reply)
// scatter by counting alone, and a steady signal gives one of two neighbouring
// counts. Where they scatter more,
// it is the prediction interval for all n − k further readings of a normal
// distribution, m ± t·s·√(1 + 1/k) with Student's t for 1 − α/(n − k)
// (Bonferroni's bound; Hahn and Meeker, Statistical Intervals, 1991, chapter 4,
// from memory). ok is false where it can't be told, or where such readings
// would count as unstable.
func (s StopRule) rest(m Measurement, n int) (lowest, highest quantity.Exact, ok bool) {
	k, q := len(m.Readings), m.Limit.Resolution
	if m.Reply != nil {
		if digit := quantity.ExactFloat(2 * m.Reply.Value); digit.Cmp(q) > 0 {
			q = digit
		}
	}
	least, most := m.Readings[0], m.Readings[0]
	for _, x := range m.Readings {
		if x.Cmp(least) < 0 {
			least = x
		}
		if x.Cmp(most) > 0 {
			most = x
		}
	}
	if most.Sub(least).Cmp(q) <= 0 {
		return most.Sub(q), least.Add(q), true
	}
	if k < 3 {
		return lowest, highest, false
	}
	errors := make([]float64, k)
	for i, x := range m.Readings {
		errors[i] = x.Sub(m.Reference).Float()
	}
	mean, deviation := stat.MeanStdDev(errors, nil)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(k - 1)}.Quantile(1 - (1-s.Confidence)/float64(2*(n-k)))
	half := quantity.ExactFloat(t * deviation * math.Sqrt(1+1/float64(k)))
	middle := m.Reference.Add(quantity.ExactFloat(mean))
	lowest, highest = middle.Sub(half), middle.Add(half)
	return lowest, highest, highest.Sub(lowest).Cmp(m.Limit.Scatter().Mul(quantity.ExactInt(2))) <= 0
}

// checkEarlyStop checks the keys of an early stop.
func (c checker) checkEarlyStop(path string, e *EarlyStop) {
	if e == nil {
		return
	}
	for _, x := range []struct {
		key       string
		r         *quantity.Ratio
		low, high float64
		expected  string
	}{
		{"rate", &e.Rate, 1e-6, 1, "above 0 and below 100 %"},
		{"detection", &e.Detection, 1e-6, 1, "above 0 and below 100 %"},
		{"share", &e.Share, 0, 1, "at least 0 and below 100 %"},
		{"margin", e.Margin, 0, 0.05, "at least 0 and below 5 %"},
		{"confidence", e.Confidence, 0.5, 1, "50 % to below 100 %"},
	} {
		if at := path + "." + x.key; c.given(at) && (x.r.Float() < x.low || x.r.Float() >= x.high) {
			c.add(at, "is %s; expected %s", x.r, x.expected)
		}
	}
	if at := path + ".confirm"; c.given(at) && (e.Confirm < 1 || e.Confirm > 1000) {
		c.add(at, "is %d; expected 1 to 1000", e.Confirm)
	}
}
