package stability

import "math"

// differences sums the squares of the second or third differences of phase at
// distance m. Differences are taken of differences, so that a large offset in
// frequency costs no digits.
func (t *trace) differences(order, m, stride int) (sum float64, terms int) {
	x, end := t.x, order*m
	for i := 0; i+end < len(x); i += stride {
		d := (x[i+2*m] - x[i+m]) - (x[i+m] - x[i])
		if order == 3 {
			d = ((x[i+3*m] - x[i+2*m]) - (x[i+2*m] - x[i+m])) - d
		}
		if math.IsNaN(d) || !t.joined(i, i+end) {
			continue
		}
		sum += d * d
		terms++
	}
	return sum, terms
}

// averaged sums the squares of second differences of phase averaged over m
// points (times m). The sum over the window is carried from one place to the
// next, with what rounding takes from it, and begun anew after each gap: each
// gap spoils at least 3m places, so the work stays linear.
func (t *trace) averaged(m int) (sum float64, terms int) {
	x := t.x
	second := func(i int) float64 { return (x[i+2*m] - x[i+m]) - (x[i+m] - x[i]) }
	var window total
	ready := false
	from := 0 // the first place whose window may count
	for e := range x {
		if math.IsNaN(x[e]) {
			from, ready = e+1, false
		} else if e > 0 && !t.joined(e-1, e) {
			from, ready = e, false
		}
		i := e - 3*m + 1
		if i < from {
			continue
		}
		if ready {
			window.add(second(i+m-1) - second(i-1))
		} else {
			window = total{}
			for k := i; k < i+m; k++ {
				window.add(second(k))
			}
			ready = true
		}
		w := window.value()
		sum += w * w
		terms++
	}
	return sum, terms
}

// reflected sums the squares of second differences of phase that is continued
// at both ends by its point reflection: the total deviation.
func (t *trace) reflected(m int) (sum float64, terms int) {
	x, last := t.x, len(t.x)-1
	for i := 1; i < last; i++ {
		low, high := i-m, i+m
		from, to := low, high
		var left, right float64
		if low >= 0 {
			left = x[low] - x[i]
		} else {
			left = (x[0] - x[-low]) + (x[0] - x[i])
			from, to = 0, max(to, -low)
		}
		if high <= last {
			right = x[high] - x[i]
		} else {
			right = (x[last] - x[2*last-high]) + (x[last] - x[i])
			from, to = min(from, 2*last-high), last
		}
		d := left + right
		if math.IsNaN(d) || !t.joined(from, to) {
			continue
		}
		sum += d * d
		terms++
	}
	return sum, terms
}
