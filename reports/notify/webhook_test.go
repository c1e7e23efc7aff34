package notify_test

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/reports/notify"

	"github.com/stretchr/testify/require"
)

func TestWebhookGetsTheEvent(t *testing.T) {
	r := newReceiver(t, taken)
	s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
	to := hook(r.at)
	to.TokenEnv, to.SignatureEnv = "TOKEN", "KEY"
	o := options(s.Outbox(), to)
	key := []byte("thirty-two random bytes, invented")
	o.Getenv = func(name string) (string, bool) {
		return map[string]string{"TOKEN": "abc", "KEY": "whsec_" + base64.StdEncoding.EncodeToString(key)}[name], true
	}
	n := start(t, o)
	n.Happened(failedPoint("B-001", "B"))
	n.Happened(finished())
	require.Equal(t, notify.Left{}, finish(t, n))

	got := r.events()
	require.Len(t, got, 2)
	e := got[0]
	require.Equal(t, notify.EventSchema, e.Schema)
	require.Equal(t, "point failed", e.Event)
	require.Equal(t, "bench 1", e.Bench)
	require.Equal(t, "run-1", e.Run)
	require.Equal(t, &notify.Unit{Model: "Test Counter", Serial: "S-1"}, e.Unit)
	require.Equal(t, &notify.Point{ID: "B-001", Frequency: "900 MHz", Verdict: "fail: no count", LimitHz: "0"}, e.Point)
	require.Empty(t, e.Customer, "no customer unless asked for")
	require.True(t, e.Invented)
	require.Equal(t, "outside tolerance", got[1].Outcome.Statement)
	require.Equal(t, []int{1, 2}, []int{got[1].Outcome.Failed, got[1].Outcome.NotTaken})
	require.Len(t, got[1].Outcome.FailedPoints, 1)

	h := r.heads[0]
	require.Equal(t, "application/json", h.Get("Content-Type"))
	require.Equal(t, "Bearer abc", h.Get("Authorization"))
	require.Equal(t, `"`+e.ID+`"`, h.Get("Idempotency-Key"))
	require.Equal(t, e.ID, h.Get("Webhook-Id"))
	// The signature as a receiver verifies it (Standard Webhooks 1.0.0,
	// "verifying webhook authenticity").
	m := hmac.New(sha256.New, key)
	m.Write([]byte(h.Get("Webhook-Id") + "." + h.Get("Webhook-Timestamp") + "." + string(r.bodies[0])))
	require.Equal(t, "v1,"+base64.StdEncoding.EncodeToString(m.Sum(nil)), h.Get("Webhook-Signature"))
}

func TestCustomerOnlyWhereAskedFor(t *testing.T) {
	r := newReceiver(t, taken)
	s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
	to := hook(r.at)
	to.Customer = true
	n := start(t, options(s.Outbox(), to))
	n.Happened(finished())
	finish(t, n)
	require.Equal(t, about.Customer, r.events()[0].Customer)
}

// Whatever a receiver does: an event arrives once, or the receiver said no.
func TestReceivers(t *testing.T) {
	first := func(n int, bad func(int, http.ResponseWriter, *http.Request)) func(int, http.ResponseWriter, *http.Request) {
		return func(k int, w http.ResponseWriter, q *http.Request) {
			if k <= n {
				bad(k, w, q)
			}
		}
	}
	for _, c := range []struct {
		name   string
		answer func(int, http.ResponseWriter, *http.Request)
		tries  int
		why    string // of giving up; "" where it arrives
	}{
		{"well", taken, 1, ""},
		{"no content", status(204), 1, ""},
		{"overloaded at first", first(3, status(500)), 4, ""},
		{"gateway that has nobody behind it", first(2, status(502)), 3, ""},
		{"time-out", first(1, status(408)), 2, ""},
		{"too many", first(1, func(_ int, w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Retry-After", "1")
			w.WriteHeader(429)
		}), 2, ""},
		{"slow", first(1, hangs), 2, ""},
		{"closes", first(2, func(_ int, w http.ResponseWriter, _ *http.Request) {
			w.WriteHeader(500) // not counted as taken
			panic(http.ErrAbortHandler)
		}), 3, ""},
		{"not there", status(404), 1, "the server answers 404 Not Found"},
		{"wants another token", func(_ int, w http.ResponseWriter, _ *http.Request) {
			http.Error(w, "no\x1b[2J such token\nand more", http.StatusUnauthorized)
		}, 1, "the server answers 401 Unauthorized: no[2J such token"},
		{"moved", func(_ int, w http.ResponseWriter, q *http.Request) {
			http.Redirect(w, q, "http://192.0.2.1/", http.StatusFound)
		}, 1,
			"the server answers 302 Found, which sends it elsewhere; state that address in the bench file"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newReceiver(t, c.answer)
			s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
			o := options(s.Outbox(), hook(r.at))
			if o.Timeout = patience; c.name == "slow" {
				o.Timeout = time.Second
			}
			var mu sync.Mutex
			var said []string
			o.Say = func(text string) { mu.Lock(); defer mu.Unlock(); said = append(said, text) }
			n := start(t, o)
			n.Happened(finished())
			eventually(t, func() bool {
				list, err := s.Outbox().List(t.Context(), true)
				require.NoError(t, err)
				return len(list) == 1 && (!list[0].Delivered.IsZero() || list[0].GivenUp)
			})
			left := finish(t, n)
			list, err := s.Outbox().List(t.Context(), true)
			require.NoError(t, err)
			require.Zero(t, left.Waiting)
			if c.why != "" {
				require.Equal(t, 1, left.GivenUp)
				require.Equal(t, c.why, list[0].LastError)
				require.Len(t, said, 1)
				require.Contains(t, said[0], c.why)
				require.Empty(t, r.events())
				require.Equal(t, c.tries, r.count())
				return
			}
			require.Empty(t, said)
			require.GreaterOrEqual(t, r.count(), c.tries)
			require.Len(t, r.events(), 1)
			require.Equal(t, r.count(), list[0].Tries)
			if c.name == "too many" {
				require.GreaterOrEqual(t, list[0].Delivered.Sub(list[0].Added), time.Second, "as the server asked")
			}
		})
	}
}

// A receiver that is away loses nothing, and gets all in order when it is back,
// from the same run or from the next program.
func TestReceiverAway(t *testing.T) {
	r := newReceiver(t, taken)
	r.close()
	file := filepath.Join(t.TempDir(), "s.db")
	s := openStore(t, file)
	n := start(t, options(s.Outbox(), hook(r.at)))
	for _, id := range []string{"B-001", "B-002", "B-003"} {
		n.Happened(failedPoint(id, "B"))
	}
	list := func() []notify.Waiting {
		list, err := s.Outbox().List(t.Context(), false)
		require.NoError(t, err)
		return list
	}
	eventually(t, func() bool { return list()[0].Tries > 2 })
	require.Zero(t, list()[1].Tries, "the first one goes first")
	require.Contains(t, list()[0].LastError, "connection refused")
	r.open()
	eventually(t, func() bool { return len(list()) == 0 })
	r.close()
	n.Happened(finished())
	left := finish(t, n)
	require.Equal(t, notify.Left{Waiting: 1}, left)

	r.open()
	left, err := notify.Deliver(t.Context(), options(s.Outbox()), patience) // another bench file
	require.NoError(t, err)
	require.Equal(t, notify.Left{}, left)
	var ids []string
	for _, e := range r.events() {
		if e.Point != nil {
			ids = append(ids, e.Point.ID)
		} else {
			ids = append(ids, e.Event)
		}
	}
	require.Equal(t, []string{"B-001", "B-002", "B-003", "finished"}, ids)
}

// A bench file that was mended sends what waits to where it says now; what was
// refused is sent again when told so.
func TestMendedReceiver(t *testing.T) {
	wrong, right := newReceiver(t, status(404)), newReceiver(t, taken)
	s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
	n := start(t, options(s.Outbox(), hook(wrong.at)))
	n.Happened(finished())
	require.Equal(t, notify.Left{GivenUp: 1}, finish(t, n))
	left, err := notify.Deliver(t.Context(), options(s.Outbox(), hook(right.at)), patience)
	require.NoError(t, err)
	require.Equal(t, notify.Left{GivenUp: 1}, left)
	require.NoError(t, s.Outbox().Retry(t.Context(), time.Now()))
	left, err = notify.Deliver(t.Context(), options(s.Outbox(), hook(right.at)), patience)
	require.NoError(t, err)
	require.Equal(t, notify.Left{}, left)
	require.Len(t, right.events(), 1)
}

// A receiver that hangs holds up neither the run nor its end, nor others.
func TestHangingReceiver(t *testing.T) {
	slow, well := newReceiver(t, hangs), newReceiver(t, taken)
	s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
	other := hook(well.at)
	other.Name = "other"
	o := options(s.Outbox(), hook(slow.at), other)
	o.Timeout = time.Hour
	n := start(t, o)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for range 20 {
			n.Happened(finished())
		}
	}()
	select {
	case <-done:
	case <-time.After(patience):
		t.Fatal("the run waits for the receiver")
	}
	eventually(t, func() bool { return len(well.events()) == 20 && slow.count() == 1 })
	left, err := n.Close(50 * time.Millisecond)
	require.NoError(t, err)
	require.Equal(t, 20, left.Waiting)
	list, err := s.Outbox().List(t.Context(), false)
	require.NoError(t, err)
	require.Equal(t, "cut off when the run ended", list[0].LastError)
}

func TestAKilledProgramLosesNothing(t *testing.T) {
	r := newReceiver(t, hangs)
	file := filepath.Join(t.TempDir(), "s.db")
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), "NOTIFY_TEST_STORE="+file, "NOTIFY_TEST_URL=http://"+r.at+"/")
	require.NoError(t, c.Start())
	eventually(t, func() bool { return r.count() == 1 })
	require.NoError(t, c.Process.Kill())
	_ = c.Wait()
	r.close()
	r.mu.Lock()
	r.answer = taken
	r.mu.Unlock()
	r.open()
	left, err := notify.Deliver(t.Context(), options(openStore(t, file).Outbox()), patience)
	require.NoError(t, err)
	require.Equal(t, notify.Left{}, left)
	require.Len(t, r.events(), 1)
	require.Equal(t, "finished", r.events()[0].Event)
}

// Two programs on one store send each event once.
func TestTwoProgramsOneStore(t *testing.T) {
	r := newReceiver(t, taken)
	r.close()
	file := filepath.Join(t.TempDir(), "s.db")
	first := openStore(t, file)
	n := start(t, options(first.Outbox(), hook(r.at)))
	for range 10 {
		n.Happened(finished())
	}
	require.Equal(t, notify.Left{Waiting: 10}, finish(t, n))
	r.open()
	var both sync.WaitGroup
	for _, s := range []notify.Outbox{first.Outbox(), openStore(t, file).Outbox()} {
		o := options(s)
		o.Timeout = patience
		n := start(t, o)
		both.Go(func() {
			eventually(t, func() bool { return len(r.events()) == 10 })
			_, _ = n.Close(patience)
		})
	}
	both.Wait()
	ids := map[string]int{}
	for _, e := range r.events() {
		ids[e.ID]++
	}
	require.Len(t, ids, 10)
	require.Equal(t, 10, r.count())
}

// No secret is written anywhere, whatever goes wrong.
func TestSecretsStayInTheEnvironment(t *testing.T) {
	gone := newReceiver(t, taken)
	gone.close()
	file := filepath.Join(t.TempDir(), "s.db")
	s := openStore(t, file)
	to := procedures.Notify{To: procedures.ToWebhook, URLEnv: "ADDRESS", TokenEnv: "TOKEN"}
	o := options(s.Outbox(), to)
	env := map[string]string{"ADDRESS": "http://" + gone.at + "/hooks/s3cr3t?also=s3cr3t", "TOKEN": "s3cr3t"}
	o.Getenv = func(name string) (string, bool) { v, ok := env[name]; return v, ok }
	n := start(t, o)
	n.Happened(finished())
	eventually(t, func() bool {
		list, err := s.Outbox().List(t.Context(), false)
		require.NoError(t, err)
		return strings.Contains(list[0].LastError, "refused")
	})
	finish(t, n)
	delete(env, "TOKEN")
	_, err := notify.Deliver(t.Context(), o, patience)
	require.NoError(t, err)
	list, err := s.Outbox().List(t.Context(), false)
	require.NoError(t, err)
	require.Equal(t, "environment variable TOKEN is not set; it must hold the secret that the bench file leaves to it", list[0].LastError)
	require.Len(t, notify.Problems(o), 1)
	env["TOKEN"], env["ADDRESS"] = "s3cr3t", "http://192.0.2.1/s3cr3t"
	require.ErrorContains(t, notify.Problems(o)[0], "what environment variable ADDRESS holds is not encrypted")
	require.NotContains(t, notify.Problems(o)[0].Error(), "s3cr3t")
	require.NoError(t, s.Close())
	files, err := filepath.Glob(file + "*")
	require.NoError(t, err)
	for _, f := range files {
		text, err := os.ReadFile(f)
		require.NoError(t, err)
		require.NotContains(t, string(text), "s3cr3t")
	}
}

func TestOnlyTheEventsThatAreWanted(t *testing.T) {
	r := newReceiver(t, taken)
	s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
	to := hook(r.at)
	to.Events = []string{procedures.Finished}
	n := start(t, options(s.Outbox(), to, procedures.Notify{To: procedures.ToBell}))
	n.Happened(failedPoint("A-001", "A"))
	n.Happened(finished())
	finish(t, n)
	require.Len(t, r.events(), 1)
}

func TestTry(t *testing.T) {
	r := newReceiver(t, taken)
	require.NoError(t, notify.Try(t.Context(), notify.Options{Bench: "bench 1"}, hook(r.at)))
	require.Equal(t, "test", r.events()[0].Event)
	r.close()
	require.ErrorContains(t, notify.Try(t.Context(), notify.Options{}, hook(r.at)), "refused")
}

// A server that repeats what it was sent gets no secret into the outbox, and one
// that sends control characters in its status none to the terminal.
func TestAnswersShowNoSecret(t *testing.T) {
	const token = "s3cret-token"
	r := newReceiver(t, func(_ int, w http.ResponseWriter, q *http.Request) {
		http.Error(w, strings.Repeat("x", 290)+" "+q.Header.Get("Authorization")+" at "+q.URL.RequestURI(), http.StatusForbidden)
	})
	s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
	to := hook(r.at)
	address := to.URL + "/hook?key=hidden"
	to.URL, to.URLEnv, to.TokenEnv = "", "URL", "TOKEN"
	o := options(s.Outbox(), to)
	o.Getenv = func(name string) (string, bool) {
		return map[string]string{"TOKEN": token, "URL": address}[name], true
	}
	n := start(t, o)
	n.Happened(finished())
	finish(t, n)
	list, err := s.Outbox().List(t.Context(), true)
	require.NoError(t, err)
	require.True(t, list[0].GivenUp, list[0].LastError)
	require.Contains(t, list[0].LastError, "the server answers 403 Forbidden: xxx")
	for _, part := range []string{token, "s3cr", "hidden", "key="} {
		require.NotContains(t, list[0].LastError, part)
	}
}
