package faulty

import (
	"context"
	"io"
	"slices"
	"sync"
	"time"
)

// Line carries bytes both ways by a schedule.
type Line struct {
	lanes [2]*lane

	mutex sync.Mutex
	acted []Fault
}

// NewLine makes a line whose faults begin at once.
func NewLine(s Schedule) *Line {
	l := &Line{}
	for way := range l.lanes {
		a := &lane{line: l}
		for _, f := range s.Faults {
			if f.Way == Way(way) {
				a.faults = append(a.faults, f)
			}
		}
		slices.SortStableFunc(a.faults, func(a, b Fault) int { return a.At - b.At })
		l.lanes[way] = a
	}
	return l
}

// Mend ends all faults. What is held back still comes late.
func (l *Line) Mend() {
	for _, a := range l.lanes {
		a.mutex.Lock()
		a.faults, a.dropping, a.corrupting = nil, 0, 0
		a.mutex.Unlock()
	}
}

// Passed is how many bytes have come to be carried each way.
func (l *Line) Passed(w Way) int {
	a := l.lanes[w]
	a.mutex.Lock()
	defer a.mutex.Unlock()
	return a.at
}

// Acted lists the faults that have acted, in their order.
func (l *Line) Acted() []Fault {
	l.mutex.Lock()
	defer l.mutex.Unlock()
	return slices.Clone(l.acted)
}

func (l *Line) acts(f Fault) {
	l.mutex.Lock()
	defer l.mutex.Unlock()
	l.acted = append(l.acted, f)
}

// lane is one direction.
type lane struct {
	line       *Line
	mutex      sync.Mutex
	faults     []Fault // that have not acted
	at         int     // bytes that have come
	dropping   int     // bytes still to be lost
	corrupting int
	mask       byte
}

// memory is what duplicates repeat: of one connection, because nothing comes
// over from one to another.
type memory struct {
	last  []byte // the latest bytes
	piece int    // how many of them came in the latest piece
}

// step is what becomes of some bytes: first the wait, then the bytes, then the
// end of the connection.
type step struct {
	hold  time.Duration
	join  bool // the hold ends when more comes, and what follows goes with that
	bytes []byte
	cut   bool
	away  time.Duration
}

// mostLast is how many bytes are kept to be repeated.
const mostLast = 4096

// apply tells what becomes of a piece of bytes.
func (a *lane) apply(m *memory, piece []byte) (steps []step) {
	a.mutex.Lock()
	defer a.mutex.Unlock()
	fresh := true
	for {
		for len(a.faults) > 0 {
			f := a.faults[0]
			if f.At > a.at || f.At == a.at && len(piece) == 0 && !f.Early {
				break
			}
			a.faults = a.faults[1:]
			a.line.acts(f)
			s, cut := a.act(m, f)
			steps = append(steps, s...)
			if cut {
				a.at += len(piece)
				return steps
			}
		}
		if len(piece) == 0 {
			return steps
		}
		n := len(piece)
		if len(a.faults) > 0 {
			n = min(n, a.faults[0].At-a.at)
		}
		if fresh {
			m.piece, fresh = 0, false
		}
		m.last = append(m.last, piece[:n]...)
		m.last = m.last[max(0, len(m.last)-mostLast):]
		m.piece += n
		a.at += n
		if out := a.spoil(piece[:n]); len(out) > 0 {
			steps = append(steps, step{bytes: out})
		}
		piece = piece[n:]
	}
}

// act begins a fault.
func (a *lane) act(m *memory, f Fault) (steps []step, cut bool) {
	switch f.Kind {
	case Delay, Split:
		return []step{{hold: f.Hold}}, false
	case Join:
		return []step{{hold: f.Hold, join: true}}, false
	case Drop:
		a.dropping += f.Count
	case Duplicate:
		n := f.Count
		if n == 0 {
			n = m.piece
		}
		again := m.last[max(0, len(m.last)-n):]
		return []step{{bytes: slices.Clone(again)}}, false
	case Corrupt:
		a.corrupting, a.mask = f.Count, f.Mask
	case Cut:
		return []step{{cut: true, away: f.Hold}}, true
	}
	return nil, false
}

// spoil drops and corrupts.
func (a *lane) spoil(p []byte) []byte {
	out := make([]byte, 0, len(p))
	for _, c := range p {
		if a.dropping > 0 {
			a.dropping--
			continue
		}
		if a.corrupting > 0 {
			a.corrupting--
			c ^= a.mask
		}
		out = append(out, c)
	}
	return out
}

// carry moves what source gives through the lane to write, until source ends,
// write fails or the context ends. cut is told of the end of the connection
// and for how long; where it returns false carry ends.
//
// source has a goroutine of its own, for which carry waits: whoever ends the
// context must make source's Read return.
func (a *lane) carry(ctx context.Context, source io.Reader, write func([]byte) error, cut func(away time.Duration) bool) {
	pieces := make(chan []byte, 64)
	var reading sync.WaitGroup
	defer reading.Wait()
	ctx, end := context.WithCancel(ctx)
	defer end()
	reading.Go(func() {
		defer close(pieces)
		for {
			buffer := make([]byte, 4096)
			n, err := source.Read(buffer)
			if n > 0 {
				select {
				case pieces <- buffer[:n]:
				case <-ctx.Done():
				}
			}
			if err != nil {
				return
			}
		}
	})
	m := &memory{}
	for {
		var piece []byte
		var open bool
		select {
		case piece, open = <-pieces:
		case <-ctx.Done():
		}
		if !open {
			return
		}
		if !a.deliver(ctx, m, a.apply(m, piece), pieces, write, cut) {
			return
		}
	}
}

// deliver carries steps out; more pieces are taken where a join waits for them.
func (a *lane) deliver(ctx context.Context, m *memory, steps []step, pieces <-chan []byte, write func([]byte) error, cut func(time.Duration) bool) bool {
	for i := 0; i < len(steps); i++ {
		s := steps[i]
		if s.hold > 0 {
			var more <-chan []byte
			if s.join {
				more = pieces
			}
			piece, ok := a.await(ctx, s.hold, more)
			if !ok {
				return false
			}
			if piece != nil {
				steps = joined(steps[:i+1], steps[i+1:], a.apply(m, piece))
			}
		}
		if len(s.bytes) > 0 {
			if err := write(s.bytes); err != nil {
				return false
			}
		}
		if s.cut && !cut(s.away) {
			return false
		}
	}
	return true
}

// await waits for a time, or for more.
func (a *lane) await(ctx context.Context, d time.Duration, more <-chan []byte) (piece []byte, ok bool) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil, true
	case piece = <-more: // nil: no more will come
		return piece, true
	case <-ctx.Done():
		return nil, false
	}
}

// joined puts what was held back and what has come since into one piece where
// nothing stands between them.
func joined(done, held, more []step) []step {
	all := slices.Concat(done, held)
	if len(held) > 0 && len(more) > 0 && more[0].hold == 0 && !more[0].cut && !all[len(all)-1].cut {
		last := &all[len(all)-1]
		last.bytes = slices.Concat(last.bytes, more[0].bytes)
		more = more[1:]
	}
	return append(all, more...)
}

// Strike lets a fault act when so many more bytes have gone its way.
func (l *Line) Strike(f Fault) {
	a := l.lanes[f.Way]
	a.mutex.Lock()
	defer a.mutex.Unlock()
	f.At += a.at
	a.faults = append(a.faults, f)
	slices.SortStableFunc(a.faults, func(a, b Fault) int { return a.At - b.At })
}
