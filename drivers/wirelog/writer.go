package wirelog

import (
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"bandproof/drivers/link"
)

// Where Options leave a value out.
const (
	DefaultPending = 8 << 20 // bytes
	DefaultEvery   = time.Second
	// batch is so much text that it is written without waiting for Every.
	batch = 64 << 10
)

// Options are what a caller may choose of a Writer.
type Options struct {
	// Pending is how much text may wait to be written, beside one exchange.
	// What comes while that much waits is lost, and the log says so.
	Pending int
	// Every is how long an exchange may wait to be written.
	Every time.Duration
	// Continues: what is written goes on with a log that has its header already.
	Continues bool
}

// ErrLost is wrapped by the error of Close where exchanges are missing.
var ErrLost = errors.New("exchanges are missing from the wire log")

// Writer writes a wire log. Exchange only hands over and returns at once,
// whatever the disk does; a goroutine writes, and ends with Close.
type Writer struct {
	out  io.Writer
	o    Options
	wake chan struct{} // holds one
	done chan struct{}

	mu      sync.Mutex
	pending []byte
	lost    int // since the last batch
	missing int // in all
	latest  time.Time
	closed  bool
	failed  error // the first error of out; nothing is written after it
}

var _ link.WireLog = (*Writer)(nil)

// NewWriter begins a log with its header. Each call of out.Write gets whole
// lines. Close the Writer before out.
func NewWriter(out io.Writer, h Header, o Options) *Writer {
	if o.Pending <= 0 {
		o.Pending = DefaultPending
	}
	if o.Every <= 0 {
		o.Every = DefaultEvery
	}
	w := &Writer{out: out, o: o, wake: make(chan struct{}, 1), done: make(chan struct{})}
	if !o.Continues {
		w.pending = []byte(h.String())
	}
	go w.run()
	return w
}

// Exchange implements [link.WireLog].
func (w *Writer) Exchange(e link.Exchange) {
	line := appendLine(nil, e)
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.closed {
		return
	}
	w.latest = e.At
	if w.failed != nil || len(w.pending) >= w.o.Pending {
		w.lost++
		w.missing++
		return
	}
	w.pending = append(w.pending, line...)
	if len(w.pending) >= batch {
		w.poke()
	}
}

func (w *Writer) poke() {
	select {
	case w.wake <- struct{}{}:
	default: // it is awake
	}
}

func (w *Writer) run() {
	defer close(w.done)
	every := time.NewTicker(w.o.Every)
	defer every.Stop()
	for {
		select {
		case <-w.wake:
		case <-every.C:
		}
		text, last := w.take()
		if len(text) > 0 {
			if _, err := w.out.Write(text); err != nil {
				w.mu.Lock()
				w.failed = err
				w.mu.Unlock()
			}
		}
		if last {
			return
		}
	}
}

// take is what is to be written now; last: nothing will come after it.
func (w *Writer) take() (text []byte, last bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	text, w.pending = w.pending, nil
	if w.failed != nil {
		return nil, w.closed
	}
	if w.lost > 0 {
		text = appendLine(text, link.Exchange{At: w.latest, Direction: Lost,
			Note: fmt.Sprintf("%d exchanges are missing here: they came faster than they could be written", w.lost)})
		w.lost = 0
	}
	return text, w.closed
}

// Close writes what still waits and ends the writer. Its error tells the first
// failure to write, and how many exchanges are missing. Exchanges that come
// later are dropped.
func (w *Writer) Close() error {
	w.mu.Lock()
	w.closed = true
	w.poke()
	w.mu.Unlock()
	<-w.done
	w.mu.Lock()
	defer w.mu.Unlock()
	err := w.failed
	if err != nil {
		err = fmt.Errorf("wire log: %w", err)
	}
	if w.missing > 0 {
		err = errors.Join(err, fmt.Errorf("%w: %d", ErrLost, w.missing))
	}
	return err
}

// Tee tells several logs of each exchange, all in the same order.
func Tee(logs ...link.WireLog) link.WireLog { return &tee{logs: logs} }

type tee struct {
	mutex sync.Mutex // links tell from goroutines of their own
	logs  []link.WireLog
}

func (t *tee) Exchange(e link.Exchange) {
	t.mutex.Lock()
	defer t.mutex.Unlock()
	for _, l := range t.logs {
		l.Exchange(e)
	}
}
