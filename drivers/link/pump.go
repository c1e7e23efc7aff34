package link

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// pump reads a stream in a goroutine of its own, so that whoever waits for a
// message can stop waiting at any time, and the other end's hang-up is noticed
// while nobody waits. It holds at most limit bytes that nobody took; then the
// other end has to wait.
type pump struct {
	limit   int
	arrived chan struct{} // holds a token when bytes came, or the end
	room    chan struct{} // holds a token when bytes were taken
	stop    chan struct{}
	done    chan struct{} // closed when the goroutine has ended

	mutex sync.Mutex
	bytes []byte
	err   error // why it ended
}

// errPumpStopped is the end that its owner wanted.
var errPumpStopped = errors.New("reading was stopped")

// startPump begins to read. read may return 0 bytes without an error: nothing
// has come yet. The caller must end it: make read fail, then call wait.
func startPump(limit int, read func(p []byte) (int, error)) *pump {
	p := &pump{limit: limit, arrived: make(chan struct{}, 1), room: make(chan struct{}, 1),
		stop: make(chan struct{}), done: make(chan struct{})}
	go p.run(read)
	return p
}

func (p *pump) run(read func(p []byte) (int, error)) {
	defer close(p.done)
	defer token(p.arrived)
	chunk := make([]byte, 32<<10)
	for {
		n, err := guarded(read, chunk)
		for !p.put(chunk[:n], err) {
			select {
			case <-p.room:
			case <-p.stop:
				p.put(nil, errPumpStopped)
				return
			}
		}
		if err != nil {
			return
		}
		select {
		case <-p.stop:
			p.put(nil, errPumpStopped)
			return
		default:
		}
	}
}

// guarded turns a panic of a read into its error. go.bug.st/serial v1.8.0
// panics with an index out of range where its descriptor is above 1023.
func guarded(read func(p []byte) (int, error), chunk []byte) (n int, err error) {
	defer func() {
		if cause := recover(); cause != nil {
			n, err = 0, fmt.Errorf("reading broke: %v; does the program hold more than 1000 files open?", cause)
		}
	}()
	return read(chunk)
}

// put keeps bytes and the end; false: there is no room.
func (p *pump) put(bytes []byte, err error) bool {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	if len(bytes) > 0 && len(p.bytes) >= p.limit {
		return false
	}
	p.bytes = append(p.bytes, bytes...)
	if p.err == nil {
		p.err = err
	}
	if len(bytes) > 0 || err != nil {
		token(p.arrived)
	}
	return true
}

// take appends what has come to into. The error is the end of the stream; it
// comes with the last bytes.
func (p *pump) take(into []byte) ([]byte, error) {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	into = append(into, p.bytes...)
	if cap(p.bytes) > 1<<20 {
		p.bytes = nil // don't hold on to the room of one large message
	}
	p.bytes = p.bytes[:0]
	token(p.room)
	return into, p.err
}

// ended tells why the stream has ended, nil if it goes on.
func (p *pump) ended() error {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	return p.err
}

func (p *pump) wait(ctx context.Context, most time.Duration) (silent bool) {
	p.mutex.Lock()
	something := len(p.bytes) > 0 || p.err != nil
	p.mutex.Unlock()
	if something {
		return false
	}
	var silence <-chan time.Time
	if most > 0 {
		timer := time.NewTimer(most)
		defer timer.Stop()
		silence = timer.C
	}
	select {
	case <-p.arrived:
		return false
	case <-silence:
		return true
	case <-ctx.Done():
		return false
	}
}

// end waits until the reading has ended; halt makes it.
func (p *pump) end(halt func()) {
	close(p.stop)
	halt()
	<-p.done
}

func token(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}
