package wirelog_test

import (
	"bytes"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"bandproof/drivers/link"
	"bandproof/drivers/wirelog"

	"github.com/stretchr/testify/require"
)

var begun = time.Date(2026, 11, 25, 11, 20, 33, 0, time.UTC)

func sent(k int) link.Exchange {
	return link.Exchange{At: begun.Add(time.Duration(k) * time.Millisecond), Address: counterAt, Direction: link.Sent, Bytes: fmt.Appendf(nil, "%d\n", k)}
}

func TestManyLinksWriteAtOnce(t *testing.T) {
	var out bytes.Buffer
	w := wirelog.NewWriter(&out, wirelog.Header{Program: "p", Begun: begun}, wirelog.Options{Every: time.Millisecond})
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			for k := range 500 {
				w.Exchange(sent(k))
			}
		})
	}
	all.Wait()
	require.NoError(t, w.Close())
	require.NoError(t, w.Close(), "twice")
	w.Exchange(sent(1)) // too late: dropped
	l, err := wirelog.Parse("x", out.Bytes())
	require.NoError(t, err)
	require.Len(t, l.Exchanges, 8*500)
}

// stuck is a disk that hangs until it is let go, and may fail then.
type stuck struct {
	began, letGo chan struct{}
	once         sync.Once
	err          error
	out          bytes.Buffer
}

func (s *stuck) Write(p []byte) (int, error) {
	s.once.Do(func() { close(s.began) })
	<-s.letGo
	if s.err != nil {
		return 0, s.err
	}
	return s.out.Write(p)
}

func TestADiskThatHangsHoldsNothingUpAndMemoryStaysBounded(t *testing.T) {
	disk := &stuck{began: make(chan struct{}), letGo: make(chan struct{})}
	w := wirelog.NewWriter(disk, wirelog.Header{Program: "p", Begun: begun}, wirelog.Options{Pending: 1000, Every: time.Millisecond})
	<-disk.began
	for k := range 1000 { // returns though the disk hangs
		w.Exchange(sent(k))
	}
	close(disk.letGo)
	err := w.Close()
	require.ErrorIs(t, err, wirelog.ErrLost)
	l, perr := wirelog.Parse("x", disk.out.Bytes())
	require.NoError(t, perr)
	last := l.Exchanges[len(l.Exchanges)-1]
	require.Equal(t, wirelog.Lost, last.Direction)
	kept := len(l.Exchanges) - 1
	require.Contains(t, last.Note, fmt.Sprintf("%d exchanges are missing here", 1000-kept))
	require.ErrorContains(t, err, fmt.Sprintf(": %d", 1000-kept))
	require.Less(t, disk.out.Len(), 2000)
}

func TestADiskThatFailsIsToldAtTheEnd(t *testing.T) {
	full := errors.New("no space left")
	disk := &stuck{began: make(chan struct{}), letGo: make(chan struct{}), err: full}
	close(disk.letGo)
	w := wirelog.NewWriter(disk, wirelog.Header{Program: "p", Begun: begun}, wirelog.Options{Every: time.Millisecond})
	<-disk.began
	w.Exchange(sent(1))
	err := w.Close()
	require.ErrorIs(t, err, full)
	require.Zero(t, disk.out.Len())
}

func TestTeeTellsAll(t *testing.T) {
	var one, two bytes.Buffer
	a := wirelog.NewWriter(&one, wirelog.Header{Program: "p", Begun: begun}, wirelog.Options{})
	b := wirelog.NewWriter(&two, wirelog.Header{Program: "p", Begun: begun}, wirelog.Options{})
	both := wirelog.Tee(a, b)
	var links sync.WaitGroup
	for range 8 { // each link tells from a goroutine of its own, yet both logs have one order
		links.Go(func() {
			for n := range 200 {
				both.Exchange(sent(n))
			}
		})
	}
	links.Wait()
	require.NoError(t, errors.Join(a.Close(), b.Close()))
	require.Equal(t, one.String(), two.String())
	require.Contains(t, one.String(), `sent "3\n"`)
}
