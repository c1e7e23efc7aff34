package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"sync"

	"bandproof/drivers/virtual"
	"bandproof/drivers/wirelog"
)

// stage is where one instrument of a wire log is to be played.
type stage struct {
	name     string
	play     *wirelog.Play
	tcp, pty string
}

// replay plays the instruments of a wire log until each log is at its end and
// its client has left, the context ends, or a client differs from the log.
func replay(ctx context.Context, f flags, stdout, stderr io.Writer) error {
	stages, err := stagesOf(f)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var serving sync.WaitGroup
	defer serving.Wait()
	errs := make(chan error, len(stages))
	var lines strings.Builder
	for _, s := range stages {
		if n := s.play.PassedOver(); n > 0 {
			_, _ = fmt.Fprintf(stderr, "virtualbench: %s: %d status bytes, triggers and the like can't be played and are passed over\n", s.name, n)
		}
		resource, serve, err := s.open()
		if err != nil {
			cancel()
			return &benchError{err}
		}
		fmt.Fprintf(&lines, "%s %s\n", s.name, resource)
		serving.Go(func() {
			err := serve(ctx)
			if err != nil {
				cancel()
			}
			errs <- err
		})
	}
	if _, err := io.WriteString(stdout, lines.String()+"ready\n"); err != nil {
		cancel()
		return &benchError{fmt.Errorf("write to standard output: %w", err)}
	}
	serving.Wait()
	close(errs)
	for e := range errs {
		err = errors.Join(err, e)
	}
	for _, s := range stages {
		if played, of := s.play.Progress(); played < of {
			_, _ = fmt.Fprintf(stderr, "virtualbench: %s: %d of %d steps of the log were played\n", s.name, played, of)
		}
	}
	var differs *wirelog.Difference
	if err != nil && !errors.As(err, &differs) {
		return &benchError{err}
	}
	return err
}

// stagesOf reads the flags and the log.
func stagesOf(f flags) ([]stage, error) {
	if f.scenario != "" || len(f.faults) > 0 || len(f.serial) > 0 || len(f.hislip) > 0 || f.announce != "" {
		return nil, errors.New("--replay plays what a log holds; it goes with --tcp, --pty and --time-scale only")
	}
	text, err := os.ReadFile(f.replay)
	if err != nil {
		return nil, fmt.Errorf("--replay: %w", err)
	}
	l, err := wirelog.Parse(f.replay, text)
	if err != nil {
		return nil, fmt.Errorf("--replay: %w", err)
	}
	clock, err := virtual.NewScaledClock(f.timeScale)
	if err != nil {
		return nil, fmt.Errorf("--time-scale: %w", err)
	}
	var list []stage
	add := func(s stage) error {
		var err error
		if s.play, err = l.Play(s.name, clock); err != nil {
			return fmt.Errorf("--replay: %s: %w", f.replay, err)
		}
		list = append(list, s)
		return nil
	}
	for _, v := range f.tcp {
		name, where, ok := strings.Cut(v, "=")
		if _, _, err := net.SplitHostPort(where); err != nil || !ok {
			return nil, fmt.Errorf("--tcp %q: expected NAME=HOST:PORT", v)
		}
		if err := add(stage{name: name, tcp: where}); err != nil {
			return nil, err
		}
	}
	for _, v := range f.pty {
		name, where, ok := strings.Cut(v, "=")
		if !ok || where == "" {
			return nil, fmt.Errorf("--pty %q: expected NAME=SYMLINK", v)
		}
		if err := add(stage{name: name, pty: where}); err != nil {
			return nil, err
		}
	}
	if len(list) == 0 {
		for _, a := range l.Addresses() {
			if err := add(stage{name: l.Name(a), tcp: "127.0.0.1:0"}); err != nil {
				return nil, err
			}
		}
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("--replay: %s: nothing is in the log", f.replay)
	}
	return list, nil
}

// open takes the port and tells its VISA resource name.
func (s stage) open() (resource string, serve func(context.Context) error, err error) {
	if s.pty != "" {
		p, err := virtual.OpenPTY(s.pty)
		if err != nil {
			return "", nil, fmt.Errorf("%s: %w", s.name, err)
		}
		return "ASRL" + s.pty + "::INSTR", func(ctx context.Context) error { return s.play.ServePort(ctx, p) }, nil
	}
	l, err := net.Listen("tcp", s.tcp)
	if err != nil {
		return "", nil, fmt.Errorf("%s: %w", s.name, err)
	}
	host, port, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		return "", nil, errors.Join(fmt.Errorf("%s: %w", s.name, err), l.Close())
	}
	return "TCPIP0::" + host + "::" + port + "::SOCKET", func(ctx context.Context) error { return s.play.ServeListener(ctx, l) }, nil
}
