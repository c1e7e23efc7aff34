package store_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"testing"

	"bandproof/procedures"
	"bandproof/reports/store"
	"bandproof/runner"
)

// The test program is also what other processes run, to write to a store at once
// or to be killed: STORE_TEST_CHILD says what they do, at STORE_TEST_PLACE.
func TestMain(m *testing.M) {
	do, child := children[os.Getenv("STORE_TEST_CHILD")]
	if !child {
		os.Exit(m.Run())
	}
	if err := do(context.Background(), os.Getenv("STORE_TEST_PLACE")); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

var children = map[string]func(ctx context.Context, place string) error{
	"points": keepPoints,
}

// child is another process that does one of these.
func child(what, place string) *exec.Cmd {
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), "STORE_TEST_CHILD="+what, "STORE_TEST_PLACE="+place)
	return c
}

// keepPoints journals points without end, and tells of each once it is kept.
func keepPoints(ctx context.Context, place string) error {
	s, err := store.Open(ctx, place)
	if err != nil {
		return err
	}
	j, err := s.Begin(ctx, store.Header{ID: "run"})
	if err != nil {
		return err
	}
	for k := 0; ; k++ {
		if err := j.Point(ctx, runner.PointResult{Point: procedures.Point{ID: fmt.Sprint(k)}}); err != nil {
			return err
		}
		fmt.Println(k) // only now does the other side know of it
	}
}
