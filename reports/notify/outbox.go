package notify

import (
	"context"
	"time"

	"bandproof/procedures"
)

// Outbox keeps what is to be sent. Each method returns only once what it did
// would survive a power cut. Several programs may use one outbox.
type Outbox interface {
	// Add keeps an event for a receiver, unless one with the same Once is there.
	Add(ctx context.Context, w Waiting) error
	// Next returns the oldest event for an address that is to be sent; ok is
	// false where there is none.
	Next(ctx context.Context, address string) (w Waiting, ok bool, err error)
	// Claim counts a try and keeps others from sending the same until a time;
	// false where another program was quicker.
	Claim(ctx context.Context, w Waiting, until time.Time) (bool, error)
	// Delivered, Failed and GiveUp say how the try went.
	Delivered(ctx context.Context, w Waiting, at time.Time) error
	Failed(ctx context.Context, w Waiting, why string, next time.Time) error
	GiveUp(ctx context.Context, w Waiting, why string) error
	// Retry has what was given up sent again from now on.
	Retry(ctx context.Context, now time.Time) error
	// Drop takes away what is not delivered to an address and returns how many.
	Drop(ctx context.Context, address string) (int, error)
	// Addresses lists those for which something is to be sent.
	Addresses(ctx context.Context) ([]string, error)
	// List returns what is not delivered, oldest first, or all.
	List(ctx context.Context, delivered bool) ([]Waiting, error)
}

// Waiting is one event on its way to one receiver.
type Waiting struct {
	Seq     int64
	Address string // bench and receiver
	// Receiver as the bench file stated it then, which holds no secret.
	Receiver procedures.Notify
	Once     string // no two of one address have the same
	Event    []byte // the JSON document

	Added     time.Time
	Tries     int
	NextTry   time.Time
	LastError string
	GivenUp   bool
	Delivered time.Time // zero: not yet
}
