package garden

import "time"

// Calling is how alarms reach a person who is not looking. The zero value
// reaches nobody but page and hub.
type Calling struct {
	// RepeatAfter is how long after the first message about an alarm that nobody
	// acknowledged the second follows, > 0; each next one waits twice as long,
	// RepeatMost at most.
	RepeatAfter, RepeatMost time.Duration
	// Quiet are the windows of the day in which only serious alarms are told.
	Quiet []DayWindow
	// SelfTestDay is the day of the month, 1..28, on which a message says that
	// messages arrive; 0 means never.
	SelfTestDay int
	// PerHour is the most messages within any hour, ≥ 3; a third of them is kept
	// for serious alarms.
	PerHour  int
	Webhooks []Webhook
	Mail     Mail
	Lamp     Lamp
}

// DefaultCalling are the times of a garden file that names none.
func DefaultCalling() Calling {
	return Calling{RepeatAfter: 30 * time.Minute, RepeatMost: 12 * time.Hour, SelfTestDay: 1, PerHour: 12}
}

// Reaches reports whether there is any way to a person.
func (c *Calling) Reaches() bool { return len(c.Webhooks) > 0 || c.Mail.Server != "" || c.Lamp.Wired }

// Webhook is an address that takes messages by HTTP POST.
type Webhook struct {
	URL     string
	Headers []WebHeader
	// BodyFile is a template of the body; empty means JSON.
	BodyFile string
	// ContentType of the body; empty means JSON's.
	ContentType string
	// CAFile vouches for the server, PEM; empty means the system's authorities.
	CAFile string
}

// WebHeader is a header line. Its value is Value, or what SecretFile holds.
type WebHeader struct{ Name, Value, SecretFile string }

// How a mail server is spoken to.
const (
	MailStartTLS = "starttls"
	MailTLS      = "tls"
	MailPlain    = "none"
)

// Mail is a mail account that messages are sent from.
type Mail struct {
	// Server is HOST:PORT; empty means no mail.
	Server string
	// Security is one of the constants above.
	Security string
	// PasswordFile holds user and password on two lines, mode 0600; empty means
	// that the server asks for none.
	PasswordFile string
	From         string
	To           []string
	// CAFile vouches for the server, PEM; empty means the system's authorities.
	CAFile string
}

// Lamp is a lamp or buzzer on an output pin.
type Lamp struct {
	Wired     bool
	Chip      string
	Pin       int
	ActiveLow bool
	// OnFor is how long it is on after each message, > 0.
	OnFor time.Duration
}
