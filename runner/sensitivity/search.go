package sensitivity

import "slices"

// searches is how often the level is searched for.
const searches = 3

// search looks for the least level that counts properly. Levels are numbers of
// steps of the source.
type search struct {
	lowest       int // that the source gives
	start        int // where each search begins
	promised     int // what the specification says, rounded up
	within       int // the same, rounded down
	bottom       int // how far down a unit that fails is looked at
	coarse, fine int
	// proper tells whether a level counts properly; an error ends the search.
	proper func(level int) (bool, error)
}

// pass is what one search found.
type pass struct {
	found    int  // least level that counts properly, coming from below
	released int  // least level down to which it goes on counting, coming from found
	floor    bool // still counting at the lowest level
	none     bool // nothing up to the start counts properly
}

// finding is what the searches at one frequency come to.
type finding struct {
	passes  []pass
	found   int
	floor   bool
	none    bool
	islands []int // levels above what was found first that miscount
	again   []int // levels below that count all the same, falling; looked for where found is above what is promised
}

// find searches three times, takes the median, and looks for islands above it.
func (s search) find() (f finding, err error) {
	for range searches {
		p, err := s.once()
		if err != nil {
			return f, err
		}
		f.passes = append(f.passes, p)
	}
	sorted := slices.Clone(f.passes)
	slices.SortFunc(sorted, func(a, b pass) int { return a.rank(s) - b.rank(s) })
	middle := sorted[searches/2]
	f.found, f.floor, f.none = middle.found, middle.floor, middle.none
	if !f.none {
		if err := s.look(&f, sorted[searches-1].rank(s)); err != nil {
			return f, err
		}
	}
	if f.none {
		f.found = s.start + 1
	} else if err := s.settle(&f); err != nil {
		return f, err
	}
	if f.found > s.promised && len(f.islands) == 0 {
		return f, s.below(&f)
	}
	return f, nil
}

// settle looks, where what is promised lies within the last fine step, at the
// highest level that is not above it: a unit that counts there, each time, meets
// what is promised, however the steps of the search happen to lie. It is reached
// from well below each time, so that hysteresis is no help.
func (s search) settle(f *finding) error {
	if s.within >= f.found || s.within <= f.found-s.fine || s.within < s.lowest {
		return nil
	}
	for range searches {
		if _, err := s.proper(max(f.found-2*s.coarse, s.lowest)); err != nil {
			return err
		}
		if ok, err := s.proper(s.within); err != nil || !ok {
			return err
		}
	}
	f.found = s.within
	return nil
}

// below tells a unit that is deaf from one that miscounts at some levels only:
// two failures in a row end a search also within an island.
func (s search) below(f *finding) error {
	for n := f.found - s.coarse; n >= max(s.lowest, s.bottom); n -= s.coarse {
		ok, err := s.proper(n)
		if err != nil {
			return err
		}
		if ok {
			f.again = append(f.again, n)
		}
	}
	return nil
}

// rank orders passes: one that found nothing is the worst.
func (p pass) rank(s search) int {
	if p.none {
		return s.start + s.fine
	}
	return p.found
}

// once is one search.
func (s search) once() (pass, error) {
	level, failures := s.start, 0
	for {
		ok, err := s.proper(level)
		switch {
		case err != nil:
			return pass{}, err
		case !ok:
			failures++
		case level == s.lowest:
			return pass{found: level, released: level, floor: true}, nil
		default:
			failures = 0
		}
		if failures == 2 || level == s.lowest {
			break
		}
		level = max(level-s.coarse, s.lowest)
	}
	found, ok, err := s.up(level)
	if err != nil || !ok {
		return pass{none: true}, err
	}
	p := pass{found: found, released: found}
	for n := found - s.fine; n > level; n -= s.fine {
		ok, err := s.proper(n)
		if err != nil {
			return pass{}, err
		}
		if !ok {
			break
		}
		p.released = n
	}
	return p, nil
}

// up goes up in fine steps from a level that fails until one counts properly.
func (s search) up(from int) (found int, ok bool, err error) {
	for n := from; n < s.start; {
		n = min(n+s.fine, s.start)
		if ok, err := s.proper(n); ok || err != nil {
			return n, ok, err
		}
	}
	return 0, false, nil
}

// look tries every coarse step between what was found and the start. Above an
// island of miscounts it is searched anew: what counts is the level from which
// on all of them do. What lies below worst is the scatter of the searches.
func (s search) look(f *finding, worst int) error {
	for n := f.found; n < s.start; {
		n = min(n+s.coarse, s.start)
		ok, err := s.proper(n)
		if err != nil {
			return err
		}
		if ok || n < worst {
			continue
		}
		f.islands, f.floor = append(f.islands, n), false
		above, ok, err := s.up(n)
		if err != nil {
			return err
		}
		if !ok {
			f.none = true
			return nil
		}
		f.found, n = above, above
	}
	return nil
}

// hysteresis is the largest distance, in steps, between the level at which it
// begins to count properly and the one down to which it goes on.
func (f finding) hysteresis() (most int) {
	for _, p := range f.passes {
		if !p.none {
			most = max(most, p.found-p.released)
		}
	}
	return most
}
