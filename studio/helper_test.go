package studio

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"mullion/demo"
	"mullion/finish"
	"mullion/shoot"
	"mullion/simcam"
)

// master is a finished shoot of three small views, made once and copied for every
// test that needs one.
var master struct {
	root string
	once sync.Once
	err  error
}

func TestMain(m *testing.M) {
	var err error
	if master.root, err = os.MkdirTemp("", "mullion-studio-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	os.RemoveAll(master.root)
	os.Exit(code)
}

func makeMaster() error {
	s := simcam.Defaults()
	s.Scale, s.EV = .4, []float64{-2.667, 0, 2.667}
	var scenes []simcam.View
	for _, name := range []string{"bath", "guest", "dining"} {
		v, err := demo.Truth(name)
		if err != nil {
			return err
		}
		scenes = append(scenes, v.Scene())
	}
	card := filepath.Join(master.root, "card")
	if _, err := simcam.LF1().Shoot(context.Background(), card, scenes, s, nil); err != nil {
		return err
	}
	dir := filepath.Join(master.root, "house")
	_, err := finish.Run(context.Background(), finish.Job{
		Card: card, Shoot: dir, Rooms: []string{"Bathroom", "Guest room", "Dining room"}, Version: "test",
	})
	if err != nil {
		return err
	}
	return checkMaster(dir)
}

// checkMaster has the brackets checked once, so that no test's studio does it.
func checkMaster(dir string) error {
	h, err := openHouse(dir, func(int) {})
	if err != nil {
		return err
	}
	d, err := h.doc()
	if err != nil {
		return err
	}
	s := &Server{opt: Options{Version: "test"}, hub: newHub()}
	found, err := s.findings(context.Background(), h, checkKey(d, "test"))
	if err != nil {
		return err
	}
	return found.write(dir)
}

// house1 is a shoot of a test's own: view-01 in the bathroom, view-02 in the guest
// room, view-03 in the dining room.
func house1(t *testing.T) string {
	t.Helper()
	master.once.Do(func() { master.err = makeMaster() })
	if master.err != nil {
		t.Fatal(master.err)
	}
	dir := filepath.Join(t.TempDir(), "house")
	if err := os.CopyFS(dir, os.DirFS(filepath.Join(master.root, "house"))); err != nil {
		t.Fatal(err)
	}
	return dir
}

// running is a studio on a shoot, stopped with the test.
func running(t *testing.T, opt Options) *Server {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	opt.Version = "test"
	s, err := Start(ctx, opt)
	if err != nil {
		stop()
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- s.Serve() }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Errorf("the studio ended with %v", err)
		}
	})
	return s
}

// visitor has opened the printed address, as a browser does.
type visitor struct {
	t      testing.TB
	base   string
	client *http.Client
}

func visit(t testing.TB, s *Server) *visitor {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	v := &visitor{t, "http://" + s.ln.Addr().String(), &http.Client{Jar: jar}}
	r, err := v.client.Get(s.URL())
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusOK {
		t.Fatalf("the printed address answers %s", r.Status)
	}
	return v
}

func (v *visitor) get(path string) (int, http.Header, string) {
	v.t.Helper()
	r, err := v.client.Get(v.base + path)
	if err != nil {
		v.t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		v.t.Fatal(err)
	}
	return r.StatusCode, r.Header, string(b)
}

// post sends JSON from the studio's own origin.
func (v *visitor) post(path string, body any) (int, string) {
	v.t.Helper()
	b, err := json.Marshal(body)
	if err != nil {
		v.t.Fatal(err)
	}
	return v.send(path, bytes.NewReader(b), v.base)
}

func (v *visitor) send(path string, body io.Reader, origin string) (int, string) {
	v.t.Helper()
	q, err := http.NewRequest(http.MethodPost, v.base+path, body)
	if err != nil {
		v.t.Fatal(err)
	}
	if origin != "" {
		q.Header.Set("Origin", origin)
	}
	r, err := v.client.Do(q)
	if err != nil {
		v.t.Fatal(err)
	}
	defer r.Body.Close()
	b, _ := io.ReadAll(r.Body)
	return r.StatusCode, string(b)
}

// must posts what has to succeed.
func (v *visitor) must(path string, body any) {
	v.t.Helper()
	if status, answer := v.post(path, body); status != http.StatusOK {
		v.t.Fatalf("%s answers %d: %s", path, status, strings.TrimSpace(answer))
	}
}

func read(t *testing.T, dir string) *shoot.Doc {
	t.Helper()
	d, err := shoot.Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// order is the views' IDs as a buyer sees them, with a minus before those left out.
func order(t *testing.T, dir string) string {
	t.Helper()
	var out []string
	for _, v := range inOrder(read(t, dir)) {
		id := strings.TrimPrefix(v.ID, "view-")
		if v.Decisions.LeaveOut {
			id = "-" + id
		}
		out = append(out, id)
	}
	return strings.Join(out, " ")
}
