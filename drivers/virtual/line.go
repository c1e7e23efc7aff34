package virtual

import (
	"context"
	"io"
	"strings"
	"time"
)

const (
	// mostMessage bounds a program message; what is longer is dropped, with
	// error -363.
	mostMessage = 64 << 10
	// overrun stands for a message that was too long.
	overrun = "\x00overrun"
	// paceChunk is how much of the time characters are sent at once when paced.
	paceChunk = 5 * time.Millisecond
	bitsEach  = 10 // start, eight with parity or not, stop
	garbage   = "\xfe\x80\x1b\x00\xff?"
)

// line is the instrument's end of a link: it makes messages of bytes and
// bytes of replies.
type line struct {
	b        *Bench
	dev      device
	port     io.ReadWriter
	end      string        // terminator
	mask     byte          // of each character
	charTime time.Duration // 0 is not paced
}

func newLine(b *Bench, d device, port io.ReadWriter, serial bool) *line {
	l := &line{b: b, dev: d, port: port, end: terminators[first(d.link().Terminator, "lf")], mask: 0xff}
	if serial {
		if d.link().DataBits == 7 {
			l.mask = 0x7f
		}
		if baud := d.link().Baud; baud > 0 {
			l.charTime = bitsEach * time.Second / time.Duration(baud)
		}
	}
	return l
}

var terminators = map[string]string{"lf": "\n", "crlf": "\r\n", "cr": "\r"}

// read passes on complete messages until the port breaks or the context ends.
// Line feed and carriage return both end a message; empty ones are dropped.
func (l *line) read(ctx context.Context, out chan<- string) error {
	var held []byte
	tooLong := false
	buffer := make([]byte, 4096)
	for idle := 0; ; {
		n, err := l.port.Read(buffer)
		if n == 0 && err == nil {
			if idle++; idle > 100 {
				return io.ErrNoProgress
			}
			continue
		}
		idle = 0
		if e := l.b.clockSleep(ctx, time.Duration(n)*l.charTime); e != nil {
			return e
		}
		for _, c := range buffer[:n] {
			c &= l.mask
			if c != '\n' && c != '\r' {
				if tooLong = tooLong || len(held) >= mostMessage; !tooLong {
					held = append(held, c)
				}
				continue
			}
			message := string(held)
			if tooLong {
				message = overrun
			}
			held, tooLong = held[:0], false
			if strings.TrimSpace(message) == "" {
				continue
			}
			select {
			case out <- message:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		if err != nil {
			return err
		}
	}
}

// send writes a reply, with what faults make of it.
func (l *line) send(ctx context.Context, reply, message string) error {
	m := l.b.replyMods(l.dev, message)
	if m.silent {
		return nil
	}
	if err := l.b.clockSleep(ctx, m.late); err != nil {
		return err
	}
	data := m.shape(reply, l.end)
	for i := range data {
		data[i] &= l.mask
	}
	if m.split > 0 && len(data) > 1 {
		half := len(data) / 2
		if err := l.write(ctx, data[:half]); err != nil {
			return err
		}
		if err := l.b.clockSleep(ctx, m.split); err != nil {
			return err
		}
		data = data[half:]
	}
	return l.write(ctx, data)
}

// write sends bytes, in small pieces at the line's pace where it has one.
func (l *line) write(ctx context.Context, data []byte) error {
	if l.charTime == 0 {
		_, err := l.port.Write(data)
		return err
	}
	piece := max(1, int(paceChunk/l.charTime))
	for len(data) > 0 {
		n := min(piece, len(data))
		if err := l.b.clockSleep(ctx, time.Duration(n)*l.charTime); err != nil {
			return err
		}
		if _, err := l.port.Write(data[:n]); err != nil {
			return err
		}
		data = data[n:]
	}
	return nil
}

func (b *Bench) clockSleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	return b.clock.Sleep(ctx, d)
}
