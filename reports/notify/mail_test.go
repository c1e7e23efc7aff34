package notify_test

import (
	"bufio"
	"bytes"
	"encoding/json"
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

// python is the system's, which sees the packages that apt installs.
const python = "/usr/bin/python3"

func needSMTPServer(t *testing.T) {
	t.Helper()
	if os.Getenv("BANDPROOF_NO_PEERS") == "1" {
		t.Skip("NOT TESTED against an independent mail server: BANDPROOF_NO_PEERS=1 is set")
	}
	if out, err := exec.Command(python, "-c", "import aiosmtpd").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s\ninstall with: apt-get install python3-aiosmtpd (or set BANDPROOF_NO_PEERS=1 to go without)", err, out)
	}
}

// taker is a mail server in a process of its own.
type taker struct {
	at string

	mu    sync.Mutex
	mails []mailTaken
}

type mailTaken struct {
	From, Subject, ID, Text string
	To                      []string
	Encrypted, Login        bool
}

func (x *taker) got() []mailTaken {
	x.mu.Lock()
	defer x.mu.Unlock()
	return append([]mailTaken(nil), x.mails...)
}

func mailServer(t *testing.T, mode string, login ...string) *taker {
	t.Helper()
	needSMTPServer(t)
	c := exec.Command(python, append([]string{"testdata/smtpd.py", mode, certFile, keyFile}, login...)...)
	var complaints bytes.Buffer
	c.Stderr = &complaints
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	x := &taker{}
	lines := bufio.NewScanner(out)
	require.True(t, lines.Scan(), "the server says its port")
	x.at = "127.0.0.1:" + lines.Text()
	var reading sync.WaitGroup
	reading.Go(func() {
		for lines.Scan() {
			var m mailTaken
			if err := json.Unmarshal(lines.Bytes(), &m); err != nil {
				t.Errorf("%v: %s", err, lines.Text())
			}
			x.mu.Lock()
			x.mails = append(x.mails, m)
			x.mu.Unlock()
		}
	})
	t.Cleanup(func() {
		_ = c.Process.Kill()
		reading.Wait()
		_ = c.Wait()
		if t.Failed() {
			t.Log(complaints.String())
		}
	})
	return x
}

func mailTo(at string, recipients ...string) procedures.Notify {
	return procedures.Notify{To: procedures.ToMail, Server: at, From: "bench@example.org", Recipients: recipients}
}

func TestMail(t *testing.T) {
	for _, c := range []struct {
		name, mode, tls string
		login           bool
	}{
		{"STARTTLS", "starttls", "", false},
		{"STARTTLS with login", "starttls", "", true},
		{"TLS from the first byte with login", "tls", procedures.ImplicitTLS, true},
		{"no TLS", "none", procedures.NoTLS, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			var login []string
			to := mailTo("", "A. Example <a@example.org>")
			to.TLS = c.tls
			if c.login {
				login = []string{"bench:s3cr3t"}
				to.User, to.PasswordEnv = "bench", "PASSWORD"
			}
			x := mailServer(t, c.mode, login...)
			to.Server = x.at
			s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
			o := options(s.Outbox(), to)
			o.Getenv = func(string) (string, bool) { return "s3cr3t", true }
			n := start(t, o)
			n.Happened(failedPoint("A-001", "A")) // worth no mail of its own
			n.Happened(finished())
			require.Equal(t, notify.Left{}, finish(t, n))
			eventually(t, func() bool { return len(x.got()) == 1 })
			m := x.got()[0]
			require.Equal(t, "bench@example.org", m.From)
			require.Equal(t, []string{"a@example.org"}, m.To)
			require.Equal(t, "Test Counter S-1: finished", m.Subject)
			require.Equal(t, c.mode != "none", m.Encrypted)
			require.Equal(t, c.login, m.Login)
			m.Text = strings.ReplaceAll(m.Text, "\r\n", "\n")
			require.Contains(t, m.Text, "statement: outside tolerance\n")
			require.Contains(t, m.Text, "0 of 3 points passed, 1 failed, 0 not judged, 2 not taken\n  B-001 900 MHz: fail: no count\n")
			require.Contains(t, m.Text, "INVENTED DATA")
			require.NotContains(t, m.Text, about.Customer)
			list, err := s.Outbox().List(t.Context(), true)
			require.NoError(t, err)
			var e notify.Event
			require.NoError(t, json.Unmarshal(list[0].Event, &e))
			require.Equal(t, "<"+e.ID+"@bandproof.invalid>", m.ID)
		})
	}
}

// Mail never goes unencrypted unless the bench file says so, and a server that
// another one could stand in for is not trusted.
func TestMailIsNotSentInTheClear(t *testing.T) {
	x := mailServer(t, "none")
	s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
	n := start(t, options(s.Outbox(), mailTo(x.at, "a@example.org")))
	n.Happened(finished())
	require.Equal(t, 1, finish(t, n).Waiting)
	list, err := s.Outbox().List(t.Context(), false)
	require.NoError(t, err)
	require.Contains(t, list[0].LastError, "STARTTLS")

	x = mailServer(t, "starttls")
	other := strings.Replace(x.at, "127.0.0.1", "localhost", 1) // not in the certificate
	err = notify.Try(t.Context(), notify.Options{}, mailTo(other, "a@example.org"))
	require.ErrorContains(t, err, "certificate")
	require.NoError(t, notify.Try(t.Context(), notify.Options{}, mailTo(x.at, "a@example.org")))
	require.Len(t, x.got(), 1)
}

// One address that is refused keeps the mail from nobody else; one that is put
// off gets it later.
func TestMailRecipients(t *testing.T) {
	x := mailServer(t, "starttls")
	s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
	n := start(t, options(s.Outbox(), mailTo(x.at, "a@example.org", "never@example.org", "later@example.org")))
	n.Happened(finished())
	eventually(t, func() bool { return len(x.got()) == 2 })
	eventually(t, func() bool {
		list, err := s.Outbox().List(t.Context(), false)
		require.NoError(t, err)
		return len(list) == 1 && list[0].GivenUp && strings.Contains(list[0].LastError, "no such person")
	})
	require.Equal(t, notify.Left{GivenUp: 1}, finish(t, n))
}

func TestMailWrongPassword(t *testing.T) {
	x := mailServer(t, "starttls", "bench:right")
	to := mailTo(x.at, "a@example.org")
	to.User, to.PasswordEnv = "bench", "PASSWORD"
	s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
	o := options(s.Outbox(), to)
	o.Getenv = func(string) (string, bool) { return "wr0ng", true }
	n := start(t, o)
	n.Happened(finished())
	require.Equal(t, notify.Left{GivenUp: 1}, finish(t, n))
	list, err := s.Outbox().List(t.Context(), false)
	require.NoError(t, err)
	require.Contains(t, list[0].LastError, "535")
	require.NotContains(t, list[0].LastError, "wr0ng")
}

// A unit that fails everywhere is one mail for each input, not one a point, if
// failed points are asked for at all.
func TestMailOfFailedPoints(t *testing.T) {
	s := openStore(t, filepath.Join(t.TempDir(), "s.db"))
	to := mailTo("127.0.0.1:1", "a@example.org")
	to.Events = []string{procedures.PointFailed}
	n := start(t, options(s.Outbox(), to))
	for _, id := range []string{"A-001", "A-002", "B-001", "B-002", "B-003"} {
		n.Happened(failedPoint(id, id[:1]))
	}
	_, err := n.Close(time.Second)
	require.NoError(t, err)
	list, err := s.Outbox().List(t.Context(), true)
	require.NoError(t, err)
	require.Len(t, list, 2)
}
