package page

import (
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// role is what a visitor may do.
type role uint8

const (
	nobody role = iota
	guest
	owner
)

// visit is one request's visitor: who they are and how they want to read.
type visit struct {
	prefs
	role role
	// session is the key of their session, empty where nobody signs in.
	session string
	// signedIn tells that there is something to sign out of.
	signedIn bool
	// here is the path, for the navigation.
	here string
	// said is a message to show once.
	said string
}

// mayAct tells whether forms are shown and taken.
func (v *visit) mayAct() bool { return v.role == owner }

// contentPolicy lets the page use its own files and nothing else: no inline
// script, no style attribute, no other host, no frame.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// harden sets what every answer carries and bounds what every request may.
func (p *Page) harden(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		h.Set("Cache-Control", "no-store")
		r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		// Without a password the page trusts whoever reaches loopback, so a
		// foreign name that was made to point here must get nothing.
		if !p.o.Secrets.Set() && !localName(r.Host) {
			p.refuse(w, r, p.stranger(r), fault{http.StatusMisdirectedRequest, tErrHost, tErrHostTx, "/", tBackTerrace})
			return
		}
		next.ServeHTTP(w, r)
	})
}

func localName(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.Trim(host, "[]")
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// stranger is a visitor nothing is known of.
func (p *Page) stranger(r *http.Request) *visit {
	return &visit{prefs: prefsOf(r), here: r.URL.Path}
}

// admit finds out who asks. Where they have to sign in first it sends them
// there and returns false.
func (p *Page) admit(w http.ResponseWriter, r *http.Request) (*visit, bool) {
	v := p.stranger(r)
	v.said = p.saidTo(w, r)
	if !p.o.Secrets.Set() {
		v.role = owner
		return v, true
	}
	if c, err := r.Cookie(p.cookieName(r)); err == nil {
		if who, ok := p.sessions.role(c.Value); ok {
			v.role, v.session, v.signedIn = who, c.Value, true
			return v, true
		}
	}
	if r.URL.Path == "/sign-in" {
		return v, true
	}
	if r.URL.Path == "/metrics" {
		if p.scraper(w, r) {
			v.role = guest
			return v, true
		}
		return nil, false
	}
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		p.refuse(w, r, v, fault{http.StatusUnauthorized, tSignIn, tNothing, "/sign-in", tSignIn})
		return nil, false
	}
	if r.URL.Path == "/live" || strings.HasSuffix(r.URL.Path, ".svg") {
		http.Error(w, tSignIn, http.StatusUnauthorized)
		return nil, false
	}
	to := "/sign-in"
	if r.URL.Path != "/" {
		to += "?next=" + url.QueryEscape(r.URL.Path)
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil, false
}

// act reads the form and hands it on, where the visitor may act at all.
func (p *Page) act(w http.ResponseWriter, r *http.Request, v *visit, post view) {
	free := r.URL.Path == "/settings" || r.URL.Path == "/sign-in" || r.URL.Path == "/sign-out"
	if !free && !v.mayAct() {
		p.refuse(w, r, v, fault{http.StatusForbidden, tErrGuest, tErrGuestTx, "/", tBackTerrace})
		return
	}
	if err := r.ParseForm(); err != nil {
		p.refuse(w, r, v, fault{http.StatusBadRequest, tErrBody, tErrBodyTx + " " + tNothing, "/", tBackTerrace})
		return
	}
	post(w, r, v)
}

func (p *Page) cookieName(r *http.Request) string {
	if r.TLS != nil {
		return "__Host-fabricpot" // browsers keep the plain network from setting it
	}
	return "fabricpot"
}

func (p *Page) signInPage(w http.ResponseWriter, r *http.Request, v *visit) {
	if !p.o.Secrets.Set() {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	p.show(w, r, http.StatusOK, signInView(v, ownPath(r.URL.Query().Get("next")), ""))
}

func (p *Page) signIn(w http.ResponseWriter, r *http.Request, v *visit) {
	next := ownPath(r.PostForm.Get("next"))
	if !p.o.Secrets.Set() {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	who, wait, err := p.verify(r, r.PostForm.Get("password"))
	switch {
	case wait > 0:
		w.Header().Set("Retry-After", strconv.Itoa(int(wait.Seconds())+1))
		p.show(w, r, http.StatusTooManyRequests, signInView(v, next, sprintf(tSlow, span(wait))))
		return
	case err != nil:
		p.show(w, r, http.StatusServiceUnavailable, signInView(v, next, tBusy))
		return
	case who == nobody:
		p.show(w, r, http.StatusUnauthorized, signInView(v, next, tWrong))
		return
	}
	key := p.sessions.begin(who)
	http.SetCookie(w, &http.Cookie{
		Name: p.cookieName(r), Value: key, Path: "/", HttpOnly: true, Secure: r.TLS != nil,
		SameSite: http.SameSiteLaxMode, MaxAge: int(sessionLife.Seconds()),
	})
	http.Redirect(w, r, next, http.StatusSeeOther)
}

// verify checks a password, slowed for clients that keep failing. wait is how
// long the client has to wait where it may not try at all.
func (p *Page) verify(r *http.Request, password string) (who role, wait time.Duration, err error) {
	client := clientOf(r)
	if wait = p.slow.wait(client); wait > 0 {
		return nobody, wait, nil
	}
	// Counted before it is checked, so that attempts sent together don't all
	// pass while the first is still being looked at.
	p.slow.failed(client)
	who, err = p.o.Secrets.check(r.Context(), password)
	if err != nil {
		return nobody, 0, err
	}
	if who != nobody {
		p.slow.passed(client)
	}
	return who, 0, nil
}

func (p *Page) signOut(w http.ResponseWriter, r *http.Request, v *visit) {
	p.sessions.end(v.session)
	http.SetCookie(w, &http.Cookie{Name: p.cookieName(r), Path: "/", HttpOnly: true, Secure: r.TLS != nil, MaxAge: -1})
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
}

// ownPath lets nobody use the sign-in to send people to another site.
func ownPath(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.Host != "" || u.Scheme != "" || !strings.HasPrefix(next, "/") ||
		strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n") {
		return "/"
	}
	return next
}

// clientOf is what attempts are counted by: the address, and of IPv6 the
// network, since a client has more addresses there than anyone can remember.
func clientOf(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return "unknown"
	}
	ip := net.ParseIP(host)
	if ip == nil {
		return "unknown"
	}
	if ip.To4() != nil {
		return ip.String()
	}
	return ip.Mask(net.CIDRMask(64, 128)).String()
}

func sprintf(format string, a ...any) string { return fmt.Sprintf(format, a...) }
