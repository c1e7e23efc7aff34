package profile

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"bandproof/drivers"
)

// What a lock map may lead to.
const (
	wordLocked   = "locked"
	wordUnlocked = "unlocked"
)

// actor carries out an action of a counter or a source.
type actor interface {
	act(ctx context.Context, doing string, action func(context.Context) error) error
}

// lockAbility is drivers.LockReporter.
type lockAbility struct {
	actor
	*session
}

// Locked asks whether the synthesis is locked.
func (a lockAbility) Locked(ctx context.Context) (locked bool, err error) {
	err = a.actor.act(ctx, "ask whether it is locked", func(ctx context.Context) error {
		l := a.file.Lock
		if l.Poll {
			status, err := a.poll(ctx)
			locked = err == nil && int(status)&*l.Mask == l.Expect
			return err
		}
		answer, err := a.ask(ctx, l.Query, a.timeout())
		if err != nil {
			return err
		}
		locked, err = l.locked(answer)
		return a.understand(l.Query, err)
	})
	return locked && err == nil, err
}

// locked reads an answer.
func (l *Lock) locked(answer string) (bool, error) {
	if l.Mask == nil {
		word, ok := meaning(answer, l.Map)
		if !ok {
			return false, unknownAnswer(answer, l.Map)
		}
		return word == wordLocked, nil
	}
	bits, err := statusBits(l.Form, answer)
	if err != nil {
		return false, err
	}
	return bits&int64(*l.Mask) == int64(l.Expect), nil
}

// How an answer says its bits.
const (
	bitsDecimal = "decimal"
	bitsHex     = "hex"
	bitsByte    = "byte"
)

// statusBits reads an answer as a sum of bits.
func statusBits(form, answer string) (int64, error) {
	if form == bitsByte {
		if len(answer) != 1 {
			return 0, fmt.Errorf("%w: %s is not the one byte that was expected", drivers.ErrUnreadable, quote(answer))
		}
		return int64(answer[0]), nil
	}
	base := 10
	if form == bitsHex {
		base = 16
	}
	bits, err := strconv.ParseInt(strings.TrimSpace(answer), base, 64)
	if err != nil || bits < 0 {
		return 0, fmt.Errorf("%w: %s is no sum of status bits", drivers.ErrUnreadable, quote(answer))
	}
	return bits, nil
}

func unknownAnswer(answer string, m map[string]string) error {
	return fmt.Errorf("%w: %s; known are %s", drivers.ErrUnreadable, quote(answer), strings.Join(sortedKeys(m), ", "))
}

// referenceAbility is drivers.ReferenceReporter.
type referenceAbility struct {
	actor
	*session
}

// Reference asks which reference the instrument uses: own or external.
func (a referenceAbility) Reference(ctx context.Context) (which string, err error) {
	err = a.actor.act(ctx, "ask which reference it uses", func(ctx context.Context) error {
		r := a.file.Reference
		answer, err := a.ask(ctx, r.Query, a.timeout())
		if err != nil {
			return err
		}
		word, ok := meaning(answer, r.Map)
		if !ok {
			return a.understand(r.Query, unknownAnswer(answer, r.Map))
		}
		which = word
		return nil
	})
	return which, err
}

// errorAbility is drivers.ErrorQueue.
type errorAbility struct {
	actor
	*session
}

// Errors empties the queue, up to the profile's bound, and returns its entries.
func (a errorAbility) Errors(ctx context.Context) (entries []string, err error) {
	err = a.actor.act(ctx, "read the error queue", func(ctx context.Context) error {
		ended := false
		entries, ended, err = a.drain(ctx)
		if err == nil && !ended {
			err = fmt.Errorf("%w: the error queue did not end after %d entries", drivers.ErrInstrument, len(entries))
		}
		return err
	})
	return entries, err
}

// selfTestAbility is drivers.SelfTester.
type selfTestAbility struct{ *counter }

// SelfTest runs the self-test. The counter may come out of it with other
// settings, so input and gate have to be set anew.
func (a selfTestAbility) SelfTest(ctx context.Context) (text string, passed bool, err error) {
	err = a.act(ctx, "self-test", func(ctx context.Context) error {
		t := a.file.SelfTest
		a.input, a.asked, a.had, a.testing = "", nil, false, true
		answer, err := a.ask(ctx, t.Query, clockOr(t.Timeout, selfTestTimeout))
		if err != nil {
			return err
		}
		a.testing = false
		text, passed = printable(answer), isAnswer(answer, t.Pass)
		return nil
	})
	return text, passed, err
}
