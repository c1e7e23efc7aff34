//go:build unix

package store_test

import (
	"syscall"
	"testing"
	"time"

	"bandproof/reports/store"
	"bandproof/reports/store/storetest"

	"github.com/stretchr/testify/require"
)

// A server that says nothing more, as behind a cut cable, is noticed.
func TestServerThatSaysNothingMore(t *testing.T) {
	server := storetest.NewServer(t)
	s := open(t, server.Place(t))
	pid := s.Backend(t)
	require.NoError(t, syscall.Kill(pid, syscall.SIGSTOP))
	defer func() { _ = syscall.Kill(pid, syscall.SIGCONT) }()
	s.SetPatience(time.Second)
	began := time.Now()
	_, err := s.Interrupted(t.Context())
	require.ErrorIs(t, err, store.ErrStore)
	require.Less(t, time.Since(began), 20*time.Second)
	s.SetPatience(30 * time.Second)
	_, err = s.Interrupted(t.Context()) // on another connection
	require.NoError(t, err)
}
