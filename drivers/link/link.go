package link

import "context"

// Link is one conversation with one instrument.
//
// All methods may be called from any goroutine; they take turns. Each operation
// ends at the context's deadline, or after Config.Timeout where the context has
// none, and at once when the context is cancelled or the link is closed. All
// errors but those of Close are an *[Error]; what the technology lacks has kind
// errors.ErrUnsupported.
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
	// Query sends the message and returns the answer, as Write and Read do, as
	// one turn. What has arrived unasked before is thrown away, and logged: it
	// can't be the answer to a question that was not yet sent.
	Query(ctx context.Context, message []byte) ([]byte, error)
	// Stray is what the last Query threw away before the question was sent;
	// nil where that was nothing but line ends. An answer to an earlier
	// question among it means that the conversation is out of step.
	Stray() []byte
	// Clear forgets everything in flight, by the technology's own device clear
	// where it has one, and connects anew where the link was lost; the link is
	// usable afterwards. It is the only way out of ErrDirty and
	// ErrDisconnected.
	Clear(ctx context.Context) error
	// Trigger starts what the instrument was armed for (group execute trigger).
	Trigger(ctx context.Context) error
	// StatusByte reads the status byte beside the messages (serial poll). It
	// takes a request for service back, and disturbs no answer under way.
	StatusByte(ctx context.Context) (byte, error)
	// Remote puts the instrument under remote control, Local back under that
	// of its front panel.
	Remote(ctx context.Context) error
	Local(ctx context.Context) error
	// Close ends the conversation and every operation that is under way. It is
	// idempotent; afterwards everything answers ErrClosed.
	Close() error
}

// ServiceRequester is a link that may hear when the instrument asks for service
// by itself (SRQ).
type ServiceRequester interface {
	// ServiceRequests gives a channel on which each request comes; one that
	// nobody has taken stands for all that follow. It is closed when the
	// connection is given up; ask again after a Clear then. Kind
	// errors.ErrUnsupported where there is no such thing.
	ServiceRequests(ctx context.Context) (<-chan struct{}, error)
}
