package notify_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"bandproof/procedures"
	"bandproof/procedures/decision"
	"bandproof/procedures/quantity"
	"bandproof/reports/notify"
	"bandproof/reports/store"
	"bandproof/runner"

	"github.com/stretchr/testify/require"
)

// certificates of the servers of these tests; the process trusts them.
var certFile, keyFile string

func TestMain(m *testing.M) {
	if file := os.Getenv("NOTIFY_TEST_STORE"); file != "" {
		toBeKilled(file, os.Getenv("NOTIFY_TEST_URL"))
	}
	dir, err := os.MkdirTemp("", "notify")
	if err == nil {
		err = certify(dir)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	_ = os.RemoveAll(dir)
	os.Exit(code)
}

// certify makes a certificate for 127.0.0.1 that Go's own verification takes.
func certify(dir string) error {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test (invented)"}, NotBefore: time.Now().Add(-time.Hour),
		NotAfter: time.Now().Add(24 * time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		return err
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	certFile, keyFile = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	if err := os.WriteFile(certFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600); err != nil {
		return err
	}
	if err := os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), 0o600); err != nil {
		return err
	}
	return os.Setenv("SSL_CERT_FILE", certFile)
}

// receiver is a web server whose answers a test chooses.
type receiver struct {
	t      *testing.T
	at     string // host:port, the same when it comes back
	server *http.Server

	mu     sync.Mutex
	answer func(n int, w http.ResponseWriter, q *http.Request) // n counts from 1
	tries  int
	got    []notify.Event // answered with 2xx
	heads  []http.Header
	bodies [][]byte
}

func newReceiver(t *testing.T, answer func(n int, w http.ResponseWriter, q *http.Request)) *receiver {
	t.Helper()
	r := &receiver{t: t, at: "127.0.0.1:0", answer: answer}
	r.open()
	t.Cleanup(r.close)
	return r
}

func (r *receiver) open() {
	l, err := net.Listen("tcp", r.at)
	require.NoError(r.t, err)
	r.at = l.Addr().String()
	r.server = &http.Server{Handler: http.HandlerFunc(r.serve)}
	go func() { _ = r.server.Serve(l) }()
}

func (r *receiver) close() { _ = r.server.Close() }

func (r *receiver) serve(w http.ResponseWriter, q *http.Request) {
	body, err := io.ReadAll(q.Body)
	if err != nil {
		return
	}
	r.mu.Lock()
	r.tries++
	n, answer := r.tries, r.answer
	r.mu.Unlock()
	code := &codes{w, http.StatusOK}
	answer(n, code, q)
	if code.code/100 != 2 {
		return
	}
	var e notify.Event
	if err := json.Unmarshal(body, &e); err != nil {
		r.t.Errorf("no event: %v: %s", err, body)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.got, r.heads, r.bodies = append(r.got, e), append(r.heads, q.Header), append(r.bodies, body)
}

// codes remembers what was answered.
type codes struct {
	http.ResponseWriter
	code int
}

func (c *codes) WriteHeader(code int) { c.code = code; c.ResponseWriter.WriteHeader(code) }

func (r *receiver) events() []notify.Event {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]notify.Event(nil), r.got...)
}

func (r *receiver) count() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.tries
}

func taken(int, http.ResponseWriter, *http.Request) {}

func status(code int) func(int, http.ResponseWriter, *http.Request) {
	return func(_ int, w http.ResponseWriter, _ *http.Request) { w.WriteHeader(code) }
}

// hangs until the caller is gone.
func hangs(_ int, w http.ResponseWriter, q *http.Request) {
	<-q.Context().Done()
	w.WriteHeader(http.StatusTeapot)
}

// hook is a webhook of the bench file.
func hook(at string) procedures.Notify {
	return procedures.Notify{Name: "screen", To: procedures.ToWebhook, URL: "http://" + at + "/bench"}
}

func openStore(t *testing.T, file string) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), file)
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.Close() })
	return s
}

var about = notify.About{Run: "run-1", Kind: "as-found", Procedure: "Invented counter", Unit: notify.Unit{Model: "Test Counter", Serial: "S-1"},
	Customer: "C. Customer (invented)", Invented: true}

func options(o notify.Outbox, list ...procedures.Notify) notify.Options {
	return notify.Options{Bench: "bench 1", Receivers: list, About: about, Outbox: o, Pause: func(int) time.Duration { return 5 * time.Millisecond }}
}

func start(t *testing.T, o notify.Options) *notify.Notifier {
	t.Helper()
	n, err := notify.New(t.Context(), o)
	require.NoError(t, err)
	return n
}

// patience is far more than any of these tests needs.
const patience = 30 * time.Second

func finish(t *testing.T, n *notify.Notifier) notify.Left {
	t.Helper()
	left, err := n.Close(patience)
	require.NoError(t, err)
	return left
}

func eventually(t *testing.T, what func() bool) {
	t.Helper()
	require.Eventually(t, what, patience, 2*time.Millisecond)
}

func failedPoint(id, input string) runner.Notice {
	p := runner.PointResult{Point: procedures.Point{ID: id, Input: input, Frequency: quantity.MustParse[quantity.Hertz]("900 MHz")}}
	p.Verdict = decision.Verdict{Word: decision.Fail, Reason: decision.NoCount}
	return runner.Notice{Event: procedures.PointFailed, At: time.Now(), Input: input, Point: &p, Text: "point " + id + " at 900 MHz: fail: no count"}
}

func finished() runner.Notice {
	p := *failedPoint("B-001", "B").Point
	return runner.Notice{Event: procedures.Finished, At: time.Now(), Text: string(runner.Outside),
		Result: &runner.Result{Statement: runner.Outside, Planned: 3, Points: []runner.PointResult{p}, Complete: true}}
}

// toBeKilled is a program that tells one event and is killed while it sends.
func toBeKilled(file, url string) {
	s, err := store.Open(context.Background(), file)
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	n, err := notify.New(context.Background(), options(s.Outbox(), procedures.Notify{Name: "screen", To: procedures.ToWebhook, URL: url}))
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	n.Happened(finished())
	fmt.Println("told")
	select {}
}
