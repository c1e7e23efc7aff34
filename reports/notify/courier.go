package notify

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"bandproof/procedures"

	"github.com/cenkalti/backoff/v5"
)

// sender carries one event to one receiver. An error that wraps
// backoff.PermanentError is final, one that wraps backoff.RetryAfterError says
// when to try again; after any other it is tried again. No error text holds a
// secret.
type sender interface {
	send(ctx context.Context, e Event) error
}

// newSender makes the sender of a receiver; secrets are looked up each time, so
// that they can be mended.
func newSender(r procedures.Notify, getenv func(string) (string, bool)) (sender, error) {
	secret := func(name string) (string, error) {
		if name == "" {
			return "", nil
		}
		text, ok := getenv(name)
		if !ok || text == "" {
			return "", fmt.Errorf("environment variable %s is not set; it must hold the secret that the bench file leaves to it", name)
		}
		return text, nil
	}
	switch r.To {
	case procedures.ToWebhook:
		return newWebhook(r, secret)
	case procedures.ToMail:
		return newMailer(r, secret)
	}
	return nil, backoff.Permanent(fmt.Errorf("nothing is sent to %q", r.To))
}

// Problems lists receivers that can't be reached as things stand, such as for
// want of an environment variable.
func Problems(o Options) (list []error) {
	o = o.filled()
	for _, r := range o.Receivers {
		if r.To == procedures.ToBell {
			continue
		}
		if _, err := newSender(r, o.Getenv); err != nil {
			list = append(list, fmt.Errorf("notices to %s: %w", r.Called(), err))
		}
	}
	return list
}

// courier sends to one receiver, one event after the other, in order.
type courier struct {
	*Notifier
	address string
	now     *procedures.Notify // as the bench file states it now; nil: as the outbox has it
	wake    chan struct{}      // something was added
	said    bool               // the person knows that the receiver refuses
}

func (c *courier) look() {
	select {
	case c.wake <- struct{}{}:
	default:
	}
}

// work sends until the notifier closes and nothing is left that can be sent
// at once, or ctx ends.
func (c *courier) work(ctx context.Context) {
	for {
		closing := c.isClosing()
		w, ok, err := c.Outbox.Next(ctx, c.address)
		if err != nil {
			c.Log.Error("outbox", "receiver", c.address, "error", err)
		}
		if !ok {
			if closing || !c.wait(ctx, math.MaxInt64) {
				return
			}
			continue
		}
		if left := time.Until(w.NextTry); left > 0 && !closing {
			if !c.wait(ctx, left) {
				return
			}
			continue
		}
		if !c.once(ctx, w) && closing {
			return // it is away; the rest can wait too
		}
	}
}

func (c *courier) isClosing() bool {
	select {
	case <-c.closing:
		return true
	default:
		return false
	}
}

// wait returns when there may be something to do; false where ctx has ended.
func (c *courier) wait(ctx context.Context, d time.Duration) bool {
	// Receivers live in the time of the world, whatever clock a run goes by.
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
	case <-c.wake:
	case <-c.closing:
	}
	return true
}

// once tries one event and books the outcome; false where it has to wait.
func (c *courier) once(ctx context.Context, w Waiting) bool {
	keep := context.WithoutCancel(ctx)
	// Longer than the try lasts: nobody else sends it meanwhile.
	mine, err := c.Outbox.Claim(keep, w, time.Now().Add(2*c.Timeout))
	if err != nil {
		c.Log.Error("outbox", "receiver", c.address, "error", err)
		c.wait(ctx, time.Second)
	}
	if err != nil || !mine {
		return false
	}
	err = c.try(ctx, w)
	w.Tries++
	var final *backoff.PermanentError
	var later *backoff.RetryAfterError
	switch {
	case err == nil:
		err = c.Outbox.Delivered(keep, w, time.Now())
		c.said = false
	case errors.As(err, &final):
		c.Log.Warn("notice refused", "receiver", c.address, "error", final.Err)
		if !c.said {
			c.Say(fmt.Sprintf("warning: notices to %s are refused: %v (\"bandproof notices\" shows them)", c.address, final.Err))
			c.said = true
		}
		err = c.Outbox.GiveUp(keep, w, final.Error())
	default:
		pause := c.Pause(w.Tries)
		if errors.As(err, &later) {
			pause = max(pause, min(later.Duration, mostPause))
		}
		c.Log.Warn("notice not delivered", "receiver", c.address, "error", err, "next", pause)
		if e := c.Outbox.Failed(keep, w, err.Error(), time.Now().Add(pause)); e != nil {
			c.Log.Error("outbox", "receiver", c.address, "error", e)
		}
		return false
	}
	if err != nil {
		c.Log.Error("outbox", "receiver", c.address, "error", err)
		return false
	}
	return true
}

func (c *courier) try(ctx context.Context, w Waiting) error {
	to := w.Receiver
	if c.now != nil {
		to = *c.now
	}
	s, err := newSender(to, c.Getenv)
	if err != nil {
		return err
	}
	var e Event
	if err := json.Unmarshal(w.Event, &e); err != nil {
		return backoff.Permanent(fmt.Errorf("the event in the outbox can't be read: %w", err))
	}
	within, cancel := context.WithTimeout(ctx, c.Timeout)
	defer cancel()
	err = s.send(within, e)
	if err != nil && ctx.Err() != nil {
		return errCutOff
	}
	return err
}

// Pauses between tries.
const (
	firstPause = 2 * time.Second
	pauseGrows = 3
	mostPause  = 15 * time.Minute
)

// pause grows threefold with each failure, half of it at random, so that
// benches that lost the same receiver do not come back all at once.
func pause(failures int) time.Duration {
	b := backoff.NewExponentialBackOff()
	b.InitialInterval = time.Duration(math.Min(float64(firstPause)*math.Pow(pauseGrows, float64(failures-1)), float64(mostPause)))
	return b.NextBackOff()
}
