package drivertest

import (
	"context"
	"fmt"
	"sync"
	"time"

	"bandproof/drivers/link"
)

// messageCases are the rules that every link of whole messages keeps.
var messageCases = []struct {
	name, rule string
	run        func(r *messageRig)
}{
	{"round trip", "a message goes out with the terminator and its answer comes in without", func(r *messageRig) {
		r.open()
		r.asks("ECHO? MAKER (invented),MODEL,1,2", "MAKER (invented),MODEL,1,2")
		r.heard("ECHO? MAKER (invented),MODEL,1,2\n")
		r.asks("ECHO?", "")
		r.asks("ECHO? 1", "1")
	}},
	{"end of an answer", "CR and LF before the end are dropped, and the end alone is enough", func(r *messageRig) {
		r.open()
		r.asks(`RAW? 1\r\n`, "1")
		r.asks("RAW? 2", "2")
		r.asks(`RAW? #14a\nb\n`, "#14a\nb\n")
		r.asks(`RAW? #14a\nb\n\n`, "#14a\nb\n")
	}},
	{"terminator", "the terminator that was asked for goes out", func(r *messageRig) {
		r.open(func(c *link.Config) { c.WriteTerminator = "none" })
		r.asks("ECHO? 1", "1")
		r.heard("ECHO? 1")
	}},
	{"two answers joined", "one message that holds two is no answer", func(r *messageRig) {
		r.open()
		r.is(r.query(`RAW? 1\n2\n`, patience)().err, link.ErrProtocol)
		r.dirty(link.ErrDirty)
		r.clears()
		r.asks("ECHO? 3", "3")
	}},
	{"large answer", "an answer larger than any buffer on the way arrives whole", func(r *messageRig) {
		r.open()
		for _, n := range []int{1, 1023, 1024, 1025, 65536, 300_000} {
			r.asks(fmt.Sprint("SIZE? ", n), times("0123456789", n/10+1)[:n])
		}
	}},
	{"large question", "a message larger than any buffer on the way arrives whole, as one", func(r *messageRig) {
		r.open()
		text := times("0123456789", 30_000)
		r.asks("ECHO? "+text, text)
		r.heard("ECHO? " + text + "\n")
	}},
	{"oversize answer", "an answer longer than the limit is an error; Clear mends it", func(r *messageRig) {
		r.open(func(c *link.Config) { c.MaxMessage = 1000 })
		r.asks("SIZE? 1000", times("0123456789", 100))
		r.is(r.query("SIZE? 100000", patience)().err, link.ErrProtocol)
		r.dirty(link.ErrDirty)
		r.clears()
		r.asks("ECHO? 1", "1")
	}},
	{"time-out and late answer", "an answer that comes after its question was given up is never the next one's", func(r *messageRig) {
		r.open(func(c *link.Config) { c.Timeout = time.Hour })
		r.asks("ECHO? 1", "1")
		got := r.query("LATE? STALE", short)
		r.heard("LATE? STALE\n")
		r.is(got().err, link.ErrTimeout)
		r.far.Release()
		r.dirty(link.ErrDirty)
		r.clears()
		r.asks("ECHO? 2", "2")
	}},
	{"late answer that comes after Clear", "nor is one that comes only then", func(r *messageRig) {
		r.open()
		got := r.query("LATE? STALE", short)
		r.heard("LATE? STALE\n")
		r.is(got().err, link.ErrTimeout)
		r.clears()
		r.far.Release()
		r.asks("ECHO? 2", "2")
		r.asks("ECHO? 3", "3")
	}},
	{"half an answer", "a part of an answer is none, and its rest is never the next one's", func(r *messageRig) {
		r.open()
		got := r.query("HALF? STALE", short)
		r.heard("HALF? STALE\n")
		r.is(got().err, link.ErrTimeout)
		r.far.Release()
		r.dirty(link.ErrDirty)
		r.clears()
		r.asks("ECHO? 2", "2")
	}},
	{"answer in two parts", "an answer is whole however long its parts take", func(r *messageRig) {
		r.open()
		got := r.query("HALF? 123456", patience)
		r.heard("HALF? 123456\n")
		time.Sleep(10 * time.Millisecond)
		r.far.Release()
		r.answered(got(), "123456")
	}},
	{"time of the link", "without a deadline the link's own time counts, with one it does not", func(r *messageRig) {
		r.open(func(c *link.Config) { c.Timeout = short })
		got := r.query("LATE? 1", patience)
		r.heard("LATE? 1\n")
		time.Sleep(2 * short)
		r.far.Release()
		r.answered(got(), "1")
		_, err := r.link.Query(context.Background(), []byte("SILENT?"))
		r.is(err, link.ErrTimeout)
	}},
	{"cancellation", "cancelling ends an operation within 300 ms, however long it might have waited", func(r *messageRig) {
		r.open()
		best := patience
		for attempt := 0; attempt < 20 && best > 300*time.Millisecond; attempt++ { // a busy machine may miss some
			ctx, cancel := context.WithCancel(context.Background())
			question := fmt.Sprint("SILENT? ", attempt)
			got := r.background(func() ([]byte, error) { return r.link.Query(ctx, []byte(question)) })
			r.heard(question + "\n")
			begin := time.Now()
			cancel()
			err := got().err
			best = min(best, time.Since(begin))
			r.is(err, link.ErrCancelled)
			r.is(err, context.Canceled)
			r.dirty(link.ErrDirty)
			r.clears()
		}
		if best > 300*time.Millisecond {
			r.Errorf("cancelling took %s at best; want 300 ms or less", best)
		}
		r.asks("ECHO? 2", "2")
	}},
	{"cancelled before", "an operation whose context has ended does nothing and spoils nothing", func(r *messageRig) {
		r.open()
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		r.is(r.link.Write(ctx, []byte("A")), link.ErrCancelled)
		_, err := r.link.Query(ctx, []byte("A?"))
		r.is(err, link.ErrCancelled)
		r.is(r.link.Clear(ctx), link.ErrCancelled)
		if heard := r.far.Heard(); len(heard) > 0 {
			r.Fatalf("the instrument got %q; want nothing", heard)
		}
		r.asks("ECHO? 2", "2")
	}},
	{"silence before the first message", "a read that ends while nothing was sent leaves the link clean", func(r *messageRig) {
		r.open()
		ctx, cancel := context.WithTimeout(context.Background(), short)
		defer cancel()
		_, err := r.link.Read(ctx)
		r.is(err, link.ErrTimeout)
		r.asks("ECHO? 2", "2")
	}},
	{"clear of a clean link", "Clear may be called at any time and drops an answer that nobody has read", func(r *messageRig) {
		r.open()
		r.clears()
		r.writes("ECHO? STALE")
		r.heard("ECHO? STALE\n")
		r.clears()
		ctx, cancel := context.WithTimeout(context.Background(), short)
		defer cancel()
		if answer, err := r.link.Read(ctx); err == nil {
			r.Fatalf("read %q after Clear; want nothing", answer)
		}
		r.asks("ECHO? 1", "1")
	}},
	{"cut while waiting", "a cut is told as one, to whoever waits and whoever comes later; Clear mends it", func(r *messageRig) {
		r.open()
		got := r.query("HALF? STALE", patience)
		r.heard("HALF? STALE\n")
		if !r.cut() {
			return
		}
		r.is(got().err, link.ErrDisconnected)
		r.dirty(link.ErrDisconnected)
		r.clears()
		r.asks("ECHO? 1", "1")
	}},
	{"cut while idle", "a cut that came while nobody waited is told by the next operation; Clear mends it", func(r *messageRig) {
		r.open()
		r.asks("ECHO? 1", "1")
		if !r.cut() {
			return
		}
		r.is(r.query("ECHO? 2", patience)().err, link.ErrDisconnected)
		r.clears()
		r.asks("ECHO? 3", "3")
	}},
	{"close", "Close may be called twice, ends an operation at once, and refuses what comes after", func(r *messageRig) {
		r.open(func(c *link.Config) { c.Timeout = time.Hour })
		got := r.background(func() ([]byte, error) { return r.link.Query(context.Background(), []byte("SILENT?")) })
		r.heard("SILENT?\n")
		for range 2 {
			if err := r.link.Close(); err != nil {
				r.Fatalf("close: %v", err)
			}
		}
		r.is(got().err, link.ErrClosed)
		r.dirty(link.ErrClosed)
		r.is(r.link.Clear(context.Background()), link.ErrClosed)
	}},
	{"trigger", "a trigger comes as one, and spoils nothing", func(r *messageRig) {
		r.open()
		if r.does("trigger", r.link.Trigger) {
			r.until("triggered", func() bool { return r.far.Triggered() == 1 })
		}
		r.asks("ECHO? 1", "1")
	}},
	{"status byte", "the status byte is read beside the messages and disturbs no answer", func(r *messageRig) {
		r.open()
		r.writes("ECHO? 1")
		r.heard("ECHO? 1\n")
		var got byte
		poll := func(ctx context.Context) (err error) { got, err = r.link.StatusByte(ctx); return err }
		if r.does("status", poll) {
			r.until("bit 4 tells of the answer", func() bool { return r.does("status", poll) && got&16 != 0 })
		}
		r.answered(r.background(func() ([]byte, error) { return r.link.Read(context.Background()) })(), "1")
		if r.does("status", poll) && got&16 != 0 {
			r.Fatalf("status %#x after the answer was read; want bit 4 off", got)
		}
	}},
	{"remote and local", "the instrument goes under remote control and back", func(r *messageRig) {
		r.open()
		if r.does("remote", r.link.Remote) {
			r.until("remote", r.far.Remote)
			r.does("remote", r.link.Local)
			r.until("local", func() bool { return !r.far.Remote() })
		}
		r.asks("ECHO? 1", "1")
	}},
	{"concurrent queries", "queries of several goroutines do not come between each other", func(r *messageRig) {
		r.open()
		var group sync.WaitGroup
		for g := range 4 {
			group.Go(func() {
				for i := range 25 {
					ctx, cancel := context.WithTimeout(context.Background(), patience)
					want := fmt.Sprintf("%d.%d", g, i)
					answer, err := r.link.Query(ctx, []byte("ECHO? "+want))
					cancel()
					if err != nil || string(answer) != want {
						r.Errorf("answer %q, %v; want %q", answer, err, want)
						return
					}
				}
			})
		}
		group.Wait()
	}},
}

// cut breaks the connections, where there are any.
func (r *messageRig) cut() bool {
	if r.wire.Cut == nil {
		return false
	}
	r.wire.Cut(r.T)
	return true
}
