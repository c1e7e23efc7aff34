package link

import "context"

// Link is one conversation with one instrument.
//
// All methods may be called from any goroutine; they take turns. Each operation
// ends at the context's deadline, or after Config.Timeout where the context has
// none, and at once when the context is cancelled or the link is closed. All
// errors but those of Close are an *[Error].
type Link interface {
	// Address is the VISA resource name, in its canonical form.
	Address() string
	// Write sends one message; the write terminator is appended. An error
	// after the first byte went out leaves the link dirty.
	Write(ctx context.Context, message []byte) error
	// Read waits for one message and returns it without its terminator. It may
	// be empty. A message that is cut off is an error, never a message. A Read
	// that ends early leaves the link dirty if anything was sent since the
	// last Clear, or if part of a message had come.
	Read(ctx context.Context) ([]byte, error)
	// Clear forgets everything in flight and connects anew where the link was
	// lost; the link is usable afterwards. It is the only way out of
	// ErrDirty and ErrDisconnected.
	Clear(ctx context.Context) error
	// Close ends the conversation and every operation that is under way. It is
	// idempotent; afterwards everything answers ErrClosed.
	Close() error
}

// Querier is a link that can do question and answer with nothing in between.
// Every link that an Opener gives is one.
type Querier interface {
	// Query sends the message and returns the answer, as Write and Read do, as
	// one turn. What has arrived unasked before is thrown away, and logged: it
	// can't be the answer to a question that was not yet sent.
	Query(ctx context.Context, message []byte) ([]byte, error)
}

// Strayer is a link that can tell what its last Query threw away before the
// question was sent; nil where that was nothing but line ends. An answer to an
// earlier question among it means that the conversation is out of step.
type Strayer interface {
	Stray() []byte
}

// Query sends one message and waits for its answer. A link that is a Querier
// keeps others from coming between the two; any other is used by Write and
// Read, and must then be in the hands of one goroutine.
func Query(ctx context.Context, l Link, message []byte) ([]byte, error) {
	if q, ok := l.(Querier); ok {
		return q.Query(ctx, message)
	}
	if err := l.Write(ctx, message); err != nil {
		return nil, err
	}
	return l.Read(ctx)
}
