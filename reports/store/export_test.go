package store

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// SetPatience changes how long a statement may take.
func (s *Store) SetPatience(d time.Duration) { s.dialect.patience = d }

// Backend is the server's process for the only connection that is open.
func (s *Store) Backend(tb testing.TB) (pid int) {
	require.NoError(tb, s.first(tb.Context(), "SELECT pg_backend_pid()", nil, &pid))
	return pid
}

// Setting is what holds on a connection of the store.
func (s *Store) Setting(tb testing.TB, name string) (is string) {
	require.NoError(tb, s.first(tb.Context(), "SELECT current_setting($1)", []any{name}, &is))
	return is
}
