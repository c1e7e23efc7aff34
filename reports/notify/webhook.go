package notify

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"bandproof/procedures"
	"bandproof/reports/record"

	"github.com/cenkalti/backoff/v5"
)

// webhook posts events as JSON. Headers follow the Standard Webhooks
// specification (webhook-id, webhook-timestamp, webhook-signature), and
// Idempotency-Key carries the id as the draft of the IETF has it.
type webhook struct {
	url   string
	token string
	key   []byte // of the signature; nil: none
}

func newWebhook(r procedures.Notify, secret func(string) (string, error)) (*webhook, error) {
	address, err := secret(r.URLEnv)
	if err != nil {
		return nil, err
	}
	if r.URLEnv == "" {
		address = r.URL
	}
	w := &webhook{url: address}
	if w.token, err = secret(r.TokenEnv); err != nil {
		return nil, err
	}
	if _, err := procedures.WebhookURL(address, w.token != ""); err != nil {
		return nil, fmt.Errorf("what environment variable %s holds %w", r.URLEnv, err)
	}
	text, err := secret(r.SignatureEnv)
	if err != nil {
		return nil, err
	}
	if text != "" {
		if w.key, err = signingKey(text); err != nil {
			return nil, fmt.Errorf("environment variable %s: %w", r.SignatureEnv, err)
		}
	}
	return w, nil
}

// leastKey is the shortest key in bytes that the specification allows.
const leastKey = 24

// signingKey reads the key of signatures: Base64, with or without "whsec_".
func signingKey(text string) ([]byte, error) {
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(text, "whsec_"))
	if err != nil || len(key) < leastKey {
		return nil, errors.New("does not hold a signing key; expected at least 24 random bytes in Base64, as \"openssl rand -base64 32\" makes them")
	}
	return key, nil
}

// signature of a message (Standard Webhooks, symmetric): HMAC-SHA256 over id,
// time and body.
func signature(key []byte, id string, at time.Time, body []byte) string {
	h := hmac.New(sha256.New, key)
	fmt.Fprintf(h, "%s.%d.", id, at.Unix())
	h.Write(body)
	return "v1," + base64.StdEncoding.EncodeToString(h.Sum(nil))
}

// client follows no redirect: the address that gets token and signature is the
// one that the bench file names.
var client = &http.Client{Transport: transport(), CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}

func transport() *http.Transport {
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.DisableKeepAlives = true // events are rare
	return t
}

func (w *webhook) send(ctx context.Context, e Event) error {
	body, err := json.Marshal(e)
	if err != nil {
		return backoff.Permanent(err)
	}
	q, err := http.NewRequestWithContext(ctx, http.MethodPost, w.url, bytes.NewReader(body))
	if err != nil {
		return bare(err)
	}
	now := time.Now()
	q.Header.Set("Content-Type", "application/json")
	q.Header.Set("User-Agent", "bandproof/"+record.Version)
	q.Header.Set("Idempotency-Key", strconv.Quote(e.ID))
	q.Header.Set("webhook-id", e.ID)
	q.Header.Set("webhook-timestamp", strconv.FormatInt(now.Unix(), 10))
	if w.token != "" {
		q.Header.Set("Authorization", "Bearer "+w.token)
	}
	if w.key != nil {
		q.Header.Set("webhook-signature", signature(w.key, e.ID, now, body))
	}
	a, err := client.Do(q)
	if err != nil {
		return bare(err)
	}
	defer func() { _ = a.Body.Close() }()
	return judge(a, w.secrets()...)
}

// secrets are what no error text may show, also where a server repeats it.
func (w *webhook) secrets() []string {
	list := []string{w.token}
	if u, err := url.Parse(w.url); err == nil {
		list = append(list, w.url, u.RequestURI())
	}
	// "/" alone and the like say nothing
	return slices.DeleteFunc(list, func(s string) bool { return len(s) < 2 })
}

// hidden takes secrets out of a text, and what is not fit to be shown.
func hidden(text string, secrets []string) string {
	for _, s := range secrets {
		text = strings.ReplaceAll(text, s, "…")
	}
	return oneLine(text)
}

// bare takes the address, which may be a secret, off an error.
func bare(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return u.Err
	}
	return err
}

// Of an answer so many bytes are read, and so many characters shown.
const (
	mostAnswer = 8 << 10
	mostShown  = 300
)

func cut(text string) string {
	r := []rune(text)
	return string(r[:min(len(r), mostShown)])
}

// judge tells what an answer means: 2xx delivered; 408, 429 and 5xx to be tried
// again; all else is final.
func judge(a *http.Response, secrets ...string) error {
	text, _ := io.ReadAll(io.LimitReader(a.Body, mostAnswer))
	status := cut(hidden(a.Status, secrets))
	err := fmt.Errorf("the server answers %s", status)
	if line := cut(hidden(string(text), secrets)); line != "" {
		err = fmt.Errorf("%w: %s", err, line)
	}
	switch {
	case a.StatusCode/100 == 2:
		return nil
	case a.StatusCode/100 == 3:
		return backoff.Permanent(fmt.Errorf("the server answers %s, which sends it elsewhere; state that address in the bench file", status))
	case a.StatusCode == http.StatusRequestTimeout || a.StatusCode == http.StatusTooManyRequests || a.StatusCode/100 == 5:
		if d := retryAfter(a.Header.Get("Retry-After")); d > 0 {
			return fmt.Errorf("%w (%w)", err, &backoff.RetryAfterError{Duration: d})
		}
		return err
	}
	return backoff.Permanent(err)
}

// retryAfter reads the header of that name (RFC 9110, 10.2.3): seconds or a date.
func retryAfter(text string) time.Duration {
	if s, err := strconv.ParseUint(text, 10, 31); err == nil {
		return time.Duration(s) * time.Second
	}
	if at, err := http.ParseTime(text); err == nil {
		return max(time.Until(at), 0)
	}
	return 0
}

// oneLine is the first line of an answer, as far as it can be shown.
func oneLine(text string) string {
	line, _, _ := strings.Cut(strings.TrimSpace(text), "\n")
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if !unicode.IsGraphic(r) {
			return -1
		}
		return r
	}, line))
}
