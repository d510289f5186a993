package page

import (
	"encoding/base64"
	"net/http"
	"strings"
	"unicode/utf8"
)

// What was done is told on the page that follows, by a cookie that is read
// once: it survives the redirect and no address carries it.
const saidCookie = "fabricpot-said"

const maxSaid = 400

// done tells what was done on the page at to.
func (p *Page) done(w http.ResponseWriter, r *http.Request, to, said string) {
	if len(said) > maxSaid {
		said = strings.ToValidUTF8(said[:maxSaid], "")
	}
	http.SetCookie(w, &http.Cookie{
		Name: saidCookie, Value: base64.RawURLEncoding.EncodeToString([]byte(said)), Path: "/",
		HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode, MaxAge: 60,
	})
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// saidTo is what there is to tell, and takes the cookie back.
func (p *Page) saidTo(w http.ResponseWriter, r *http.Request) string {
	c, err := r.Cookie(saidCookie)
	if err != nil || r.Method != http.MethodGet || r.Header.Get(liveHeader) != "" ||
		r.URL.Path == "/live" || strings.HasSuffix(r.URL.Path, ".svg") {
		return ""
	}
	http.SetCookie(w, &http.Cookie{Name: saidCookie, Path: "/", HttpOnly: true, Secure: r.TLS != nil, MaxAge: -1})
	b, err := base64.RawURLEncoding.DecodeString(c.Value)
	if err != nil || len(b) > maxSaid || !utf8.Valid(b) {
		return ""
	}
	return string(b)
}
