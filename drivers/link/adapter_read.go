package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"
)

// message reads one message of the instrument that is addressed. done is false
// where the instrument had nothing to say for the time of one slice. Once it
// has begun to talk the adapter stays with it until it has ended: what it
// sends in several slices is one message.
func (a *adapter) message(ctx context.Context, e ending, most int) (whole []byte, done bool, err error) {
	var got []byte
	e.framer.longest = most
	for {
		if err := a.limitRead(ctx); err != nil {
			return nil, false, err
		}
		if err := a.command(ctx, e.command); err != nil {
			return nil, false, err
		}
		for came := true; came; {
			got, a.in = append(got, a.in...), a.in[:0]
			if whole, done, err = a.cut(&e, got); done || err != nil {
				return whole, done, err
			}
			if came, err = a.await(ctx, a.timeout+sliceMargin); err != nil {
				return nil, false, partly(err, got)
			}
		}
		before, err := a.mark(ctx, a.slice) // the adapter has given up, or is about to
		if err != nil {
			return nil, false, partly(err, got)
		}
		got = append(got, before...)
		if whole, done, err = a.cut(&e, got); done || err != nil || len(got) == 0 {
			return whole, done, err
		}
	}
}

// limitRead has the next read end with the context where that is near.
func (a *adapter) limitRead(ctx context.Context) error {
	deadline, _ := ctx.Deadline()
	want := min(a.slice, time.Until(deadline))
	fits := a.timeout >= a.slice
	if want < a.slice {
		fits = a.timeout <= want && a.timeout > want/2
	}
	if a.plain || fits {
		return nil
	}
	return a.command(ctx, "read_tmo_ms "+a.nextMark(want))
}

// cut takes the message out of what came, once it is whole. There may be
// nothing after it, and nothing in it that the adapter says for itself.
func (a *adapter) cut(e *ending, got []byte) (whole []byte, done bool, err error) {
	found, ok, err := e.framer.scan(got)
	if err != nil {
		return nil, false, &Error{Kind: ErrProtocol, Err: err}
	}
	if !ok {
		return nil, false, nil
	}
	if rest := bytes.Trim(got[found.next:], string(rune(endOfReply))+"\r\n"); len(rest) > 0 {
		return nil, false, &Error{Kind: ErrProtocol, Err: fmt.Errorf("%.80q came after the end of a reply; does the adapter read by itself?", rest)}
	}
	if !a.plain && holdsMark(got, a.version) {
		return nil, false, &Error{Kind: ErrProtocol, Err: fmt.Errorf("%.80q came within a reply, which is what the adapter calls itself", a.version)}
	}
	return got[:found.end], true, nil
}

// holdsMark tells whether some mark is among the bytes.
func holdsMark(in []byte, version string) bool {
	for {
		_, after, found := bytes.Cut(in, []byte(version))
		if !found {
			return false
		}
		if line, ended := cutEnd(after); ended {
			number, _, whole := bytes.Cut(line, []byte("\n"))
			if _, err := strconv.ParseUint(string(bytes.TrimSpace(number)), 10, 16); whole && err == nil {
				return true
			}
		}
		in = after
	}
}

// partly says how much of a message had come. The context's own error is left
// to who knows the context.
func partly(err error, got []byte) error {
	if len(got) == 0 {
		return err
	}
	what := fmt.Sprintf("%d bytes came that are no whole message; does the instrument end its replies with EOI?", len(got))
	if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled) {
		return inPart(errors.New(what))
	}
	return inPart(fmt.Errorf("%s: %w", what, err))
}
