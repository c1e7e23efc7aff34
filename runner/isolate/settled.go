package isolate

import "math"

// LeastInformation is what a look has to tell to be worth taking, bit.
const LeastInformation = leastInformation

// decisive is how many times better the evidence has to be explained by a single
// fault of one stage than by one of any other for the stage to count as settled:
// that other stages fail less often is no reason not to look at them.
const decisive = 10

// Settled is the stage that is Found, where the evidence itself, without how often
// stages fail, speaks for it against every other one. Where a reading of the unit
// is bad, that there is a fault is supposed, as long as the evidence speaks as
// much for this one against none. ok is false where there is no such stage yet;
// there may never be where no look tells two stages apart.
func (p *Posterior) Settled() (stage string, ok bool) {
	list := p.Suspects()
	if len(list) == 0 {
		return "", false
	}
	best, least := list[0], Found
	if supposed := p.supposed(); len(supposed) < len(p.list) {
		least *= 1 - p.Good()
	}
	if best.Probability < least {
		return "", false
	}
	for _, s := range list[1:] {
		if s.fit > best.fit-math.Log(decisive) {
			return "", false
		}
	}
	return best.Stage, best.fit > math.Log(decisive) // fit is over that of a good unit
}
