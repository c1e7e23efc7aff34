package drivertest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"time"
)

// concurrentQueries has several goroutines ask; the far end answers each with
// its own question, and looks for a second one before it has answered.
func concurrentQueries(r *rig) {
	const goroutines, each = 4, 25
	r.open()
	served := make(chan error, 1)
	go func() { served <- echo(r.far, goroutines*each) }()
	var group sync.WaitGroup
	for g := range goroutines {
		group.Go(func() {
			for i := range each {
				ctx, cancel := context.WithTimeout(context.Background(), patience)
				question := fmt.Sprintf("Q%d.%d?", g, i)
				answer, err := r.link.Query(ctx, []byte(question))
				cancel()
				if err != nil || string(answer) != question {
					r.Errorf("query %q: answer %q, %v", question, answer, err)
					return
				}
			}
		})
	}
	group.Wait()
	if r.Failed() {
		r.hangUp()
	}
	if err := <-served; err != nil {
		r.Error(err)
	}
}

// echo answers n questions with themselves.
func echo(far Far, n int) error {
	var heard strings.Builder
	chunk := make([]byte, 1000)
	for answered := 0; answered < n; {
		_ = far.SetReadDeadline(time.Now().Add(patience))
		got, err := far.Read(chunk)
		if err != nil {
			return fmt.Errorf("far end: %w", err)
		}
		heard.Write(chunk[:got])
		line, rest, whole := strings.Cut(heard.String(), "\n")
		if !whole {
			continue
		}
		_ = far.SetReadDeadline(time.Now().Add(2 * time.Millisecond))
		got, err = far.Read(chunk)
		if rest != "" || got > 0 {
			return fmt.Errorf("%q came before %q was answered", rest+string(chunk[:got]), line)
		}
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return fmt.Errorf("far end: %w", err)
		}
		heard.Reset()
		if _, err := far.Write([]byte(line + "\n")); err != nil {
			return fmt.Errorf("far end: %w", err)
		}
		answered++
	}
	return nil
}
