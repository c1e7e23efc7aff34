package profile

import "bandproof/drivers"

// The values that OpenCounter and OpenSource return have exactly the abilities
// of their profile: one struct a combination, because Go's method sets are
// fixed when compiled. Only the role is embedded beside the abilities, so
// nothing else shines through.

func (c *counter) withAbilities() drivers.Counter {
	r := drivers.ReferenceReporter(referenceAbility{c, c.session})
	q := drivers.ErrorQueue(errorAbility{c, c.session})
	t := drivers.SelfTester(selfTestAbility{c})
	has := [3]bool{c.file.Reference != nil, c.file.Errors != nil, c.file.SelfTest != nil}
	role := drivers.Counter(c)
	switch has {
	case [3]bool{true, false, false}:
		return struct {
			drivers.Counter
			drivers.ReferenceReporter
		}{role, r}
	case [3]bool{false, true, false}:
		return struct {
			drivers.Counter
			drivers.ErrorQueue
		}{role, q}
	case [3]bool{true, true, false}:
		return struct {
			drivers.Counter
			drivers.ReferenceReporter
			drivers.ErrorQueue
		}{role, r, q}
	case [3]bool{false, false, true}:
		return struct {
			drivers.Counter
			drivers.SelfTester
		}{role, t}
	case [3]bool{true, false, true}:
		return struct {
			drivers.Counter
			drivers.ReferenceReporter
			drivers.SelfTester
		}{role, r, t}
	case [3]bool{false, true, true}:
		return struct {
			drivers.Counter
			drivers.ErrorQueue
			drivers.SelfTester
		}{role, q, t}
	case [3]bool{true, true, true}:
		return struct {
			drivers.Counter
			drivers.ReferenceReporter
			drivers.ErrorQueue
			drivers.SelfTester
		}{role, r, q, t}
	}
	return struct{ drivers.Counter }{role}
}

func (g *source) withAbilities() drivers.Source {
	l := drivers.LockReporter(lockAbility{g, g.session})
	r := drivers.ReferenceReporter(referenceAbility{g, g.session})
	q := drivers.ErrorQueue(errorAbility{g, g.session})
	has := [3]bool{g.file.Lock != nil && !g.blind, g.file.Reference != nil, g.file.Errors != nil}
	role := drivers.Source(g)
	switch has {
	case [3]bool{true, false, false}:
		return struct {
			drivers.Source
			drivers.LockReporter
		}{role, l}
	case [3]bool{false, true, false}:
		return struct {
			drivers.Source
			drivers.ReferenceReporter
		}{role, r}
	case [3]bool{true, true, false}:
		return struct {
			drivers.Source
			drivers.LockReporter
			drivers.ReferenceReporter
		}{role, l, r}
	case [3]bool{false, false, true}:
		return struct {
			drivers.Source
			drivers.ErrorQueue
		}{role, q}
	case [3]bool{true, false, true}:
		return struct {
			drivers.Source
			drivers.LockReporter
			drivers.ErrorQueue
		}{role, l, q}
	case [3]bool{false, true, true}:
		return struct {
			drivers.Source
			drivers.ReferenceReporter
			drivers.ErrorQueue
		}{role, r, q}
	case [3]bool{true, true, true}:
		return struct {
			drivers.Source
			drivers.LockReporter
			drivers.ReferenceReporter
			drivers.ErrorQueue
		}{role, l, r, q}
	}
	return struct{ drivers.Source }{role}
}
