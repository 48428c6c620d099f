package studio

import (
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Only the loopback address listens, and the key is 256 random bits.
func TestAddress(t *testing.T) {
	s := running(t, Options{})
	ip := s.ln.Addr().(*net.TCPAddr).IP
	if !ip.IsLoopback() {
		t.Errorf("it listens on %s", ip)
	}
	if other := running(t, Options{}); len(s.guard.key) != 64 || s.guard.key == other.guard.key || s.guard.key == s.guard.secret {
		t.Error("the key can be guessed")
	}
}

// Without the printed address nothing is answered, whatever is asked for.
func TestKeyNeeded(t *testing.T) {
	s := running(t, Options{Shoot: house1(t)})
	base := "http://" + s.ln.Addr().String()
	for _, path := range []string{"/", "/start", "/part/walk", "/thumb/view-01", "/events", "/assets/studio.css", "/open/", "/open/" + strings.Repeat("0", 64)} {
		r, err := http.Get(base + path)
		if err != nil {
			t.Fatal(err)
		}
		b, _ := io.ReadAll(r.Body)
		r.Body.Close()
		if r.StatusCode != http.StatusForbidden || len(r.Cookies()) > 0 || strings.Contains(string(b), "view-01") {
			t.Errorf("%s answers %s without the key", path, r.Status)
		}
	}
}

// The cookie can't be read by scripts nor sent by other sites, and the key doesn't stay
// in the address.
func TestCookie(t *testing.T) {
	s := running(t, Options{})
	jar, _ := cookiejar.New(nil)
	c := &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	r, err := c.Get(s.URL())
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if to := r.Header.Get("Location"); r.StatusCode != http.StatusSeeOther || to != "/" {
		t.Errorf("it answers %s and leads to %q", r.Status, to)
	}
	if len(r.Cookies()) != 1 {
		t.Fatalf("%d cookies", len(r.Cookies()))
	}
	k := r.Cookies()[0]
	if !k.HttpOnly || k.SameSite != http.SameSiteStrictMode || k.Path != "/" || strings.Contains(k.Value, s.guard.key) {
		t.Errorf("the cookie is %s", k)
	}
}

// A name that was made to point to this machine is not ours (DNS rebinding).
func TestHost(t *testing.T) {
	s := running(t, Options{})
	v := visit(t, s)
	_, port, _ := net.SplitHostPort(s.ln.Addr().String())
	for host, want := range map[string]int{
		"127.0.0.1:" + port:        http.StatusOK,
		"localhost:" + port:        http.StatusForbidden, // ours, but the cookie belongs to the other name,
		"evil.example:" + port:     http.StatusMisdirectedRequest,
		"127.0.0.1":                http.StatusMisdirectedRequest,
		"127.0.0.1:1":              http.StatusMisdirectedRequest,
		"127.0.0.1.evil.example:1": http.StatusMisdirectedRequest,
	} {
		q, _ := http.NewRequest(http.MethodGet, v.base+"/start", nil)
		q.Host = host
		r, err := v.client.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != want {
			t.Errorf("Host %q answers %s", host, r.Status)
		}
	}
}

// Changes come from the studio's own pages.
func TestOrigin(t *testing.T) {
	dir := house1(t)
	v := visit(t, running(t, Options{Shoot: dir}))
	before := order(t, dir)
	body := `{"rev":0,"what":"x","views":[{"id":"view-03"},{"id":"view-02"},{"id":"view-01"}]}`
	for _, origin := range []string{"", "null", "http://evil.example", "https" + strings.TrimPrefix(v.base, "http"), v.base + "0", "http://localhost:1"} {
		if status, _ := v.send("/arrange", strings.NewReader(body), origin); status != http.StatusForbidden {
			t.Errorf("Origin %q answers %d", origin, status)
		}
	}
	if order(t, dir) != before {
		t.Error("another site changed the shoot")
	}
	if status, answer := v.send("/arrange", strings.NewReader(body), v.base); status != http.StatusOK {
		t.Errorf("the studio's own page is answered %d %s", status, answer)
	}
	if got := order(t, dir); got != "03 02 01" {
		t.Errorf("the order is %s", got)
	}
}

// Every answer forbids what a page doesn't need.
func TestPolicy(t *testing.T) {
	v := visit(t, running(t, Options{Shoot: house1(t)}))
	for _, path := range []string{"/", "/start", "/assets/walk.js", "/thumb/view-01", "/nowhere"} {
		_, h, body := v.get(path)
		csp := h.Get("Content-Security-Policy")
		for _, part := range []string{"default-src 'none'", "script-src 'self'", "style-src 'self'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"} {
			if !strings.Contains(csp, part) {
				t.Errorf("%s: the policy lacks %s", path, part)
			}
		}
		if strings.Contains(csp, "unsafe") || h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Referrer-Policy") != "no-referrer" {
			t.Errorf("%s: headers are %v", path, h)
		}
		if strings.HasPrefix(h.Get("Content-Type"), "text/html") && (strings.Contains(body, " style=") || strings.Contains(body, "<script>") || strings.Contains(body, " on")) && strings.Contains(body, "onclick") {
			t.Errorf("%s has something inline", path)
		}
	}
}

// No path reaches a file that is not meant to be seen.
func TestPaths(t *testing.T) {
	dir := house1(t)
	v := visit(t, running(t, Options{Shoot: dir}))
	if err := os.Symlink(filepath.Join(dir, "shoot.json"), filepath.Join(dir, "deliveries", "listing", "link.json")); err != nil {
		t.Fatal(err)
	}
	if status, h, _ := v.get("/gallery/listing/index.html"); status != http.StatusOK || !strings.Contains(h.Get("Content-Security-Policy"), "connect-src 'none'; form-action 'none'") {
		t.Errorf("the gallery answers %d with the policy %q", status, h.Get("Content-Security-Policy"))
	}
	for _, path := range []string{
		"/gallery/listing/link.json", "/gallery/listing/pages/.origins.json/../../link.json", "/gallery/../originals/manifest",
		"/assets/../guard.go", "/assets/..%2fguard.go", "/assets/%2e%2e/%2e%2e/etc/passwd", "/thumb/..%2f..%2fshoot.json",
		"/thumb/%2e%2e", "/live/../../shoot.json", "/exposure/view-01/-1", "/exposure/view-01/99", "/exposure/view-01/..%2f0",
		"/shoot.json", "/journal.json", "/originals/manifest", "/gallery/..%2f..%2fshoot.json", "/gallery/listing/..%2f..%2f..%2fshoot.json",
		"/gallery/listing/%2e%2e/%2e%2e/shoot.json", "/gallery/%2fetc/passwd", "//etc/passwd", "/full/..%2f",
	} {
		status, _, body := v.get(path)
		if status == http.StatusOK || strings.Contains(body, `"frames"`) || strings.Contains(body, "root:") || strings.Contains(body, "package studio") {
			t.Errorf("%s answers %d", path, status)
		}
	}
}

// A request may not be larger than a page's needs, whether it says so or not.
func TestUploadLimit(t *testing.T) {
	v := visit(t, running(t, Options{Shoot: house1(t)}))
	large := `{"what":"` + strings.Repeat("x", maxBody) + `"}`
	if status, _ := v.send("/arrange", strings.NewReader(large), v.base); status != http.StatusRequestEntityTooLarge {
		t.Errorf("a large request is answered %d", status)
	}
	unsaid := struct{ io.Reader }{strings.NewReader(large)} // sent in chunks, without a length
	if status, _ := v.send("/arrange", unsaid, v.base); status != http.StatusRequestEntityTooLarge {
		t.Errorf("a large request that hides its size is answered %d", status)
	}
	for _, bad := range []string{"", "{", `{"unknown":1}`, `[]`} {
		if status, _ := v.send("/arrange", strings.NewReader(bad), v.base); status != http.StatusBadRequest {
			t.Errorf("%q is answered %d", bad, status)
		}
	}
}
