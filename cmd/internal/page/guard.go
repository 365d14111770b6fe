package page

import (
	"crypto/rand"
	"crypto/subtle"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
)

// guard lets in who may come. It stands before everything else.
type guard struct {
	hosts  []string // what Host may be
	token  string
	cookie string // its name; cookies know no ports, so the port is part of it
	cross  *http.CrossOriginProtection
	next   http.Handler

	mu   sync.Mutex
	once string // opens once; empty when it is used up
}

func newGuard(hosts []string, port string, next http.Handler) *guard {
	return &guard{
		hosts:  hosts,
		token:  rand.Text(),
		cookie: "tachbench-" + port,
		cross:  http.NewCrossOriginProtection(),
		next:   next,
	}
}

const (
	saysForeign = "This server answers only under its own address, the one that tachbench page printed.\n"
	saysToken   = "This page needs the address that tachbench page printed, with all of the token in it. Copy it from there once more; if you just did, reload.\n"
	saysMethod  = "Only GET and HEAD are answered here.\n"
	saysCross   = "This came from another site.\n"
)

func (g *guard) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", policy(r.Host))
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cache-Control", "no-store")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	if !g.own(r.Host) {
		h.Set("Content-Security-Policy", "default-src 'none'")
		refuse(w, http.StatusMisdirectedRequest, saysForeign)
		return
	}
	if g.cross.Check(r) != nil {
		refuse(w, http.StatusForbidden, saysCross)
		return
	}
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		h.Set("Allow", "GET, HEAD")
		refuse(w, http.StatusMethodNotAllowed, saysMethod)
		return
	}
	if r.URL.Path == "/" && r.URL.RawQuery != "" {
		g.admit(w, r)
		return
	}
	// Another server on this computer is the same site to a browser, which then
	// sends the cookie along.
	if from := r.Header.Get("Sec-Fetch-Site"); from == "cross-site" || from == "same-site" {
		refuse(w, http.StatusForbidden, saysCross)
		return
	}
	c, err := r.Cookie(g.cookie)
	if err != nil || !same(c.Value, g.token) {
		refuse(w, http.StatusForbidden, saysToken)
		return
	}
	g.next.ServeHTTP(w, r)
}

// pass returns a code that opens once. It is for the command line of a
// browser, which every user of the computer can read.
func (g *guard) pass() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.once = rand.Text()
	return g.once
}

func (g *guard) usePass(code string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	ok := g.once != "" && same(code, g.once)
	if ok {
		g.once = ""
	}
	return ok
}

// admit turns the token of the printed address, or a pass, into a cookie,
// which does not show in the address and is not sent along from other sites.
func (g *guard) admit(w http.ResponseWriter, r *http.Request) {
	q, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil || !same(q.Get("token"), g.token) && !g.usePass(q.Get("pass")) {
		refuse(w, http.StatusForbidden, saysToken)
		return
	}
	http.SetCookie(w, &http.Cookie{
		Name:     g.cookie,
		Value:    g.token,
		Path:     "/",
		HttpOnly: true,
		SameSite: http.SameSiteStrictMode,
	})
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// same compares in a time that tells nothing.
func same(given, secret string) bool {
	return subtle.ConstantTimeCompare([]byte(given), []byte(secret)) == 1
}

func (g *guard) own(host string) bool {
	return slices.Contains(g.hosts, host)
}

// policy is what the page may load: its own parts and its own socket. host has
// been checked.
func policy(host string) string {
	return strings.Join([]string{
		"default-src 'none'",
		"script-src 'self'",
		"worker-src 'self'",
		"style-src 'self'",
		"img-src 'self'",
		"connect-src 'self' ws://" + host,
		"base-uri 'none'",
		"form-action 'none'",
		"frame-ancestors 'none'",
	}, "; ")
}

// refuse answers with a plain sentence and ends the connection.
func refuse(w http.ResponseWriter, status int, text string) {
	w.Header().Set("Connection", "close")
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(text)) // whoever was refused may have gone
}
