package isolate

import "math"

// LeastInformation is what a look has to tell to be worth taking, bit.
const LeastInformation = leastInformation

// decisive is how many times better the evidence has to be explained by a single
// fault of one stage than by one of any other for the stage to count as settled:
// that other stages fail less often is no reason not to look at them.
const decisive = 10

// Settled is the stage that is Found, where the evidence itself, without how often
// stages fail, speaks for it against every other one. ok is false where there is
// none yet; there may never be where no look tells two stages apart.
func (p *Posterior) Settled() (stage string, ok bool) {
	list := p.Suspects()
	if len(list) == 0 || list[0].Probability < Found {
		return "", false
	}
	for _, s := range list[1:] {
		if s.fit > list[0].fit-math.Log(decisive) {
			return "", false
		}
	}
	return list[0].Stage, true
}
