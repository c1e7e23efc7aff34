package procedures

import (
	"fmt"
	"maps"
	"net"
	"net/mail"
	"net/netip"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Notify is one way to tell somebody what happens: the bell of the terminal, a
// web server that takes a JSON document (webhook), or mail. Secrets stand in
// environment variables that the bench file names, since its text is kept in
// every record.
type Notify struct {
	Name   string   `toml:"name,omitempty" json:"name,omitempty" jsonschema_description:"Name of the receiver; bell, webhook or mail unless stated."`
	To     string   `toml:"to" json:"to" jsonschema:"enum=bell,enum=webhook,enum=mail" jsonschema_description:"bell: the terminal's; webhook: JSON by HTTP POST; mail: by SMTP."`
	Events []string `toml:"events,omitempty" json:"events,omitempty" jsonschema:"enum=prompt waiting,enum=point failed,enum=input put off,enum=input given up,enum=finished,enum=stopped,enum=bench error" jsonschema_description:"Which events: prompt waiting, point failed, input put off, input given up, finished, stopped, bench error. Unless stated all for a webhook; prompt waiting and the end of a run for bell and mail."`
	// Customer: unless it is set, events name the unit but not whose it is.
	Customer bool `toml:"customer,omitempty" json:"customer,omitempty" jsonschema_description:"Name the customer too; not unless stated."`

	URL          string `toml:"url,omitempty" json:"url,omitempty" jsonschema_description:"Webhook: where events go, without user, password or query; give this or url_env."`
	URLEnv       string `toml:"url_env,omitempty" json:"url_env,omitempty" jsonschema_description:"Webhook: environment variable that holds the address, where that is itself a secret."`
	TokenEnv     string `toml:"token_env,omitempty" json:"token_env,omitempty" jsonschema_description:"Webhook: environment variable that holds a bearer token (RFC 6750)."`
	SignatureEnv string `toml:"signature_env,omitempty" json:"signature_env,omitempty" jsonschema_description:"Webhook: environment variable that holds the key, in Base64, for signatures by the Standard Webhooks specification."`

	Server      string   `toml:"server,omitempty" json:"server,omitempty" jsonschema_description:"Mail: server and port, such as mail.example.org:587."`
	TLS         string   `toml:"tls,omitempty" json:"tls,omitempty" jsonschema:"enum=starttls,enum=tls,enum=none" jsonschema_description:"Mail: starttls (RFC 3207, required of the server) unless stated; tls from the first byte (RFC 8314); none only within one's own network and without a password."`
	User        string   `toml:"user,omitempty" json:"user,omitempty" jsonschema_description:"Mail: user name, where the server wants one."`
	PasswordEnv string   `toml:"password_env,omitempty" json:"password_env,omitempty" jsonschema_description:"Mail: environment variable that holds the password."`
	From        string   `toml:"from,omitempty" json:"from,omitempty" jsonschema_description:"Mail: address of the sender."`
	Recipients  []string `toml:"recipients,omitempty" json:"recipients,omitempty" jsonschema_description:"Mail: addresses of the recipients."`
}

// Ways to tell somebody.
const (
	ToBell    = "bell"
	ToWebhook = "webhook"
	ToMail    = "mail"
)

// Ways in which mail is kept from being read on its way to the server.
const (
	StartTLS    = "starttls"
	ImplicitTLS = "tls"
	NoTLS       = "none"
)

// Events that somebody may be told of. Each run ends with one of the last three.
const (
	PromptWaiting = "prompt waiting" // a question has waited for its answer for a while
	PointFailed   = "point failed"
	InputPutOff   = "input put off"  // nobody answered; it is offered once more
	InputGivenUp  = "input given up" // its points are not judged
	Finished      = "finished"       // every planned point was taken
	Stopped       = "stopped"        // by the operator, or because nobody answered
	BenchError    = "bench error"    // link, interlock or journal ended the run
)

// Events lists them all.
func Events() []string {
	return []string{PromptWaiting, PointFailed, InputPutOff, InputGivenUp, Finished, Stopped, BenchError}
}

// Wants tells whether the receiver is told of an event.
func (n Notify) Wants(event string) bool {
	switch {
	case n.Events != nil:
		return slices.Contains(n.Events, event)
	case n.To == ToWebhook:
		return true
	}
	return slices.Contains([]string{PromptWaiting, Finished, Stopped, BenchError}, event)
}

// Called is the receiver's name within its bench.
func (n Notify) Called() string {
	if n.Name != "" {
		return n.Name
	}
	return n.To
}

// Security is how mail to the server is encrypted.
func (n Notify) Security() string {
	if n.TLS == "" {
		return StartTLS
	}
	return n.TLS
}

// variable is the portable form of a name in the environment (POSIX).
var variable = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_]*$`)

func (c checker) notify(path string, n Notify) {
	c.oneOf(path+".to", n.To, ToBell, ToWebhook, ToMail)
	for k, e := range n.Events {
		c.oneOf(fmt.Sprintf("%s.events[%d]", path, k), e, Events()...)
	}
	of := map[string]string{"url": ToWebhook, "url_env": ToWebhook, "token_env": ToWebhook, "signature_env": ToWebhook,
		"server": ToMail, "tls": ToMail, "user": ToMail, "password_env": ToMail, "from": ToMail, "recipients": ToMail}
	for _, key := range slices.Sorted(maps.Keys(of)) {
		to := of[key]
		if c.d.Has(path+"."+key) && n.To != to && c.given(path+".to") {
			c.add(path+"."+key, "belongs to %s, and this is %s", to, n.To)
		}
	}
	if n.Customer && n.To == ToBell {
		c.add(path+".customer", "belongs to %s and %s; a bell says nothing", ToWebhook, ToMail)
	}
	secrets := map[string]string{"url_env": n.URLEnv, "token_env": n.TokenEnv, "signature_env": n.SignatureEnv, "password_env": n.PasswordEnv}
	for _, key := range slices.Sorted(maps.Keys(secrets)) {
		if c.given(path+"."+key) && !variable.MatchString(secrets[key]) {
			c.add(path+"."+key, "is no name of an environment variable; expected one such as BENCH_TOKEN, which holds the secret itself")
		}
	}
	switch n.To {
	case ToWebhook:
		c.webhook(path, n)
	case ToMail:
		c.mail(path, n)
	}
}

func (c checker) webhook(path string, n Notify) {
	switch {
	case n.URL == "" && n.URLEnv == "":
		c.add(path, "has no address; give url, or url_env where the address is a secret")
	case n.URL != "" && n.URLEnv != "":
		c.add(path+".url", "stands beside url_env; give one of them")
	}
	if n.URL == "" || !c.given(path+".url") {
		return
	}
	if _, err := WebhookURL(n.URL, n.TokenEnv != ""); err != nil {
		c.add(path+".url", "%v", err)
		return
	}
	if strings.Contains(n.URL, "?") {
		c.add(path+".url", "has a query, which may hold a secret, and the bench file is kept in each record; put the address into an environment variable and name that in url_env")
	}
}

// WebhookURL reads an address that events are sent to. Its errors do not show
// the address: it may be a secret.
func WebhookURL(text string, token bool) (*url.URL, error) {
	u, err := url.Parse(text)
	switch {
	case err != nil || u.Host == "" || u.Hostname() == "" || u.Scheme != "https" && u.Scheme != "http":
		return nil, fmt.Errorf("is no address of a web server; expected one such as https://example.org/bench")
	case u.User != nil:
		return nil, fmt.Errorf("holds a user name or password; name environment variables in token_env or url_env instead")
	case u.Fragment != "":
		return nil, fmt.Errorf("has a fragment (#…), which is never sent; leave it out")
	case u.Scheme == "http" && token && !loopback(u.Hostname()):
		return nil, fmt.Errorf("is not encrypted, and the token would be readable on its way; use https")
	}
	return u, nil
}

func loopback(host string) bool {
	a, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && a.IsLoopback()
}

func (c checker) mail(path string, n Notify) {
	c.oneOf(path+".tls", n.TLS, StartTLS, ImplicitTLS, NoTLS)
	for _, key := range []string{"server", "from"} {
		if !c.d.Has(path + "." + key) {
			c.add(path, "has no %s; it must be given for mail", key)
		}
	}
	if c.given(path + ".server") {
		host, port, err := net.SplitHostPort(n.Server)
		if number, e := strconv.ParseUint(port, 10, 16); err != nil || host == "" || e != nil || number == 0 {
			c.add(path+".server", "is %q; expected name and port, such as mail.example.org:587", n.Server)
		}
	}
	if len(n.Recipients) == 0 && !c.d.Has(path+".recipients") || c.given(path+".recipients") && len(n.Recipients) == 0 {
		c.add(path, "has no recipients; give at least one address")
	}
	c.address(path+".from", n.From)
	for k, to := range n.Recipients {
		c.address(fmt.Sprintf("%s.recipients[%d]", path, k), to)
	}
	switch {
	case (n.User == "") != (n.PasswordEnv == ""):
		c.add(path, "needs user and password_env together, or neither")
	case n.User != "" && n.TLS == NoTLS:
		c.add(path+".tls", "is none, and the password would be readable on its way; use starttls or tls")
	}
}

func (c checker) address(path, text string) {
	if !c.given(path) {
		return
	}
	if a, err := mail.ParseAddress(text); err != nil || !strings.Contains(a.Address, "@") {
		c.add(path, "is %q; expected a mail address, such as bench@example.org", text)
	}
}

func receiverNames(b *Bench) []string {
	return names(b.Notify, Notify.Called)
}
