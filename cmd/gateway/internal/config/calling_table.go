package config

import (
	"fmt"
	"net"
	"net/mail"
	"net/textproto"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"fabricpot/control/garden"
)

func callingTable() object[*garden.Calling] {
	header := object[*garden.WebHeader]{"a header", []field[*garden.WebHeader]{
		{"name", "its name, such as Authorization", true, of(headerName(), func(h *garden.WebHeader) *string { return &h.Name })},
		{"value", "what it says, where that is no secret", false, of(unshown(line("a value")), func(h *garden.WebHeader) *string { return &h.Value })},
		{"secret-file", "what it says, as the one line of a file that only its owner can read", false, of(fileName(), func(h *garden.WebHeader) *string { return &h.SecretFile })},
	}}
	webhook := object[*garden.Webhook]{"a webhook", []field[*garden.Webhook]{
		{"post-to", "where messages are posted to", true, of(unshown(webAddress()), func(w *garden.Webhook) *string { return &w.URL })},
		{"headers", "header lines of each message", false, list("headers, each with a name", header, func(w *garden.Webhook) *[]garden.WebHeader { return &w.Headers })},
		{"body-file", "a template of the body, Go's text/template; absent means JSON", false, of(fileName(), func(w *garden.Webhook) *string { return &w.BodyFile })},
		{"content-type", "what the body is; application/json if absent", false, of(line("a content type"), func(w *garden.Webhook) *string { return &w.ContentType })},
		{"ca-file", "the authority that vouches for the server, PEM; the system's if absent", false, of(fileName(), func(w *garden.Webhook) *string { return &w.CAFile })},
	}}
	return object[*garden.Calling]{"how alarms reach you", []field[*garden.Calling]{
		{"repeat-after", "how soon a message is repeated that nobody acknowledged; each next one waits twice as long; 30 min if absent", false, of(span(5*time.Minute, 24*time.Hour), func(c *garden.Calling) *time.Duration { return &c.RepeatAfter })},
		{"repeat-most", "the longest time between two of them; 12 h if absent", false, of(span(5*time.Minute, 7*24*time.Hour), func(c *garden.Calling) *time.Duration { return &c.RepeatMost })},
		{"quiet-hours", "windows of the day in which only serious alarms are told", false, list("windows of the day, such as 22:00-07:00", of(hours(), self[garden.DayWindow]), func(c *garden.Calling) *[]garden.DayWindow { return &c.Quiet })},
		{"self-test-day", "the day of each month on which a message says that messages arrive, 0 for never; 1 if absent", false, of(whole("a day of the month", 0, 28), func(c *garden.Calling) *int { return &c.SelfTestDay })},
		{"most-per-hour", "the most messages within an hour, a third of them kept for serious alarms; 12 if absent", false, of(whole("a count", 3, 120), func(c *garden.Calling) *int { return &c.PerHour })},
		{"webhooks", "addresses that take messages by HTTP POST", false, list("webhooks, each with post-to", webhook, func(c *garden.Calling) *[]garden.Webhook { return &c.Webhooks })},
		{"mail", "a mail account that messages are sent from", false, in(mailTable(), func(c *garden.Calling) *garden.Mail { return &c.Mail })},
		{"lamp", "a lamp or buzzer on an output pin", false, in(lampTable(), func(c *garden.Calling) *garden.Lamp { return &c.Lamp })},
	}}
}

func mailTable() object[*garden.Mail] {
	return object[*garden.Mail]{"the mail account", []field[*garden.Mail]{
		{"server", "the server that takes mail for sending", true, of(hostPort("smtp.example.org:587"), func(m *garden.Mail) *string { return &m.Server })},
		{"security", "how the line to it is secured; starttls if absent", false, of(choice("a kind of security", garden.MailStartTLS, garden.MailTLS, garden.MailPlain), func(m *garden.Mail) *string { return &m.Security })},
		{"login-file", "user and password, on two lines of a file that only its owner can read", false, of(fileName(), func(m *garden.Mail) *string { return &m.PasswordFile })},
		{"from", "the sender's address", true, of(mailAddress(), func(m *garden.Mail) *string { return &m.From })},
		{"to", "who gets the messages", true, list("addresses", of(mailAddress(), self[string]), func(m *garden.Mail) *[]string { return &m.To })},
		{"ca-file", "the authority that vouches for the server, PEM; the system's if absent", false, of(fileName(), func(m *garden.Mail) *string { return &m.CAFile })},
	}}
}

func lampTable() object[*garden.Lamp] {
	return object[*garden.Lamp]{"the lamp", []field[*garden.Lamp]{
		{"pin", "its line on the GPIO chip", true, of(whole("a line of the chip", 0, 1000), func(l *garden.Lamp) *int { return &l.Pin })},
		{"chip", "the chip's label; that of hardware if absent", false, of(line("a chip's label"), func(l *garden.Lamp) *string { return &l.Chip })},
		{"active-low", "whether it is on at a low level", false, of(yesNo(), func(l *garden.Lamp) *bool { return &l.ActiveLow })},
		{"on-for", "how long it is on after each message; 10 min if absent", false, of(span(time.Second, 24*time.Hour), func(l *garden.Lamp) *time.Duration { return &l.OnFor })},
	}}
}

// unshown is a text that may be a secret, or may hold one by mistake.
func unshown(s scalar[string]) scalar[string] {
	s.secret = true
	return s
}

func headerName() scalar[string] {
	token := regexp.MustCompile("^[A-Za-z0-9!#$%&'*+.^_`|~-]{1,64}$") // RFC 9110, section 5.6.2
	return textOf("a header's name, such as Authorization", func(s string) bool {
		// These are the client's own business.
		own := []string{"Host", "Content-Length", "Content-Type", "Transfer-Encoding", "Connection", "Trailer", "Upgrade"}
		return token.MatchString(s) && !slices.Contains(own, textproto.CanonicalMIMEHeaderKey(s))
	})
}

func webAddress() scalar[string] {
	return textOf("http://HOST/… or https://HOST/…, with no password in it", func(s string) bool {
		u, err := url.Parse(s)
		return err == nil && (u.Scheme == "http" || u.Scheme == "https") && u.Hostname() != "" && u.User == nil && u.Fragment == "" &&
			strings.IndexFunc(s, func(c rune) bool { return unicode.IsControl(c) || unicode.IsSpace(c) }) < 0
	})
}

func mailAddress() scalar[string] {
	return textOf("a mail address, such as me@example.org", func(s string) bool {
		a, err := mail.ParseAddress(s)
		return err == nil && a.Address == s && len(s) <= 254
	})
}

func hostPort(example string) scalar[string] {
	return textOf("HOST:PORT, such as "+example, func(s string) bool {
		host, port, err := net.SplitHostPort(s)
		n, bad := strconv.ParseUint(port, 10, 16)
		return err == nil && host != "" && bad == nil && n > 0 && strings.IndexFunc(host, func(c rune) bool { return unicode.IsControl(c) || unicode.IsSpace(c) }) < 0
	})
}

// linkCalling fills in what a section about alarms needs.
func (r *reader) linkCalling(c garden.Calling, hw garden.Hardware) garden.Calling {
	for i := range c.Webhooks {
		w := &c.Webhooks[i]
		r.beside(&w.BodyFile)
		r.beside(&w.CAFile)
		for k := range w.Headers {
			r.beside(&w.Headers[k].SecretFile)
		}
	}
	r.beside(&c.Mail.PasswordFile)
	r.beside(&c.Mail.CAFile)
	if c.Mail.Security == "" {
		c.Mail.Security = garden.MailStartTLS
	}
	if c.Lamp.Wired = r.src.given("alarms.lamp.pin"); c.Lamp.Wired {
		if c.Lamp.Chip == "" {
			c.Lamp.Chip = hw.GPIOChip
		}
		if c.Lamp.OnFor == 0 {
			c.Lamp.OnFor = 10 * time.Minute
		}
	}
	return c
}

// checkCalling reports what the section about alarms contradicts.
func (r *reader) checkCalling(g *garden.Garden) {
	const path = "alarms"
	c := &g.Calling
	at := path + ".repeat-most"
	if !r.src.given(at) {
		at = path + ".repeat-after" // over the other's usual value
	}
	if c.RepeatMost < c.RepeatAfter && r.sound(at) && !r.unsound[path+".repeat-after"] {
		r.say(at, "repeats would come faster and faster", words(c.RepeatAfter)+", at most "+words(c.RepeatMost), "repeat-most at least repeat-after")
	}
	if r.sound(path+".quiet-hours") && quietAllDay(c.Quiet) {
		r.say(path+".quiet-hours", "quiet all day", "", "some hours in which a lesser alarm can be told")
	}
	for i, w := range c.Webhooks {
		r.checkWebhook(fmt.Sprintf("%s.webhooks.%d", path, i+1), w)
	}
	r.checkMail(g)
	r.checkLamp(g)
	if r.src.given(path) && !c.Reaches() && r.sound(path, path+".webhooks", path+".mail", path+".lamp") {
		r.warn(path, "names nobody to tell", "", "webhooks, mail or lamp")
	}
}

// quietAllDay walks a day in minutes.
func quietAllDay(ws []garden.DayWindow) bool {
	day := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	for m := range 24 * 60 {
		at := day.Add(time.Duration(m) * time.Minute)
		if !slices.ContainsFunc(ws, func(w garden.DayWindow) bool { return w.Contains(at) }) {
			return false
		}
	}
	return true
}

func (r *reader) checkWebhook(path string, w garden.Webhook) {
	secret := false
	for i, h := range w.Headers {
		at := fmt.Sprintf("%s.headers.%d", path, i+1)
		one, other := r.src.given(at+".value"), r.src.given(at+".secret-file")
		open := one && secretHeader(h.Name)
		secret = secret || other || open
		if open && r.sound(at) {
			// The value itself is repeated nowhere.
			r.warn(at+".value", h.Name+" is a secret that whoever reads this file can use", "", "secret-file: a file with the value alone, mode 0600")
		}
		if one == other && r.sound(at) {
			r.say(at, "a header has a value or a secret-file", "", "one of the two")
		}
	}
	if r.src.given(path+".ca-file") && strings.HasPrefix(w.URL, "http://") {
		r.say(path+".ca-file", "is of no use without TLS", "", "post-to: https://…")
	}
	if u, err := url.Parse(w.URL); secret && err == nil && u.Scheme == "http" && !onlyHere(net.JoinHostPort(u.Hostname(), "1")) {
		r.warn(path+".post-to", "a secret goes over the network in the clear", "", "https")
	}
}

// secretHeader reports whether what a header says is a secret by its name: those
// of RFC 9110, section 11 and RFC 6265, and names that services invent.
func secretHeader(name string) bool {
	name = strings.ToLower(name)
	return slices.ContainsFunc([]string{"authorization", "cookie", "auth", "token", "secret", "password", "key"}, func(part string) bool {
		return strings.Contains(name, part)
	})
}

func (r *reader) checkMail(g *garden.Garden) {
	const path = "alarms.mail"
	m := &g.Calling.Mail
	if !r.src.given(path) {
		return
	}
	if r.sound(path+".to") && r.src.given(path+".to") && len(m.To) == 0 {
		r.say(path+".to", "nobody to send to", "", "at least one address")
	}
	if m.Security != garden.MailPlain || !r.sound(path+".security", path+".server") {
		return
	}
	if r.src.given(path + ".ca-file") {
		r.say(path+".ca-file", "is of no use without TLS", "", "security: starttls or tls")
	}
	if r.src.given(path+".login-file") && !onlyHere(m.Server) {
		r.say(path+".security", "the password would go over the network in the clear", quote(m.Security), "starttls or tls")
	}
}

// checkLamp sees that the lamp's pin is on a chip.
func (r *reader) checkLamp(g *garden.Garden) {
	const path = "alarms.lamp"
	l := g.Calling.Lamp
	if l.Wired && l.Chip == "" && g.Hardware.Kind == garden.Board && r.sound(path+".pin") && !r.unsound[path+".chip"] {
		r.say(path, "no GPIO chip", "", "chip here, or gpio-chip under hardware")
	}
}
