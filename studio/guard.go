package studio

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/hex"
	"fmt"
	"net"
	"net/http"
	"strings"
)

// policy is the content security policy of every page: nothing from anywhere else, no
// script or style but the studio's own files, no frame around it.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; " +
	"connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// maxBody is the most a request may send, in bytes: a long painted line is a few
// thousand numbers.
const maxBody = 512 << 10

// guard stands before every page.
type guard struct {
	next   http.Handler
	port   string
	key    string // in the address that is printed
	secret string // in the cookie
}

// newGuard makes a guard with a fresh key and secret of 256 bits each.
func newGuard(next http.Handler, port string) *guard {
	return &guard{next: next, port: port, key: random(), secret: random()}
}

func random() string {
	b := make([]byte, 32)
	rand.Read(b) // never fails
	return hex.EncodeToString(b)
}

// cookie is named after the port: cookies of one host are shared by all its ports.
func (g *guard) cookie() string { return "mullion-" + g.port }

func (g *guard) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Cache-Control", "no-store")
	if !g.ourHost(r.Host) {
		refuse(w, http.StatusMisdirectedRequest, "This address is not the studio's.")
		return
	}
	if key, ok := strings.CutPrefix(r.URL.Path, "/open/"); ok && r.Method == http.MethodGet {
		g.open(w, r, key)
		return
	}
	if !g.known(r) {
		refuse(w, http.StatusForbidden, "Open the studio by the address that was printed when it started.")
		return
	}
	if r.Method != http.MethodGet && r.Method != http.MethodHead && !g.ourOrigin(r) {
		refuse(w, http.StatusForbidden, "Changes are taken from the studio's own pages only.")
		return
	}
	if r.ContentLength > maxBody {
		refuse(w, http.StatusRequestEntityTooLarge, "This is more than a page has to send.")
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, maxBody)
	g.next.ServeHTTP(w, r)
}

func refuse(w http.ResponseWriter, status int, why string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(status)
	fmt.Fprintln(w, why)
}

// open exchanges the key for the cookie and goes on to the first page, so that the key
// stays in no history beyond this one entry.
func (g *guard) open(w http.ResponseWriter, r *http.Request, key string) {
	if !same(key, g.key) {
		refuse(w, http.StatusForbidden, "This key belongs to another run of the studio. Use the address it printed last.")
		return
	}
	http.SetCookie(w, &http.Cookie{Name: g.cookie(), Value: g.secret, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

func (g *guard) known(r *http.Request) bool {
	c, err := r.Cookie(g.cookie())
	return err == nil && same(c.Value, g.secret)
}

func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// ourHost keeps out pages of other names that were made to point here.
func (g *guard) ourHost(host string) bool {
	name, port, err := net.SplitHostPort(host)
	return err == nil && port == g.port && (name == "127.0.0.1" || name == "localhost" || name == "::1")
}

// ourOrigin: every browser sends Origin with a change.
func (g *guard) ourOrigin(r *http.Request) bool {
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" {
		return false
	}
	return r.Header.Get("Origin") == "http://"+r.Host
}
