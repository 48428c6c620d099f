package studio

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"mullion/finish"
)

// An error that names the command line's words says on a page what to do on the page.
func TestErrorsSpeakOfThePage(t *testing.T) {
	err := errors.Join(&finish.TooMany{Pictures: 52, Sheet: "listing", Most: 40})
	var j jobState
	j.end(nil, "", err)
	for _, want := range []string{"52", "listing", "40", "Pictures agreed on"} {
		if !strings.Contains(j.Error, want) {
			t.Errorf("%q lacks %q", j.Error, want)
		}
	}
	if strings.Contains(j.Error, "--") || strings.Contains(j.Error, "mullion order") {
		t.Errorf("the page says %q", j.Error)
	}
	j.end(nil, "", os.ErrPermission)
	if j.Error != os.ErrPermission.Error() {
		t.Errorf("another error became %q", j.Error)
	}
}

// ended waits for the job and returns how it ended.
func (v *visitor) ended(s *Server) jobState {
	v.t.Helper()
	for range 600 {
		if j := s.job.look(); j.State != "running" {
			return j
		}
		time.Sleep(100 * time.Millisecond)
	}
	v.t.Fatal("the job did not end in a minute")
	return jobState{}
}

// A delivery sheet of one's own is typed as a path; the page shows its rules and its
// delivery, with the pages that name the photographer beside those that don't.
func TestOwnSheet(t *testing.T) {
	dir := house1(t)
	sheet := filepath.Join(t.TempDir(), "lakeside.toml")
	write := func(text string) {
		if err := os.WriteFile(sheet, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("title = \"Lakeside office\"\n[pixels]\nlong-edge = 500\n[set]\nmax-count = 2\n")
	s := running(t, Options{Shoot: dir})
	v := visit(t, s)
	v.must("/pack", map[string]any{"sheets": []string{"listing", sheet}})
	if _, _, page := v.get("/deliver"); !strings.Contains(page, "Lakeside office") || !strings.Contains(page, "500 pixels along the longer side") {
		t.Error("the page does not show the rules of one's own sheet")
	}
	v.must("/deliver", map[string]any{"sheets": []string{sheet}})
	if j := v.ended(s); j.State != "failed" || !strings.Contains(j.Error, "Pictures agreed on") {
		t.Errorf("three pictures for a sheet of two: %+v", j)
	}
	v.must("/pack", map[string]any{"count": 2, "branded": true})
	v.must("/deliver", map[string]any{"sheets": []string{sheet}})
	if j := v.ended(s); j.State != "done" || len(j.Failed) > 0 {
		t.Fatalf("%+v", j)
	}
	_, _, page := v.get("/deliver")
	for _, href := range []string{"/gallery/lakeside/index.html", "/gallery/lakeside/branded.html"} {
		if !strings.Contains(page, `href="`+href+`"`) {
			t.Errorf("no link to %s", href)
		}
		if status, _, _ := v.get(href); status != 200 {
			t.Errorf("%s answers %d", href, status)
		}
	}

	write("[pixels]\nlong-egde = 500\n")
	if _, _, page := v.get("/deliver"); !strings.Contains(page, "long-egde") {
		t.Error("the page does not say what is wrong in the sheet")
	}
	for _, name := range []string{"lakeside.toml", "/etc/passwd", "nosuch", filepath.Join(dir, "shoot.json")} {
		for _, path := range []string{"/deliver", "/pack"} {
			if status, _ := v.post(path, map[string]any{"sheets": []string{name}}); status != 400 {
				t.Errorf("%s: the sheet %s is answered %d", path, name, status)
			}
		}
	}
	for _, name := range []string{"..", "%2e%2e", "lakeside%2f.."} {
		if status, _, _ := v.get("/gallery/" + name + "/shoot.json"); status == 200 {
			t.Errorf("/gallery/%s/shoot.json is shown", name)
		}
	}
}
