package notify

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/textproto"
	"strconv"
	"time"

	"bandproof/procedures"

	"github.com/cenkalti/backoff/v5"
	"github.com/wneessen/go-mail"
)

// mailer sends events as plain text by SMTP.
type mailer struct {
	host       string
	options    []mail.Option
	from       string
	recipients []string
}

func newMailer(r procedures.Notify, secret func(string) (string, error)) (*mailer, error) {
	host, port, err := net.SplitHostPort(r.Server)
	if err != nil {
		return nil, fmt.Errorf("server %q: %w", r.Server, err)
	}
	number, err := strconv.Atoi(port)
	if err != nil {
		return nil, fmt.Errorf("server %q: %w", r.Server, err)
	}
	m := &mailer{host: host, from: r.From, recipients: r.Recipients}
	m.options = []mail.Option{mail.WithPort(number), mail.WithTimeout(15 * time.Second)}
	switch r.Security() {
	case procedures.ImplicitTLS:
		m.options = append(m.options, mail.WithSSL())
	case procedures.NoTLS:
		m.options = append(m.options, mail.WithTLSPolicy(mail.NoTLS))
	default:
		m.options = append(m.options, mail.WithTLSPolicy(mail.TLSMandatory))
	}
	password, err := secret(r.PasswordEnv)
	if err != nil {
		return nil, err
	}
	if r.User != "" {
		m.options = append(m.options, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(r.User), mail.WithPassword(password))
	}
	return m, nil
}

func (m *mailer) send(ctx context.Context, e Event) error {
	msg := mail.NewMsg()
	err := errors.Join(msg.From(m.from), msg.To(m.recipients...))
	if err != nil {
		return backoff.Permanent(err)
	}
	msg.Subject(e.subject())
	msg.SetMessageIDWithValue(e.ID + "@bandproof.invalid") // the same at each try
	msg.SetBodyString(mail.TypeTextPlain, e.lines())
	c, err := mail.NewClient(m.host, m.options...)
	if err != nil {
		return backoff.Permanent(err)
	}
	conn, err := c.DialToSMTPClientWithContext(ctx)
	if err != nil {
		return refused(err)
	}
	err = c.SendWithSMTPClient(conn, msg)
	_ = c.CloseWithSMTPClient(conn) // what was taken stays taken
	return refused(err)
}

// refused marks what the server said no to (5yz of RFC 5321, 4.2.1) as final; a
// connection that failed is not.
func refused(err error) error {
	var s *mail.SendError
	var t *textproto.Error
	if errors.As(err, &s) && s.ErrorCode()/100 == 5 || errors.As(err, &t) && t.Code/100 == 5 {
		return backoff.Permanent(err)
	}
	return err
}
