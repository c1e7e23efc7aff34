package record

import (
	"encoding/hex"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The text of a seal is what any maker of canonical JSON makes of the same members.
func TestTextOfASeal(t *testing.T) {
	hash := rapid.Map(rapid.SliceOfN(rapid.Byte(), 32, 32), hex.EncodeToString)
	rapid.Check(t, func(t *rapid.T) {
		s := Seal{Schema: SealSchema, ID: rapid.String().Draw(t, "id"), Record: hash.Draw(t, "record"), Chain: rapid.String().Draw(t, "chain"),
			Number: rapid.IntRange(1, 1<<53).Draw(t, "number"), Previous: rapid.OneOf(rapid.Just(""), hash).Draw(t, "previous"), Key: hash.Draw(t, "key"),
			Sealed: time.Unix(rapid.Int64Range(0, 1<<34).Draw(t, "second"), rapid.Int64Range(0, 999_999_999).Draw(t, "nanosecond")).UTC(),
			Parts:  rapid.MapOf(rapid.String(), rapid.String()).Draw(t, "parts")}
		parts, err := canonical(s.Parts)
		if err != nil {
			t.Fatal(err)
		}
		want, err := canonical(s)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := s.text(parts); err != nil || string(got) != string(want) {
			t.Fatalf("%s (%v), want %s", got, err, want)
		}
	})
	_, err := Seal{Sealed: time.Date(10_000, 1, 1, 0, 0, 0, 0, time.UTC)}.text([]byte("{}"))
	require.Error(t, err, "a year that JSON has no form for")
}
