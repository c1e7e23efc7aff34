package procedures

import (
	"math"
	"math/big"
	"sort"

	"bandproof/procedures/quantity"
)

// mostPoints bounds a sweep, so that a slip such as step = "1 Hz" over 20 GHz
// is an error and not a full memory.
const mostPoints = 100_000

// frequencies lists a sweep's points in rising order without duplicates: what
// its keys ask for, always with both edges, and with both sides of each
// crossover. ok is false where there would be too many.
func (s Sweep) frequencies(i Input) (list []quantity.Frequency, ok bool) {
	low, high := s.edges(i)
	list = []quantity.Frequency{low, high}
	perOctave := math.Max(float64(s.PerOctave), 0) + math.Max(float64(s.PerDecade), 0)/math.Log2(10)
	if count := perOctave * quantity.Octaves(low, high); count > mostPoints {
		return nil, false
	}
	list = append(list, logarithmic(low, high, 10, s.PerDecade)...)
	list = append(list, logarithmic(low, high, 2, s.PerOctave)...)
	if s.Step != nil && s.Step.Sign() > 0 {
		if n := high.Sub(low).Float() / s.Step.Float(); n > mostPoints {
			return nil, false
		}
		list = append(list, linear(low, high, *s.Step)...)
	}
	list = append(list, s.Points...)
	for _, c := range i.Crossovers {
		below, above := i.sides(c)
		for _, f := range []quantity.Frequency{below, above} {
			if f.Cmp(low) >= 0 && f.Cmp(high) <= 0 {
				list = append(list, f)
			}
		}
	}
	return rising(list), true
}

// edges returns what the sweep covers.
func (s Sweep) edges(i Input) (low, high quantity.Frequency) {
	low, high = i.Range[0], i.Range[1]
	if s.From != nil {
		low = *s.From
	}
	if s.To != nil {
		high = *s.To
	}
	return low, high
}

// logarithmic gives n points in each decade (base 10) or octave (base 2) of the
// open range, counted from whole powers of the base for decades and from the
// low edge for octaves, rounded to three digits as a person would set them.
func logarithmic(low, high quantity.Frequency, base float64, n int) []quantity.Frequency {
	if n <= 0 {
		return nil
	}
	start := low.Float()
	if base == 10 {
		start = math.Pow(10, math.Floor(math.Log10(start)))
	}
	var list []quantity.Frequency
	for k := 0; ; k++ {
		f := quantity.Significant(start*math.Pow(base, float64(k)/float64(n)), 3)
		if f.Cmp(high) >= 0 {
			return list
		}
		if f.Cmp(low) > 0 {
			list = append(list, f)
		}
	}
}

// linear gives the whole multiples of step within the open range.
func linear(low, high, step quantity.Frequency) []quantity.Frequency {
	ratio := new(big.Rat).Quo(low.Rat(), step.Rat())
	k := new(big.Int).Div(ratio.Num(), ratio.Denom()).Int64() + 1
	var list []quantity.Frequency
	for ; ; k++ {
		f := step.Scale(k, 0).Trimmed()
		if f.Cmp(high) >= 0 {
			return list
		}
		if f.Cmp(low) > 0 {
			list = append(list, f)
		}
	}
}

// sides returns the points just below and above a crossover.
func (i Input) sides(crossover quantity.Frequency) (below, above quantity.Frequency) {
	offset := 0.01
	if i.CrossoverOffset != nil {
		offset = i.CrossoverOffset.Float()
	}
	return quantity.Significant(crossover.Float()*(1-offset), 4), quantity.Significant(crossover.Float()*(1+offset), 4)
}

// rising sorts and removes duplicates.
func rising(list []quantity.Frequency) []quantity.Frequency {
	sort.Slice(list, func(a, b int) bool { return list[a].Cmp(list[b]) < 0 })
	out := list[:0]
	for k, f := range list {
		if k == 0 || f.Cmp(out[len(out)-1]) != 0 {
			out = append(out, f)
		}
	}
	return out
}
