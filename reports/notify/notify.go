// Package notify tells people elsewhere what happens at the bench: by a JSON
// document to a web server (webhook) and by mail.
//
// [New] starts a [Notifier]; what a run tells it is in the [Outbox], on disk,
// before anything is sent. So nothing is lost while a receiver is away or when
// the program is killed: what waits is sent by the next run on the same store,
// or by [Deliver]. A receiver may get the same event twice, and knows it by its
// id. Sending never holds up a run. The terminal's bell is the business of cmd.
package notify

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"

	"bandproof/procedures"
	"bandproof/runner"

	"github.com/google/uuid"
)

// Options are what a Notifier works with; Outbox is required.
type Options struct {
	// Bench and its receivers, as its file states them; bells are left to others.
	Bench     string
	Receivers []procedures.Notify
	// About heads every event.
	About  About
	Outbox Outbox
	// Getenv looks secrets up; nil: the environment of the process.
	Getenv func(name string) (string, bool)
	// Say passes a line to the person at the terminal; nil: nobody is told.
	Say func(text string)
	Log *slog.Logger // nil: nothing is logged
	// Pause is how long to wait after so many failures; nil: from 2 s up to a
	// quarter of an hour, with a random part.
	Pause func(failures int) time.Duration
	// Timeout of one try; 20 s unless stated.
	Timeout time.Duration
}

// About is what every event of a run says of it.
type About struct {
	Run       string
	Kind      string // as-found, after-repair, as-left
	Procedure string
	Unit      Unit
	Customer  string // only for receivers that ask for it
	Invented  bool
}

// Notifier takes notices of a run and sends them.
type Notifier struct {
	Options
	couriers map[string]*courier // by address in the outbox
	closing  chan struct{}
	stop     context.CancelFunc
	all      sync.WaitGroup

	mu   sync.Mutex
	lost []error
}

// New starts to send what waits in the outbox, whoever it is for. Close must be
// called.
func New(ctx context.Context, o Options) (*Notifier, error) {
	o = o.filled()
	o.Receivers = single(o.Receivers)
	n := &Notifier{Options: o, couriers: map[string]*courier{}, closing: make(chan struct{})}
	waiting, err := o.Outbox.Addresses(ctx)
	if err != nil {
		return nil, err
	}
	// A run that is cancelled still tells so: only Close ends the sending.
	ctx, n.stop = context.WithCancel(context.WithoutCancel(ctx))
	for _, r := range o.Receivers {
		if r.To != procedures.ToBell {
			n.start(ctx, address(o.Bench, r), &r)
		}
	}
	for _, a := range waiting {
		if n.couriers[a] == nil {
			n.start(ctx, a, nil)
		}
	}
	return n, nil
}

// filled fills in what was not stated.
func (o Options) filled() Options {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Getenv == nil {
		o.Getenv = os.LookupEnv
	}
	if o.Say == nil {
		o.Say = func(string) {}
	}
	if o.Pause == nil {
		o.Pause = pause
	}
	if o.Timeout == 0 {
		o.Timeout = 20 * time.Second
	}
	return o
}

// single splits mail to several people, so that one address that is refused
// does not keep the mail from the others.
func single(list []procedures.Notify) (out []procedures.Notify) {
	for _, r := range list {
		if r.To != procedures.ToMail || len(r.Recipients) < 2 {
			out = append(out, r)
			continue
		}
		for _, to := range r.Recipients {
			one := r
			one.Name, one.Recipients = r.Called()+" "+to, []string{to}
			out = append(out, one)
		}
	}
	return out
}

// address tells receivers of benches that share a store apart.
func address(bench string, r procedures.Notify) string { return bench + " / " + r.Called() }

func (n *Notifier) start(ctx context.Context, address string, now *procedures.Notify) {
	c := &courier{Notifier: n, address: address, now: now, wake: make(chan struct{}, 1)}
	n.couriers[address] = c
	n.all.Go(func() { c.work(ctx) })
}

// Happened implements runner.Herald: it returns once the event is in the outbox.
func (n *Notifier) Happened(what runner.Notice) {
	e := newEvent(n.About, n.Bench, what)
	for _, r := range n.Receivers {
		if r.To == procedures.ToBell || !r.Wants(what.Event) {
			continue
		}
		if err := n.add(e, r, what); err != nil {
			n.Log.Error("notice not kept", "receiver", r.Called(), "event", what.Event, "error", err)
			n.mu.Lock()
			n.lost = append(n.lost, fmt.Errorf("notice %q to %s: %w", what.Event, r.Called(), err))
			n.mu.Unlock()
			continue
		}
		n.couriers[address(n.Bench, r)].look()
	}
}

func (n *Notifier) add(e Event, r procedures.Notify, what runner.Notice) error {
	once := e.ID
	if r.To == procedures.ToMail && what.Event == procedures.PointFailed {
		once = e.Run + " " + what.Event + " " + what.Input // one mail for an input; the last one has them all
	}
	if r.Customer {
		e.Customer = n.About.Customer
	}
	body, err := json.Marshal(e)
	if err != nil {
		return err
	}
	return n.Outbox.Add(context.Background(), Waiting{Address: address(n.Bench, r), Receiver: r, Once: once, Event: body, Added: time.Now(), NextTry: time.Now()})
}

// Left is what a Notifier leaves behind.
type Left struct {
	Waiting int // to be tried again
	GivenUp int // that a receiver has refused
	// Lost are events that could not even be kept.
	Lost []error
}

// Close lets what waits be tried once more, for at most within, and ends the
// sending. What was not delivered stays in the outbox.
func (n *Notifier) Close(within time.Duration) (Left, error) {
	close(n.closing)
	end := time.AfterFunc(within, n.stop)
	n.all.Wait()
	end.Stop()
	n.stop()
	list, err := n.Outbox.List(context.Background(), false)
	left := Left{Lost: n.lost}
	for _, w := range list {
		if w.GivenUp {
			left.GivenUp++
		} else {
			left.Waiting++
		}
	}
	return left, err
}

// Deliver tries once to send all that waits, for at most within. Receivers that
// the bench knows by now are taken as it states them.
func Deliver(ctx context.Context, o Options, within time.Duration) (Left, error) {
	n, err := New(ctx, o)
	if err != nil {
		return Left{}, err
	}
	return n.Close(within)
}

// Try sends one event that says that it is a test to a receiver, at once and
// past the outbox.
func Try(ctx context.Context, o Options, r procedures.Notify) error {
	o = o.filled()
	s, err := newSender(r, o.Getenv)
	if err != nil {
		return err
	}
	e := Event{Schema: EventSchema, ID: newID(), Event: testEvent, At: time.Now(), Bench: o.Bench, Text: "test: notices of this bench arrive here"}
	within, cancel := context.WithTimeout(ctx, o.Timeout)
	defer cancel()
	return s.send(within, e)
}

func newID() string { return uuid.Must(uuid.NewV7()).String() }

// errCutOff is the cause where the end of the run ends a try.
var errCutOff = errors.New("cut off when the run ended")
