package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"sync/atomic"
	"time"

	"bandproof/drivers/link/plusplus"
)

// How adapters are spoken to.
const (
	// readSlice is how long an adapter waits for an instrument in one go. An
	// adapter in a read hears nothing, so this is also how long another
	// instrument, or a device clear, may have to wait. Adapters take 1 ms up to
	// a few seconds; some take no more than 3 s.
	readSlice = 500 * time.Millisecond
	// sliceMargin is what an adapter may be late with the end of a slice.
	sliceMargin = 50 * time.Millisecond
	// answerTime is how long an adapter may take to answer for itself.
	answerTime = time.Second
	// marks is how many values of the read time-out mark places in the stream;
	// fewer where an adapter takes only short ones.
	marks = 97
	// tooOften is how many attempts to get in step may fail before a device
	// clear makes a new connection instead.
	tooOften = 3
)

// adapter is a GPIB adapter that takes the ++ controller commands, on a line
// that carries bytes. Its users take turns.
//
// An adapter answers everything in the order in which it came, but what it
// says carries no mark of what it belongs to, and some of it is nothing at all:
// a read that timed out ends in silence. So the adapter is asked for its version and
// its read time-out, which is set to another value each time: whatever came
// before that answer belongs to what was asked before (see mark).
type adapter struct {
	name     string
	settings string
	log      *slog.Logger
	connect  func(ctx context.Context) (carrier, error)
	users    atomic.Int32

	queue chan struct{} // whoever has put a token in has the turn; those who wait are served in order

	// What follows belongs to whoever has the turn.
	now        carrier // nil: there is no connection
	pump       *pump
	why        error // why there is no connection
	generation int   // counts connections
	in         []byte
	version    string        // its answer to ++ver
	plain      bool          // it does not tell its read time-out
	slice      time.Duration // readSlice, or what it takes at most
	marks      int           // how many different ones there are
	marked     int           // counts them
	timeout    time.Duration // of its reads, as last set
	unsure     bool          // something failed; the adapter may be in the middle of anything
	failures   int           // attempts to get in step with it that failed, one after the other
	at         gpibAddress   // who is addressed
	last       *viaAdapter   // who has just written, so that a read needs no mark; nil: nobody
}

// gpibAddress is where an instrument sits on the bus; Secondary as in Resource.
type gpibAddress struct{ primary, secondary int }

// nobody is the address of no instrument.
var nobody = gpibAddress{-1, -1}

func newAdapter(name, settings string, log *slog.Logger, connect func(ctx context.Context) (carrier, error)) *adapter {
	return &adapter{name: name, settings: settings, log: log.With("adapter", name), connect: connect,
		queue: make(chan struct{}, 1), at: nobody, why: errors.New("it was not yet connected")}
}

// begin waits for the turn.
func (a *adapter) begin(ctx context.Context) error {
	select {
	case a.queue <- struct{}{}:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("another instrument keeps the adapter busy: %w", ctx.Err())
	}
}

func (a *adapter) done() { <-a.queue }

// ended tells why the connection is gone, nil if it is not.
func (a *adapter) ended() error {
	if a.now == nil {
		return a.why
	}
	return a.pump.ended()
}

// leave gives the connection up, if there is one.
func (a *adapter) leave(why error) error {
	if a.now == nil {
		return nil
	}
	old := a.now
	a.now, a.why, a.in, a.at = nil, why, nil, nobody
	close(a.pump.stop)
	old.halt()
	<-a.pump.done
	return old.close()
}

// join connects anew and sets the adapter up.
func (a *adapter) join(ctx context.Context) error {
	if err := a.leave(errors.New("the connection was renewed")); err != nil {
		a.log.Warn("closing the old connection", "error", err)
	}
	now, err := a.connect(ctx)
	if err != nil {
		a.why = err
		return err
	}
	a.now, a.pump, a.in, a.at, a.unsure, a.failures = now, startPump(1<<20, now.read), nil, nobody, false, 0
	a.generation++
	if err := a.setUp(ctx); err != nil {
		return errors.Join(err, a.leave(err))
	}
	return nil
}

// send puts lines on the line. One that could not be sent whole costs the
// connection: the rest of it must not be taken for another.
func (a *adapter) send(ctx context.Context, lines []byte) error {
	if err := a.ended(); err != nil {
		return &Error{Kind: ErrDisconnected, Err: err}
	}
	err := a.now.send(ctx, lines)
	if err != nil && !errors.Is(err, errNothingSent) {
		err = fmt.Errorf("the adapter takes nothing: %w", err)
		if e := a.leave(err); e != nil {
			a.log.Warn("closing the connection", "error", e)
		}
	}
	return err
}

// command sends commands that have no answer, or whose answer comes later.
func (a *adapter) command(ctx context.Context, commands ...string) error {
	var lines []byte
	for _, c := range commands {
		lines = append(append(append(lines, "++"...), c...), '\n')
	}
	return a.send(ctx, lines)
}

// await waits until more bytes have come, for at most so long.
func (a *adapter) await(ctx context.Context, limit time.Duration) (came bool, err error) {
	timer := time.NewTimer(limit)
	defer timer.Stop()
	for {
		if err := ctx.Err(); err != nil { // also where bytes come without end
			return false, err
		}
		before := len(a.in)
		var end error
		a.in, end = a.pump.take(a.in)
		switch {
		case len(a.in) > before:
			return true, nil
		case end != nil:
			return false, &Error{Kind: ErrDisconnected, Err: end}
		}
		select {
		case <-a.pump.arrived:
		case <-timer.C:
			return false, nil
		case <-ctx.Done():
			return false, ctx.Err()
		}
	}
}

// errNoAnswer: the adapter did not answer for itself in time.
var errNoAnswer = errors.New("the adapter does not answer to ++ver; is it on, and is it an adapter that takes the ++ controller commands?")

// mark asks the adapter for a mark and waits for it. It returns what came
// before the mark, and sets the read time-out to about the time that is wanted.
func (a *adapter) mark(ctx context.Context, want time.Duration) ([]byte, error) {
	limit := answerTime + a.timeout // it may be in a read
	number := a.nextMark(want)
	lines := []string{"ver"}
	if !a.plain {
		lines = []string{"read_tmo_ms " + number, "ver", "read_tmo_ms"}
	}
	if err := a.command(ctx, lines...); err != nil {
		return nil, err
	}
	for {
		if before, after, ok := cutMark(a.in, a.version, number, a.plain); ok {
			a.in = bytes.Clone(after)
			return before, nil
		}
		came, err := a.await(ctx, limit)
		switch {
		case err != nil:
			return nil, err
		case !came:
			return nil, &Error{Kind: ErrTimeout, Err: errNoAnswer}
		case len(a.in) > DefaultMaxMessage+1<<20:
			return nil, &Error{Kind: ErrProtocol, Err: fmt.Errorf("%d bytes came and no end; does an instrument talk without being asked?", len(a.in))}
		}
	}
}

// nextMark is a read time-out that no recent mark had, in milliseconds.
func (a *adapter) nextMark(want time.Duration) string {
	if a.plain {
		return ""
	}
	a.marked++
	a.timeout = max(want, time.Millisecond).Truncate(time.Millisecond) + time.Duration(a.marked%a.marks)*time.Millisecond
	return strconv.FormatInt(a.timeout.Milliseconds(), 10)
}

// cutMark finds the version and the number, each with its line end, and gives
// what is before and after them.
func cutMark(in []byte, version, number string, plain bool) (before, after []byte, ok bool) {
	for from := 0; ; {
		i := bytes.Index(in[from:], []byte(version))
		if version == "" || i < 0 {
			return nil, nil, false
		}
		i += from
		rest, ok := cutEnd(in[i+len(version):])
		if ok && !plain {
			if rest, ok = bytes.CutPrefix(rest, []byte(number)); ok {
				rest, ok = cutEnd(rest)
			}
		}
		if ok {
			return in[:i], rest, true
		}
		from = i + 1
	}
}

// cutEnd takes a line end off the beginning.
func cutEnd(in []byte) ([]byte, bool) {
	in = bytes.TrimLeft(in, " \r")
	return bytes.CutPrefix(in, []byte("\n"))
}

// ask sends commands and gives the answer, which may be nothing.
func (a *adapter) ask(ctx context.Context, commands ...string) (string, error) {
	if err := a.command(ctx, commands...); err != nil {
		return "", err
	}
	answer, err := a.mark(ctx, a.slice)
	if err != nil {
		return "", err
	}
	return string(bytes.Trim(answer, " \r\n")), nil
}

// settle brings the adapter to where it answers to what is asked now, and
// gives what came before that.
func (a *adapter) settle(ctx context.Context) ([]byte, error) {
	const attempts = 3
	var came []byte
	for attempt := 1; ; attempt++ {
		if a.plain && a.unsure {
			if err := a.drain(ctx); err != nil {
				a.failures++
				return nil, err
			}
		}
		before, err := a.mark(ctx, a.slice)
		came = append(came, before...)
		if err == nil {
			came, a.in, a.unsure, a.failures = append(came, a.in...), nil, false, 0 // nothing can come after a mark
			return came, nil
		}
		a.unsure = true
		a.failures++
		if ctx.Err() != nil || !errors.Is(err, errNoAnswer) || attempt == attempts {
			return nil, err
		}
		a.log.Warn("the adapter does not answer; asking again")
	}
}

// drain throws away what comes until the line is silent for longer than a read
// may take.
func (a *adapter) drain(ctx context.Context) error {
	for {
		a.in = a.in[:0]
		came, err := a.await(ctx, a.timeout+a.slice+sliceMargin)
		if err != nil || !came {
			return err
		}
	}
}

// address makes the instrument the one that is spoken to, and has the adapter
// say so.
func (a *adapter) address(ctx context.Context, to gpibAddress) error {
	if a.at == to {
		return nil
	}
	a.at = nobody
	answer, err := a.ask(ctx, "addr "+plusplus.FormatAddress(to.primary, to.secondary), "addr")
	if err != nil {
		return err
	}
	primary, secondary, err := plusplus.ParseAddress(answer)
	if err != nil {
		return &Error{Kind: ErrProtocol, Err: fmt.Errorf("asked which instrument is addressed, the adapter says %w", err)}
	}
	if primary != to.primary || secondary != to.secondary && secondary >= 0 {
		return &Error{Kind: ErrProtocol, Err: fmt.Errorf("the adapter was told to address %s and says that it addresses %s; does it know secondary addresses?",
			plusplus.FormatAddress(to.primary, to.secondary), answer)}
	}
	a.at = to
	return nil
}
