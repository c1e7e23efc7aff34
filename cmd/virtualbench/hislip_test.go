//go:build linux

package main

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"bandproof/drivers/link"
)

// Three instruments behind one port, each asked by its sub-address.
func TestHiSLIPServesSeveralInstrumentsOnOnePort(t *testing.T) {
	places := served(t, "--hislip", "counter=127.0.0.1:0", "--hislip", "MW=127.0.0.1:0,hislip7", "--hislip", "LF=127.0.0.1:0")
	require.Contains(t, places["counter"], "::hislip0,")
	require.Contains(t, places["MW"], "::hislip7,")
	require.Contains(t, places["LF"], "::hislip1,")
	seen := map[string]bool{}
	for name, resource := range places {
		l, err := link.Opener{}.Open(context.Background(), link.Config{Address: resource})
		require.NoError(t, err, name)
		answer, err := l.Query(context.Background(), []byte("*IDN?"))
		require.NoError(t, err, name)
		require.NoError(t, l.Close())
		seen[string(answer)] = true
	}
	require.Len(t, seen, 3)
}
