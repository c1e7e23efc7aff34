package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// endOfReply is what the adapter puts after the last byte of a reply, the one
// that came with EOI: the control character that means this, and that no text
// holds. Binary data is held together by its block header.
const endOfReply = 0x04

// setUp makes the adapter a controller that does nothing by itself. What it was
// left with by another program may be anything; "savecfg 0" first keeps it
// from wearing out its memory with what follows.
func (a *adapter) setUp(ctx context.Context) error {
	a.plain, a.timeout, a.version, a.slice, a.marks = false, 0, "", readSlice, marks
	if err := a.greet(ctx); err != nil {
		return err
	}
	// A few at a time: some adapters hold no more than 64 bytes.
	for _, commands := range [][]string{
		{"savecfg 0", "mode 1"}, {"auto 0", "eoi 1"}, {"eos 3", fmt.Sprint("eot_char ", endOfReply)}, {"eot_enable 1", "ifc"},
	} {
		if _, err := a.ask(ctx, commands...); err != nil { // an answer would be that one is not known
			return err
		}
	}
	for name, want := range map[string]string{"mode": "1", "auto": "0", "eoi": "1", "eos": "3", "eot_enable": "1", "eot_char": fmt.Sprint(endOfReply)} {
		got, err := a.ask(ctx, name)
		if err != nil {
			return err
		}
		if got != want && strings.Trim(got, "0123456789") == "" && got != "" {
			return &Error{Kind: ErrProtocol, Err: fmt.Errorf("the adapter was told ++%s %s and says %s; does another program use it?", name, want, got)}
		}
		if got != want {
			a.log.Debug("the adapter does not tell a setting", "setting", name, "says", got)
		}
	}
	return nil
}

// greet asks for a mark until its answer is known: the number, and before it
// the version. An adapter that has just been switched on, or was reset by the
// opening of its port, hears nothing for a second or two.
func (a *adapter) greet(ctx context.Context) error {
	for {
		number := a.nextMark(readSlice)
		if err := a.command(ctx, "read_tmo_ms "+number, "ver", "read_tmo_ms"); err != nil {
			return err
		}
		said, err := a.linesTo(ctx, number)
		if err != nil {
			return greeting(ctx, err)
		}
		last := len(said) - 1
		if last < 0 {
			continue
		}
		switch told, err := strconv.ParseUint(said[last], 10, 16); {
		case err != nil: // it does not tell its read time-out
			a.plain, a.version = true, said[last]
		case last == 0:
			continue
		case said[last] == number:
			if a.version == said[last-1] {
				return nil
			}
			a.version = said[last-1] // what was on the line before may be part of it: ask again
			continue
		default: // it takes no such time-out
			a.version, a.marks = said[last-1], max(min(marks, int(told)/2), 1)
			a.slice = time.Duration(int(told)-a.marks) * time.Millisecond
		}
		_, err = a.settle(ctx)
		if err == nil {
			return a.fixedTimeout(ctx)
		}
		if !errors.Is(err, errNoAnswer) {
			return greeting(ctx, err)
		}
		a.plain, a.slice, a.marks = false, readSlice, marks // what it said was something else
	}
}

// fixedTimeout sets the time of reads for good where it can't be read back.
func (a *adapter) fixedTimeout(ctx context.Context) error {
	if !a.plain {
		return nil
	}
	a.timeout = a.slice
	return a.command(ctx, fmt.Sprint("read_tmo_ms ", a.slice.Milliseconds()))
}

// greeting says what to check about a line on which no adapter answers.
func greeting(ctx context.Context, err error) error {
	if errors.Is(ctx.Err(), context.DeadlineExceeded) {
		return &Error{Kind: ErrTimeout, Err: errNoAnswer}
	}
	return err
}

// linesTo gives the lines that come, up to the one that is wanted, or until no
// more come. Empty ones are left out.
func (a *adapter) linesTo(ctx context.Context, last string) (lines []string, err error) {
	for {
		for {
			line, rest, whole := bytes.Cut(a.in, []byte("\n"))
			if !whole {
				break
			}
			a.in = bytes.Clone(rest)
			if text := strings.TrimSpace(string(line)); text != "" {
				lines = append(lines, text)
			}
			if len(lines) > 0 && lines[len(lines)-1] == last {
				return lines, nil
			}
		}
		if came, err := a.await(ctx, answerTime/4); err != nil || !came {
			return lines, err
		}
	}
}
