package store

import (
	"bytes"
	"compress/gzip"
	"testing"

	"github.com/stretchr/testify/require"
)

// A few bytes that unpack to a great many are refused, not unpacked.
func TestUnpackingIsBounded(t *testing.T) {
	pack := func(size int) *bytes.Buffer {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		_, err := z.Write(make([]byte, size))
		require.NoError(t, err)
		require.NoError(t, z.Close())
		return &b
	}
	text, err := unpacked(pack(1000), 1000)
	require.NoError(t, err)
	require.Len(t, text, 1000)
	_, err = unpacked(pack(1001), 1000)
	require.ErrorContains(t, err, "longer than 1000 bytes")
}
