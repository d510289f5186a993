package notify

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"strconv"

	"fabricpot/control/garden"

	"github.com/wneessen/go-mail"
)

// mailbox sends messages by mail (RFC 5321), over TLS from the start (RFC 8314)
// or from STARTTLS on (RFC 3207), which then is no wish but a condition.
type mailbox struct {
	set  garden.Mail
	host string
	port int
}

func newMailbox(set garden.Mail) (*mailbox, error) {
	host, port, err := net.SplitHostPort(set.Server)
	if err != nil {
		return nil, fmt.Errorf("mail: %w", err)
	}
	n, err := strconv.ParseUint(port, 10, 16)
	if err != nil || n == 0 {
		return nil, fmt.Errorf("mail: port %q: expected 1 to 65535", port)
	}
	return &mailbox{set: set, host: host, port: int(n)}, nil
}

// Name is the server; addresses are somebody's.
func (m *mailbox) Name() string { return "mail by " + m.host }

// Send hands one message to the server. Where that refuses for good, so says the
// error.
func (m *mailbox) Send(ctx context.Context, msg *Message) error {
	letter := mail.NewMsg()
	if err := errors.Join(letter.From(m.set.From), letter.To(m.set.To...)); err != nil {
		return errors.Join(err, errForGood)
	}
	letter.Subject(msg.Title)
	letter.SetDateWithValue(msg.At)
	letter.SetMessageID()
	letter.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: answer it with no holiday note
	if msg.Serious {
		letter.SetImportance(mail.ImportanceHigh)
	}
	letter.SetBodyString(mail.TypeTextPlain, msg.Text)

	secure, err := trust(m.host, m.set.CAFile)
	if err != nil {
		return err
	}
	// The library's own time-out is for each step and knows nothing of ctx: a
	// server that says nothing, or a stop of the gateway, ends the connection.
	var end func() bool
	defer func() {
		if end != nil {
			end()
		}
	}()
	dial := func(_ context.Context, network, address string) (net.Conn, error) {
		var d net.Dialer
		conn, err := d.DialContext(ctx, network, address)
		if err != nil {
			return nil, err
		}
		end = context.AfterFunc(ctx, func() { _ = conn.Close() })
		if m.set.Security == garden.MailTLS {
			hidden := tls.Client(conn, secure)
			return hidden, hidden.HandshakeContext(ctx)
		}
		return conn, nil
	}
	opts := []mail.Option{mail.WithPort(m.port), mail.WithTLSConfig(secure), mail.WithTimeout(sendPatience), mail.WithHELO("localhost"), mail.WithDialContextFunc(dial)}
	switch m.set.Security {
	case garden.MailTLS:
		opts = append(opts, mail.WithSSL())
	case garden.MailPlain:
		opts = append(opts, mail.WithTLSPolicy(mail.NoTLS))
	default:
		opts = append(opts, mail.WithTLSPolicy(mail.TLSMandatory))
	}
	if m.set.PasswordFile != "" {
		login, err := readSecret(m.set.PasswordFile, 2)
		if err != nil {
			return err
		}
		auth := mail.SMTPAuthAutoDiscover
		if m.set.Security != garden.MailStartTLS {
			// In the clear it is this machine alone, see the garden file's check;
			// and the library does not know that our own connection is TLS.
			auth = mail.SMTPAuthPlainNoEnc
		}
		opts = append(opts, mail.WithSMTPAuth(auth), mail.WithUsername(login[0]), mail.WithPassword(login[1]))
	}
	c, err := mail.NewClient(m.host, opts...)
	if err != nil {
		return errors.Join(err, errForGood)
	}
	if err := c.DialAndSendWithContext(ctx, letter); err != nil {
		var refused *mail.SendError
		if errors.As(err, &refused) && !refused.IsTemp() && refused.ErrorCode() >= 500 {
			return fmt.Errorf("%s: %w", m.host, errors.Join(err, errForGood))
		}
		return fmt.Errorf("%s: %w", m.host, errors.Join(err, ctx.Err()))
	}
	return nil
}
