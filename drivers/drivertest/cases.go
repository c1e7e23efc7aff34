package drivertest

import (
	"context"
	"errors"
	"strings"
	"time"

	"bandproof/drivers/link"
)

// cases are the rules that every link keeps. Replies are on the wire as they
// are written here.
var cases = []struct {
	name, rule string
	run        func(r *rig)
}{
	{"round trip", "a message goes out with the terminator and its answer comes in without", func(r *rig) {
		r.open()
		r.exchange("*IDN?", "MAKER (invented),MODEL,1,2\n", "MAKER (invented),MODEL,1,2")
		r.exchange("EMPTY?", "\n", "")
		r.exchange("AGAIN?", "1\n", "1")
	}},
	{"split reply", "an answer is whole however it is cut into pieces", func(r *rig) {
		r.open()
		got := r.query("FETC?", patience)
		r.hears("FETC?\n")
		for _, piece := range strings.Split("+1.00000000000E+07\n", "") {
			r.sends(piece)
			time.Sleep(time.Millisecond)
		}
		r.answered(got(), "+1.00000000000E+07")
	}},
	{"CR and LF", "with LF as the terminator one CR before it is dropped, and no more than that", func(r *rig) {
		r.open()
		r.exchange("A?", "1\r\n", "1")
		r.exchange("B?", "2\r\r\n", "2\r")
		r.exchange("C?", "\r\n", "")
		r.exchange("D?", "3\n", "3")
	}},
	{"other terminators", "a terminator of CR or CRLF is kept to, both ways on its own", func(r *rig) {
		r.open(func(c *link.Config) { c.ReadTerminator, c.WriteTerminator = "CRLF", "CR" })
		got := r.query("A?", patience)
		r.hears("A?\r")
		r.sends("1\n2\r3\r\n")
		r.answered(got(), "1\n2\r3")
	}},
	{"no terminator", "without a terminator a message ends with a silence", func(r *rig) {
		r.open(func(c *link.Config) { c.ReadTerminator, c.Gap = "none", time.Second })
		got := r.query("A?", patience)
		r.hears("A?\n")
		r.sends("12")
		time.Sleep(10 * time.Millisecond)
		r.sends("34")
		r.answered(got(), "1234")
	}},
	{"two replies joined", "a second answer in one piece with the first is not taken for the next query's", func(r *rig) {
		r.open()
		r.exchange("A?", "1\nSTALE\n", "1")
		time.Sleep(short) // it may come in two pieces after all
		r.exchange("B?", "2\n", "2")
	}},
	{"read gives what comes unasked", "only a query throws away what came before; a read gives all messages in order", func(r *rig) {
		r.open()
		r.sends("1\n2\n3")
		r.sends("\n")
		for _, want := range []string{"1", "2", "3"} {
			r.answered(r.background(func() ([]byte, error) { return r.link.Read(context.Background()) })(), want)
		}
	}},
	{"definite block", "a block of stated length may hold terminators, and all values of a byte", func(r *rig) {
		all := make([]byte, 256)
		for i := range all {
			all[i] = byte(i)
		}
		r.open()
		r.exchange("A?", "#15A\nB\nC\n", "#15A\nB\nC")
		r.exchange("B?", "#15AB\n\n\r\r\n", "#15AB\n\n\r")
		r.exchange("C?", ":CURV #3256"+string(all)+"\n", ":CURV #3256"+string(all))
		r.exchange("LAST IS CR?", "#13AB\r\n", "#13AB\r")
		r.exchange("D?", "0,\"no block: #15\"\n", "0,\"no block: #15\"")
		r.exchange("E?", "#H1F\n", "#H1F")
	}},
	{"long reply", "an answer that is larger than any buffer on the way arrives whole", func(r *rig) {
		r.open()
		long := times("0123456789abcdef", 1<<14)
		got := r.query("A?", patience)
		r.hears("A?\n")
		sent := r.background(func() ([]byte, error) { _, err := r.far.Write([]byte(long + "\n")); return nil, err })
		r.answered(got(), long)
		r.answered(sent(), "")
	}},
	{"oversize message", "an answer longer than the limit is an error, not memory without bound; Clear mends it", func(r *rig) {
		r.open(func(c *link.Config) { c.MaxMessage = 1000 })
		r.exchange("FITS?", times("x", 1000)+"\n", times("x", 1000))
		got := r.query("A?", patience)
		r.hears("A?\n")
		r.sends(times("x", 1001))
		r.is(got().err, link.ErrProtocol)
		r.dirty(link.ErrDirty)
		r.clear()
		got = r.query("B?", patience)
		r.hears("B?\n")
		r.sends("#9999999999")
		r.is(got().err, link.ErrProtocol)
		r.clear()
		r.exchange("C?", "3\n", "3")
	}},
	{"time of the context", "an operation ends with its context, and says so", func(r *rig) {
		r.open(func(c *link.Config) { c.Timeout = time.Hour })
		got := r.query("A?", short)
		r.hears("A?\n")
		err := got().err
		r.is(err, link.ErrTimeout)
		r.is(err, context.DeadlineExceeded)
	}},
	{"time of the link", "without a deadline the link's own time counts, with one it does not", func(r *rig) {
		r.open(func(c *link.Config) { c.Timeout = short })
		got := r.query("SLOW?", patience)
		r.hears("SLOW?\n")
		time.Sleep(2 * short)
		r.sends("1\n")
		r.answered(got(), "1")
		_, err := r.link.Query(context.Background(), []byte("A?"))
		r.is(err, link.ErrTimeout)
	}},
	{"late reply", "an answer that comes after its query was given up is never the next query's", func(r *rig) {
		r.open()
		r.exchange("A?", "1\n", "1")
		got := r.query("SLOW?", short)
		r.hears("SLOW?\n")
		r.is(got().err, link.ErrTimeout)
		r.sends("LATE\n")
		r.dirty(link.ErrDirty)
		r.clear()
		r.exchange("B?", "2\n", "2")
	}},
	{"late end of a reply", "what follows a part of an answer that was given up is never the next query's", func(r *rig) {
		r.open()
		got := r.query("SLOW?", short)
		r.hears("SLOW?\n")
		r.sends("LA")
		r.is(got().err, link.ErrTimeout)
		r.sends("TE\n")
		r.dirty(link.ErrDirty)
		r.clear()
		r.exchange("B?", "2\n", "2")
	}},
	{"cancellation", "cancelling ends an operation within 100 ms, however long it might have waited", func(r *rig) {
		r.open()
		best := patience
		for attempt := 0; attempt < 20 && best > 100*time.Millisecond; attempt++ { // a busy machine may miss some
			ctx, cancel := context.WithCancel(context.Background())
			got := r.background(func() ([]byte, error) { return r.link.Query(ctx, []byte("A?")) })
			r.hears("A?\n")
			time.Sleep(10 * time.Millisecond)
			begin := time.Now()
			cancel()
			err := got().err
			best = min(best, time.Since(begin))
			r.is(err, link.ErrCancelled)
			r.is(err, context.Canceled)
			r.dirty(link.ErrDirty)
			r.clear()
		}
		if best > 100*time.Millisecond {
			r.Errorf("cancelling took %s at best; want 100 ms or less", best)
		}
		r.exchange("B?", "2\n", "2")
	}},
	{"cancelled before", "an operation whose context has ended does nothing and spoils nothing", func(r *rig) {
		r.open()
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		r.is(r.link.Write(ctx, []byte("A")), link.ErrCancelled)
		_, err := r.link.Read(ctx)
		r.is(err, link.ErrCancelled)
		_, err = r.link.Query(ctx, []byte("A?"))
		r.is(err, link.ErrCancelled)
		r.is(r.link.Clear(ctx), link.ErrCancelled)
		r.hearsNothing()
		r.exchange("B?", "2\n", "2")
	}},
	{"silence before the first message", "a read that ends while nothing was sent and nothing has come leaves the link clean", func(r *rig) {
		r.open()
		ctx, cancel := context.WithTimeout(context.Background(), short)
		defer cancel()
		_, err := r.link.Read(ctx)
		r.is(err, link.ErrTimeout)
		r.exchange("B?", "2\n", "2")
	}},
	{"hang-up", "a hang-up is told as one, to whoever waits and whoever comes later", func(r *rig) {
		r.open()
		got := r.query("A?", patience)
		r.hears("A?\n")
		r.hangUp()
		r.is(got().err, link.ErrDisconnected)
		r.dirty(link.ErrDisconnected)
		r.returns()
	}},
	{"cut-off message", "part of a message before a hang-up is no message", func(r *rig) {
		r.open()
		got := r.query("A?", patience)
		r.hears("A?\n")
		r.sends("+1.234")
		time.Sleep(short)
		r.hangUp()
		r.is(got().err, link.ErrDisconnected)
		r.returns()
	}},
	{"cut-off message without terminator", "a hang-up is not the silence that ends a message", func(r *rig) {
		r.open(func(c *link.Config) { c.ReadTerminator, c.Gap = "none", time.Hour })
		got := r.query("A?", patience)
		r.hears("A?\n")
		r.sends("+1.234")
		time.Sleep(short)
		r.hangUp()
		r.is(got().err, link.ErrDisconnected)
	}},
	{"hang-up while idle", "a hang-up that came while nobody waited is told by the next operation", func(r *rig) {
		r.open()
		r.exchange("A?", "1\n", "1")
		r.hangUp()
		var err error
		for begin := time.Now(); err == nil && time.Since(begin) < patience; time.Sleep(time.Millisecond) {
			err = r.link.Write(context.Background(), []byte("B"))
		}
		r.is(err, link.ErrDisconnected)
		r.returns()
	}},
	{"close", "Close may be called twice, ends an operation at once, and refuses what comes after", func(r *rig) {
		r.open(func(c *link.Config) { c.Timeout = time.Hour })
		got := r.background(func() ([]byte, error) { return r.link.Read(context.Background()) })
		time.Sleep(10 * time.Millisecond)
		for range 2 {
			if err := r.link.Close(); err != nil {
				r.Fatalf("close: %v", err)
			}
		}
		r.is(got().err, link.ErrClosed)
		r.dirty(link.ErrClosed)
		r.is(r.link.Clear(context.Background()), link.ErrClosed)
	}},
	{"clear of a clean link", "Clear may be called at any time and throws away what has come", func(r *rig) {
		r.open()
		r.clear()
		r.sends("STALE\n")
		time.Sleep(short)
		r.clear()
		ctx, cancel := context.WithTimeout(context.Background(), short)
		defer cancel()
		answer, err := r.link.Read(ctx)
		if err == nil {
			r.Fatalf("read %q after Clear; want nothing", answer)
		}
		r.exchange("A?", "1\n", "1")
	}},
	{"concurrent queries", "queries of several goroutines do not come between each other", concurrentQueries},
}

// hangUp ends the far end.
func (r *rig) hangUp() {
	r.Helper()
	if err := r.far.Close(); err != nil {
		r.Fatalf("far end: %v", err)
	}
}

// returns checks that Clear makes the link usable again where the instrument
// is there again, and is honest where it is not.
func (r *rig) returns() {
	r.Helper()
	if r.wire.Renews {
		r.clear()
		r.exchange("BACK?", "1\n", "1")
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), short)
	defer cancel()
	err := r.link.Clear(ctx)
	if errors.Is(err, link.ErrTimeout) {
		r.is(err, link.ErrTimeout)
		return
	}
	r.is(err, link.ErrDisconnected)
}
