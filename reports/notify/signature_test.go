package notify

import (
	"testing"
	"time"
	"unicode"

	"github.com/stretchr/testify/require"
)

// The test vector that the Standard Webhooks reference libraries share.
func TestSignatureAsPublished(t *testing.T) {
	key, err := signingKey("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
	require.NoError(t, err)
	require.Equal(t, "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
		signature(key, "msg_p5jXN8AQM9LWM0D4loKWxJek", time.Unix(1614265330, 0), []byte(`{"test": 2432232314}`)))
	for _, bad := range []string{"not Base64!", "c2hvcnQ=", "whsec_"} {
		_, err := signingKey(bad)
		require.ErrorContains(t, err, "expected at least 24 random bytes", bad)
	}
}

func TestPausesGrow(t *testing.T) {
	for failures, want := range map[int]time.Duration{1: 2 * time.Second, 2: 6 * time.Second, 4: 54 * time.Second, 9: 15 * time.Minute, 100000: 15 * time.Minute} {
		for range 100 {
			got := pause(failures)
			require.GreaterOrEqual(t, got, want/2, failures)
			require.LessOrEqual(t, got, want*3/2+1, failures)
		}
	}
}

func TestRetryAfter(t *testing.T) {
	require.Equal(t, 90*time.Second, retryAfter("90"))
	require.InDelta(t, time.Hour, retryAfter(time.Now().Add(time.Hour).UTC().Format("Mon, 02 Jan 2006 15:04:05 GMT")), float64(2*time.Second))
	for _, nothing := range []string{"", "-1", "soon", "Mon, 02 Jan 2006 15:04:05 GMT"} {
		require.Zero(t, retryAfter(nothing), nothing)
	}
}

// What a server says of when to come back, or of why not, is no danger.
func FuzzAnswers(f *testing.F) {
	for _, text := range []string{"120", "Wed, 25 Nov 2026 09:00:00 GMT", "-1", "99999999999999999999", "no\x1b[2J\u202e\nmore", ""} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if d := retryAfter(text); d < 0 {
			t.Errorf("%q: come back %s ago", text, -d)
		}
		for _, r := range oneLine(text) {
			if !unicode.IsGraphic(r) {
				t.Errorf("%q shows %q", text, r)
			}
		}
		if key, err := signingKey(text); err == nil && len(key) < leastKey {
			t.Errorf("%q gives a key of %d bytes", text, len(key))
		}
	})
}
