package studio

import (
	"crypto/ed25519"
	"crypto/rand"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	cd "github.com/chromedp/chromedp"
	"github.com/pkg/sftp"
	"golang.org/x/crypto/ssh"
	"golang.org/x/crypto/ssh/knownhosts"
	"golang.org/x/net/webdav"

	"mullion/deliver/send"
	"mullion/shoot"
)

const secret = "quince-lantern-44"

// davServer serves a folder by WebDAV (RFC 4918) to robin.
func davServer(t *testing.T, root string) string {
	t.Helper()
	dav := &webdav.Handler{FileSystem: webdav.Dir(root), LockSystem: webdav.NewMemLS()}
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if name, word, ok := r.BasicAuth(); !ok || name != "robin" || word != secret {
			w.Header().Set("WWW-Authenticate", `Basic realm="x"`)
			w.WriteHeader(http.StatusUnauthorized)
			return
		}
		dav.ServeHTTP(w, r)
	}))
	t.Cleanup(srv.Close)
	return strings.TrimPrefix(srv.URL, "http://")
}

// sftpServer serves this machine's files by SFTP to robin, and is known to the user.
func sftpServer(t *testing.T) string {
	t.Helper()
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	host, err := ssh.NewSignerFromKey(key)
	if err != nil {
		t.Fatal(err)
	}
	conf := &ssh.ServerConfig{PasswordCallback: func(c ssh.ConnMetadata, word []byte) (*ssh.Permissions, error) {
		if c.User() == "robin" && string(word) == secret {
			return nil, nil
		}
		return nil, fmt.Errorf("wrong password")
	}}
	conf.AddHostKey(host)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	home := t.TempDir()
	line := knownhosts.Line([]string{knownhosts.Normalize(l.Addr().String())}, host.PublicKey())
	if err := os.Mkdir(filepath.Join(home, ".ssh"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(home, ".ssh", "known_hosts"), []byte(line+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("HOME", home)
	t.Setenv("SSH_AUTH_SOCK", "")
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go files(c, conf)
		}
	}()
	return l.Addr().String()
}

// files answers one SFTP client.
func files(c net.Conn, conf *ssh.ServerConfig) {
	defer c.Close()
	_, channels, requests, err := ssh.NewServerConn(c, conf)
	if err != nil {
		return
	}
	go ssh.DiscardRequests(requests)
	for ch := range channels {
		channel, requests, err := ch.Accept()
		if err != nil {
			return
		}
		go func() {
			for r := range requests {
				_ = r.Reply(r.Type == "subsystem", nil)
			}
		}()
		if srv, err := sftp.NewServer(channel); err == nil {
			_ = srv.Serve()
			srv.Close()
		}
	}
}

// typed types into a field and leaves it, as a person does.
func (b *tab) typed(css, value string) {
	b.t.Helper()
	b.ask(fmt.Sprintf(`(i => { i.focus(); i.select(); return 1 })(document.querySelector(%q))`, css))
	b.do(cd.KeyEvent(value))
	b.ask(`(document.activeElement.blur(), 1)`)
}

// A finished delivery is sent from its page to a folder, by SFTP and by WebDAV; what is
// there is what was made, the page says where it is, and the password stays nowhere.
func TestSendInBrowser(t *testing.T) {
	dir := house1(t)
	root := t.TempDir()
	for _, name := range []string{"folder", "sftp", "dav"} {
		if err := os.Mkdir(filepath.Join(root, name), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	places := map[string]string{
		"folder": filepath.Join(root, "folder"),
		"sftp":   "sftp://robin@" + sftpServer(t) + filepath.Join(root, "sftp"),
		"dav":    "webdav://robin@" + davServer(t, root) + "/dav",
	}
	// The browser is found before HOME is another: it needs none of it.
	b := opened(t, running(t, Options{Shoot: dir, Keys: t.TempDir()}))
	b.do(cd.Navigate(b.base + "/deliver"))
	b.until(`document.documentElement.dataset.live`)
	b.do(cd.Click(cd.CSS(`[data-do=make]`)))
	b.until(`document.getElementById("job")?.dataset.state === "done" && document.querySelector("[name=To]")`)
	for _, name := range []string{"folder", "sftp", "dav"} {
		b.typed("[name=To]", places[name])
		if name != "folder" {
			b.typed("[name=Secret]", "wrong")
			b.do(cd.Click(cd.CSS(`[data-do=send]`)))
			b.until(`document.getElementById("job").dataset.state === "failed" && document.querySelector("[name=Secret]").value === ""`)
			b.typed("[name=Secret]", secret)
		}
		b.do(cd.Click(cd.CSS(`[data-do=send]`)))
		b.until(`document.getElementById("job").dataset.state === "done" && document.getElementById("job-words").textContent.includes("read back and compared")`)
		b.until(fmt.Sprintf(`[...document.querySelectorAll(".made li")].some(l => l.textContent.includes(%q))`, send.Plain(places[name])))
		for _, file := range []string{"01-dining-room.jpg", "index.html", "edit-record.json"} {
			want, err := os.ReadFile(filepath.Join(dir, "deliveries", "listing", file))
			if err != nil {
				t.Fatal(err)
			}
			if got, err := os.ReadFile(filepath.Join(root, name, file)); err != nil || string(got) != string(want) {
				t.Errorf("%s: %s did not arrive as it is (%v)", name, file, err)
			}
		}
	}
	if p := read(t, dir).Pack; p == nil || len(p.Sent) != 3 {
		t.Errorf("the shoot remembers %+v", p)
	}
	for _, name := range []string{shoot.FileName, journalName} {
		if text, err := os.ReadFile(filepath.Join(dir, name)); err == nil && strings.Contains(string(text), secret) {
			t.Errorf("%s holds the password", name)
		}
	}
}

// A sheet of one's own is typed once: its tick and its rules are there after a reload, a
// bad one is refused where it was typed, and undo takes the choice back.
func TestOwnSheetInBrowser(t *testing.T) {
	dir := house1(t)
	sheets := t.TempDir()
	mine, bad := filepath.Join(sheets, "lakeside.toml"), filepath.Join(sheets, "bad.toml")
	for name, text := range map[string]string{
		mine: "title = \"Lakeside office\"\n[pixels]\nlong-edge = 500\n",
		bad:  "[pixels]\nlong-egde = 500\n",
	} {
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	b := opened(t, running(t, Options{Shoot: dir}))
	b.do(cd.Navigate(b.base + "/deliver"))
	b.until(`document.documentElement.dataset.live`)
	b.typed("[name=Own]", bad)
	b.until(`document.getElementById("said").textContent.includes("long-egde")`)
	if v := b.ask(`document.querySelector("[name=Own]").value`); v != bad {
		t.Errorf("what was typed has become %q", v)
	}
	b.typed("[name=Own]", mine)
	ticked := fmt.Sprintf(`[...document.querySelectorAll("[name=sheet]:checked")].some(i => i.value === %q) && document.body.textContent.includes("Lakeside office")`, mine)
	b.until(ticked)
	b.do(cd.Click(cd.CSS(`[name=sheet][value=print]`)))
	b.until(`document.querySelector("[name=sheet][value=print]").checked && document.querySelector("[data-do=undo]").title.includes("who gets them")`)
	b.do(cd.Navigate(b.base + "/"))
	b.do(cd.Navigate(b.base + "/deliver"))
	b.until(ticked + ` && document.querySelector("[name=sheet][value=print]").checked && document.querySelector("[name=sheet][value=listing]").checked`)
	for range 2 {
		was := b.ask(`document.querySelector(".history").dataset.rev`)
		b.do(cd.Click(cd.CSS(`[data-do=undo]`)))
		b.until(`document.querySelector(".history").dataset.rev !== "` + was + `"`)
	}
	b.until("!(" + ticked + ")")
	b.until(`document.querySelector("[name=sheet][value=listing]").checked && !document.querySelector("[name=sheet][value=print]").checked`)
}

// Undo takes back what it names and nothing that came later: a sending stays noted when
// the package is counted as before, and a change made elsewhere since is not run over.
func TestUndoKeepsWhatCameLater(t *testing.T) {
	dir, to := house1(t), t.TempDir()
	s := running(t, Options{Shoot: dir})
	v := visit(t, s)
	v.must("/pack", map[string]any{"count": 2})
	v.must("/deliver", map[string]any{"sheets": []string{"listing"}})
	if j := v.ended(s); j.State != "done" {
		t.Fatalf("%+v", j)
	}
	v.must("/send", map[string]any{"delivery": "listing", "to": to})
	if j := v.ended(s); j.State != "done" {
		t.Fatalf("%+v", j)
	}
	v.must("/undo", struct{}{})
	p := read(t, dir).Pack
	if p == nil || p.Count != 0 || len(p.Sent) != 1 || p.Sent[0].To != to {
		t.Errorf("after undoing the count the package is %+v", p)
	}
	for _, o := range read(t, dir).Views {
		if o.ID != "view-01" && len(o.Done["listing"].Outputs) == 0 {
			t.Errorf("undoing the count forgot what was delivered of %s", o.ID)
		}
	}
	v.must("/redo", struct{}{})
	if p = read(t, dir).Pack; p.Count != 2 || len(p.Sent) != 1 {
		t.Errorf("after doing it again the package is %+v", p)
	}

	// Another program changes the heading: the count can't be taken back over it.
	other, err := shoot.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	err = other.Update(t.Context(), func(d *shoot.Doc) error { d.Pack.Title = "12 Example Lane"; return nil })
	if err != nil {
		t.Fatal(err)
	}
	other.Close()
	if status, said := v.post("/undo", struct{}{}); status != http.StatusConflict || !strings.Contains(said, "changed elsewhere") {
		t.Errorf("undoing over another's change is answered %d %s", status, said)
	}
	if p = read(t, dir).Pack; p.Count != 2 || p.Title != "12 Example Lane" || len(p.Sent) != 1 {
		t.Errorf("the refused undo left %+v", p)
	}
}
