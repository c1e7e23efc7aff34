package link

import (
	"bytes"
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// noLines is said where a stream of bytes is asked for what has lines of its
// own elsewhere.
const noLines = "serial lines and raw sockets have none of their own; where the instrument takes the common commands of IEEE 488.2, say so in its profile or bench file"

// Trigger is *TRG where the instrument knows it.
func (s *stream) Trigger(ctx context.Context) error {
	if !s.config.Common {
		return s.unsupported("trigger", noLines)
	}
	return s.Write(ctx, []byte("*TRG"))
}

// StatusByte asks *STB? where the instrument knows it. Unlike a serial poll it
// must wait for an answer that is under way.
func (s *stream) StatusByte(ctx context.Context) (byte, error) {
	if !s.config.Common {
		return 0, s.unsupported("status", noLines)
	}
	ctx, done, err := s.begin(ctx, "status")
	if err != nil {
		return 0, err
	}
	defer done()
	answer, err := s.query(ctx, []byte("*STB?"))
	if err != nil {
		return 0, err
	}
	number, err := strconv.ParseUint(strings.TrimPrefix(string(bytes.TrimSpace(answer)), "+"), 10, 8)
	if err != nil {
		return 0, s.soiled(&Error{Address: s.address, Op: "status", Kind: ErrProtocol, Err: fmt.Errorf("%.40q is no status byte from 0 to 255", answer)})
	}
	return byte(number), nil
}

// Remote and Local need a line that a stream of bytes lacks.
func (s *stream) Remote(context.Context) error { return s.unsupported("remote", noPanel) }

// Local is like Remote.
func (s *stream) Local(context.Context) error { return s.unsupported("local", noPanel) }

const noPanel = "serial lines and raw sockets can't switch an instrument to remote or local; where it has a command for that, name it in the profile"

// echo takes the instrument's echo of what was sent, where it echoes.
func (s *stream) echo(ctx context.Context, line []byte) error {
	if !s.config.Echo {
		return nil
	}
	var came []byte
	var err error
	if s.config.ReadTerminator == "" {
		came, err = s.exactly(ctx, len(line))
	} else {
		came, err = s.read(ctx)
	}
	if err != nil {
		return err
	}
	if want := bytes.Trim(line, "\r\n"); !bytes.Equal(bytes.Trim(came, "\r\n"), want) {
		return s.soiled(&Error{Address: s.address, Op: "write", Kind: ErrProtocol,
			Err: fmt.Errorf("the instrument echoed %.80q for %.80q; was it garbled, or does the instrument not echo?", came, want)})
	}
	return nil
}

// exactly waits for n bytes.
func (s *stream) exactly(ctx context.Context, n int) ([]byte, error) {
	for len(s.in) < n {
		if _, err := s.await(ctx); err != nil {
			return nil, err
		}
	}
	return s.message(frame{end: n, next: n}), nil
}

// pause waits, unless the context ends first.
func pause(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return nil
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
