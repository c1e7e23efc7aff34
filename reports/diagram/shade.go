package diagram

import "fmt"

// shade is the fill of a stage by its probability: one hue, the darker the more
// probable, never so dark that black text on it would be hard to read.
func shade(p float64) string {
	t := 0.1 + 0.9*min(max(p, 0), 1)
	mix := func(full float64) int { return int(255 + (full-255)*t + 0.5) }
	return fmt.Sprintf("#%02x%02x%02x", mix(219), mix(133), mix(40))
}

// percent writes a probability: whole percents, never 100 for what isn't certain.
func percent(p float64) string {
	if p >= 0.995 {
		return ">99 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}
