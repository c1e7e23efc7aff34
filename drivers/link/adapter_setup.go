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
// opening of its port, hears nothing for a second or two. What it says counts
// when it has said so twice: what was on the line before may be part of it.
func (a *adapter) greet(ctx context.Context) error {
	var before introduction
	for {
		number := a.nextMark(readSlice)
		if err := a.command(ctx, "read_tmo_ms "+number, "ver", "read_tmo_ms"); err != nil {
			return greeting(ctx, err)
		}
		said, err := a.linesTo(ctx, number)
		if err != nil {
			return greeting(ctx, err)
		}
		now := introduced(said, number)
		if now.version == "" || now != before {
			before = now
			continue
		}
		a.version, a.plain, a.slice, a.marks = now.version, now.plain, readSlice, marks
		if now.most > 0 {
			a.marks = max(min(marks, now.most/2), 1)
			a.slice = time.Duration(now.most-a.marks) * time.Millisecond
		}
		return a.fixedTimeout(ctx)
	}
}

// introduction is what an adapter's answer to a mark tells of it.
type introduction struct {
	version string // empty: it was no answer
	plain   bool   // it does not tell its read time-out
	most    int    // it takes no longer time-out than this, in milliseconds; 0: it does
}

// introduced reads the lines that an adapter said to a mark.
func introduced(said []string, number string) introduction {
	last := len(said) - 1
	if last < 0 {
		return introduction{}
	}
	told, err := strconv.ParseUint(said[last], 10, 16)
	switch {
	case err != nil:
		return introduction{version: said[last], plain: true}
	case last == 0:
		return introduction{}
	case said[last] == number:
		return introduction{version: said[last-1]}
	}
	return introduction{version: said[last-1], most: int(told)}
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

// linesTo gives the last lines that come, up to the one that is wanted, or until
// no more come. Empty ones are left out.
func (a *adapter) linesTo(ctx context.Context, last string) (lines []string, err error) {
	const kept = 8
	for {
		in := a.in
		for {
			line, rest, whole := bytes.Cut(in, []byte("\n"))
			if !whole {
				break
			}
			in = rest
			if text := strings.TrimSpace(string(line)); text != "" {
				lines = append(lines[max(len(lines)-kept+1, 0):], text)
			}
			if len(lines) > 0 && lines[len(lines)-1] == last {
				a.in = bytes.Clone(in)
				return lines, nil
			}
		}
		if a.in = bytes.Clone(in); len(in) > 1<<20 {
			return nil, &Error{Kind: ErrProtocol, Err: errNoAnswer}
		}
		if came, err := a.await(ctx, answerTime/4); err != nil || !came {
			return lines, err
		}
	}
}
