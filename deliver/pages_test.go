package deliver

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"mullion/jpegfile"
	"mullion/who"
)

// house writes a delivery of small pictures, with names that want to break out.
func house(t *testing.T) (dir string, d Delivery) {
	t.Helper()
	dir = t.TempDir()
	d = Delivery{Title: `"12 <Lindenfeld> & Co"`, Date: time.Date(2031, 5, 4, 0, 0, 0, 0, time.UTC), Who: who.Who{Creator: "Zoë Å. Sample", Copyright: "© {year} Z"}}
	var n Namer
	for i, name := range []string{"Küche", `</script><script>alert(1)</script>`, "浴室 🛁", ""} {
		w, h := 1500, 1000
		if i == 2 {
			w, h = 1000, 1500
		}
		file := n.Name(i+1, name)
		pic := room(w, h, 0)
		f, err := Write(context.Background(), pic, sheet(t, "listing"), About{}, filepath.Join(dir, file))
		if err != nil {
			t.Fatal(err)
		}
		d.Items = append(d.Items, Item{Order: i + 1, Room: name, Files: []File{f}, Merged: 5 * (i % 2), Caption: "a\n\"b\" <i>c</i>"})
	}
	return dir, d
}

func TestPages(t *testing.T) {
	dir, d := house(t)
	if err := Pages(context.Background(), dir, d); err != nil {
		t.Fatal(err)
	}
	page, err := os.ReadFile(filepath.Join(dir, "index.html"))
	if err != nil {
		t.Fatal(err)
	}
	text := string(page)
	for _, bad := range []string{"<i>c", "alert(1)</script>", "<Lindenfeld>", " style=", " onclick", "ZgotmplZ"} {
		if strings.Contains(text, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	if n := strings.Count(text, "<img src="); n != len(d.Items) {
		t.Errorf("%d pictures on the page", n)
	}
	// Every address on the page is a file of the delivery, or a place on the page.
	for _, m := range regexp.MustCompile(`(?:href|src)="([^"]*)"`).FindAllStringSubmatch(text, -1) {
		if strings.HasPrefix(m[1], "#") {
			if !strings.Contains(text, `id="`+m[1][1:]+`"`) {
				t.Errorf("%s leads nowhere", m[1])
			}
			continue
		}
		if _, err := os.Stat(filepath.Join(dir, m[1])); err != nil {
			t.Errorf("%s: %v", m[1], err)
		}
	}
	for _, m := range regexp.MustCompile(`srcset="([^"]*)"`).FindAllStringSubmatch(text, -1) {
		for _, part := range strings.Split(m[1], ", ") {
			name, _, _ := strings.Cut(part, " ")
			if _, err := os.Stat(filepath.Join(dir, name)); err != nil {
				t.Error(err)
			}
		}
	}
	if strings.Contains(text, "Zoë") {
		t.Error("an unbranded page names the photographer")
	}
	d.Branded = true
	if err := Pages(context.Background(), dir, d); err != nil {
		t.Fatal(err)
	}
	if page, _ = os.ReadFile(filepath.Join(dir, BrandedName)); !bytes.Contains(page, []byte("Zoë Å. Sample")) {
		t.Error("a branded page does not name the photographer")
	}
	if page, _ = os.ReadFile(filepath.Join(dir, "index.html")); bytes.Contains(page, []byte("Zoë")) {
		t.Error("beside a branded page the plain one names the photographer")
	}
	d.Branded = false
	if err := Pages(context.Background(), dir, d); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(dir, BrandedName)); err == nil {
		t.Error("the branded page stays when nobody asks for it")
	}
	small, _ := filepath.Glob(filepath.Join(dir, "pages", "*.jpg"))
	if len(small) != 8 {
		t.Errorf("%d reduced pictures", len(small))
	}
	for _, p := range small {
		data, _ := os.ReadFile(p)
		segs, _, err := jpegfile.Split(data)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range segs {
			if s.Marker == jpegfile.APP1 {
				t.Errorf("%s holds metadata", p)
			}
		}
	}
}

// The policy is checked by the browser itself, when there is one: with a wrong
// hash the style sheet or the script would be refused and reported.
func TestPageInBrowser(t *testing.T) {
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("chromium is not installed; it is the browser of this test")
	}
	dir, d := house(t)
	if err := Pages(context.Background(), dir, d); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "index.html")
	page, _ := os.ReadFile(path)
	probe := `<script>fetch("https://example.com")</script></body>` // must be refused: proof that the check can fail
	if err := os.WriteFile(filepath.Join(dir, "probe.html"), bytes.Replace(page, []byte("</body>"), []byte(probe), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, refused := range map[string]bool{"index.html": false, "probe.html": true} {
		ctx, stop := context.WithTimeout(context.Background(), 60*time.Second)
		cmd := exec.CommandContext(ctx, chromium, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
			"--disable-background-networking", "--disable-component-update", "--disable-sync", "--enable-logging=stderr",
			"--user-data-dir="+t.TempDir(), "--dump-dom", "file://"+filepath.Join(dir, name))
		var log bytes.Buffer
		cmd.Stderr = &log
		_, err := cmd.Output()
		stop()
		if err != nil {
			t.Skipf("chromium does not run here: %v", err)
		}
		if got := strings.Contains(log.String(), "Content Security Policy"); got != refused {
			t.Errorf("%s: something refused by the policy: %v\n%s", name, got, log.String())
		}
	}
}

func TestContactSheet(t *testing.T) {
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext (poppler) is not installed; it is the independent reader of this test")
	}
	dir, d := house(t)
	for len(d.Items) < 20 { // two pages
		it := d.Items[len(d.Items)%4]
		it.Order = len(d.Items) + 1
		d.Items = append(d.Items, it)
	}
	d.Letter = true
	if err := Pages(context.Background(), dir, d); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "-layout", filepath.Join(dir, "contact-sheet.pdf"), "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	text := string(out)
	for _, want := range []string{"Küche", "01-kueche.jpg", "20 photographs, 4 May 2031, page 2 of 2", "□□", "Photograph 4", "20 "} {
		if !strings.Contains(text, want) {
			t.Errorf("the sheet lacks %q:\n%s", want, text)
		}
	}
	if n := strings.Count(text, "\f"); n != 2 {
		t.Errorf("%d pages", n)
	}
}

func TestPagesErrors(t *testing.T) {
	dir, d := house(t)
	if err := Pages(context.Background(), dir, Delivery{}); err == nil {
		t.Error("no pictures, no error")
	}
	other := d
	other.Items = append([]Item(nil), d.Items...)
	other.Items[0].Files = []File{{Path: filepath.Join(t.TempDir(), "x.jpg")}}
	if err := Pages(context.Background(), dir, other); err == nil || !strings.Contains(err.Error(), "outside") {
		t.Errorf("a file outside the folder: %v", err)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if err := Pages(ctx, dir, d); err == nil {
		t.Error("cancelled, no error")
	}
	if err := os.WriteFile(d.Items[0].Files[0].Path, []byte("no JPEG"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := Pages(context.Background(), dir, d); err == nil || !strings.Contains(err.Error(), "01-kueche.jpg") {
		t.Errorf("a damaged file: %v", err)
	}
}
