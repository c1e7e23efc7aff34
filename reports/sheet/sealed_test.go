package sheet

import (
	"testing"

	"bandproof/reports/record"

	"github.com/stretchr/testify/require"
)

// The fingerprint of a key is the beginning of its SHA-256; the value below was
// had by: printf '%064d' 0 | xxd -r -p | sha256sum.
func TestFingerprintOfASealedRecord(t *testing.T) {
	r := run{Record: record.Record{ID: "a"}}
	s := (&Sheet{runs: []run{r}}).Sealed([]record.Seal{{ID: "a", Record: "12ab", Key: "0000000000000000000000000000000000000000000000000000000000000000"}}, "ff", 3)
	hash, key := s.fingerprint(r)
	require.Equal(t, "12ab", hash)
	require.Equal(t, "6668-7aad-f862-bd77", key)
	require.Equal(t, []any{3, "ff"}, s.chain.args)
	hash, key = s.fingerprint(run{Record: record.Record{ID: "b"}})
	require.Empty(t, hash+key)
}
