package store_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/reports/record"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
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
	"points":  keepPoints,
	"records": keepRecords,
	"reads":   readsOnly,
	"full":    fillsDisk,
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

const eachWrites = 12

// keepRecords adds records to the chain that others add to as well.
func keepRecords(ctx context.Context, place string) error {
	s, err := store.Open(ctx, place)
	if err != nil {
		return err
	}
	for k := range eachWrites {
		at := time.Now()
		if _, err := s.Add(ctx, some(fmt.Sprintf("%d-%d", os.Getpid(), k), "1", runner.AsFound, at), testKey, at, nil); err != nil {
			return err
		}
	}
	return s.Close()
}

// Programs that add at the same time write one chain without gaps and forks.
func oneChainOfManyWriters(t *testing.T, place empty) {
	where := place(t)
	s := open(t, where)
	const writers = 8
	var all []*exec.Cmd
	for range writers {
		c := child("records", where)
		c.Stderr = os.Stderr
		require.NoError(t, c.Start())
		all = append(all, c)
	}
	for _, c := range all {
		require.NoError(t, c.Wait())
	}
	rows, err := s.List(t.Context(), store.Query{})
	require.NoError(t, err)
	require.Len(t, rows, writers*eachWrites)
	byNumber := make([]record.Sealed, len(rows)+1)
	for _, r := range rows {
		one, err := s.Sealed(t.Context(), r.ID)
		require.NoError(t, err)
		require.Empty(t, byNumber[one.Seal.Number].Bytes, "number %d twice", one.Seal.Number)
		byNumber[one.Seal.Number] = one
	}
	at := record.Link{Chain: byNumber[1].Seal.Chain, Number: 1}
	for _, one := range byNumber[1:] {
		require.NoError(t, one.Follows(at))
		at = one.Next()
	}
	head, err := s.Head(t.Context(), at.Chain)
	require.NoError(t, err)
	require.Equal(t, store.Head{Chain: at.Chain, Hash: at.Previous, Count: len(rows)}, head)
}

// readsOnly reads a store that can't be written, and tries to write to it.
func readsOnly(ctx context.Context, place string) error {
	s, err := store.OpenToRead(ctx, place)
	if err != nil {
		return err
	}
	rows, err := s.List(ctx, store.Query{})
	if err != nil {
		return err
	}
	for _, r := range rows {
		if _, err := s.Record(ctx, r.ID); err != nil {
			return err
		}
	}
	fmt.Println(s.Notes(), "records:", len(rows))
	_, err = s.Begin(ctx, store.Header{ID: "run"})
	fmt.Println("writing:", err)
	_, err = store.Open(ctx, place)
	fmt.Println("opening:", err)
	return s.Close()
}

// fillsDisk tries on a full disk what makes files.
func fillsDisk(ctx context.Context, args string) error {
	part := strings.Fields(args)
	from, err := store.Open(ctx, part[0])
	if err != nil {
		return err
	}
	fmt.Println("backup:", from.Backup(ctx, part[2]+"/backup.db"))
	_, err = from.Export(ctx, part[2]+"/archive.zip", store.Export{Now: madeAt})
	fmt.Println("export:", err)
	to, err := store.Open(ctx, part[2]+"/to.db")
	if err != nil {
		return err
	}
	_, err = to.Import(ctx, part[1])
	fmt.Println("import:", err)
	rows, err := to.List(ctx, store.Query{})
	fmt.Println("left:", len(rows), "records", err)
	v, err := to.Verify(ctx, record.Expect{}, nil)
	fmt.Println("whole:", v.Holds(), err)
	return errors.Join(from.Close(), to.Close())
}
