package finish

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"mullion/deliver"
	"mullion/jpegfile"
	"mullion/record"
	"mullion/shoot"
	"mullion/who"
)

// scan is a JPEG file's coded pixels.
func scan(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	_, rest, err := jpegfile.Split(data)
	if err != nil {
		t.Fatal(err)
	}
	return rest
}

func fileOf(t *testing.T, r *Report, view string) string {
	t.Helper()
	for _, v := range r.Views {
		if v.ID == view && len(v.Files) > 0 {
			return v.Files[0].Path
		}
	}
	t.Fatalf("%s has no file in the report", view)
	return ""
}

// TestDeliverReusesPictures finishes a card, then swaps the order, adds captions and
// takes a view out again: no picture is made twice, and every file says what it should.
func TestDeliverReusesPictures(t *testing.T) {
	card, dir := smallCard(t), filepath.Join(t.TempDir(), "shoot")
	keys := t.TempDir()
	job := Job{Card: card, Shoot: dir, Keys: keys, Version: "test"}
	first := run(t, job)
	sound(t, first, 2)
	a, b := scan(t, fileOf(t, first, "view-01")), scan(t, fileOf(t, first, "view-02"))

	change(t, dir, func(s *shoot.Shoot) error {
		return s.Update(t.Context(), func(d *shoot.Doc) error {
			d.Views[0].Order, d.Views[1].Order = 2, 1
			d.Views[1].Caption, d.Views[1].Alt = "A quiet room — garden side.", "A bedroom with two windows."
			d.Pack = &shoot.Pack{Title: "12 Example Lane", Branded: true}
			return nil
		})
	})
	// The frames are away: whoever tries to make a picture fails.
	originals := filepath.Join(dir, "originals")
	if err := os.Rename(originals, originals+".away"); err != nil {
		t.Fatal(err)
	}
	photographer := who.Who{Creator: "Robin Vale", Copyright: "© {year} Robin Vale"}
	job = Job{Shoot: dir, Keys: keys, Version: "test", Who: photographer, Licence: "Licence of {creator}, {year}.\n"}
	r, err := Deliver(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	sound(t, r, 2)
	if err := os.Rename(originals+".away", originals); err != nil {
		t.Fatal(err)
	}
	delivery := filepath.Join(dir, "deliveries", "listing")
	if f := fileOf(t, r, "view-02"); filepath.Base(f) != "01.jpg" || !bytes.Equal(scan(t, f), b) {
		t.Errorf("the second view's picture is not first, or not the same: %s", f)
	}
	if f := fileOf(t, r, "view-01"); filepath.Base(f) != "02.jpg" || !bytes.Equal(scan(t, f), a) {
		t.Errorf("the first view's picture is not second, or not the same: %s", f)
	}
	tags := exif(t, filepath.Join(delivery, "01.jpg"))
	for tag, want := range map[string]string{
		"Description": "A quiet room — garden side.", "AltTextAccessibility": "A bedroom with two windows.", "Creator": "Robin Vale",
		"DigitalSourceType": "http://cv.iptc.org/newscodes/digitalsourcetype/computationalCapture", "Title": "01",
	} {
		if got := tags[tag]; got != want {
			t.Errorf("%s is %q, want %q", tag, got, want)
		}
	}
	year := r.Views[0].Taken.Format("2006")
	if text, err := os.ReadFile(filepath.Join(delivery, licenceFile)); err != nil || string(text) != "Licence of Robin Vale, "+year+".\n" {
		t.Errorf("the licence is %q, %v", text, err)
	}
	if plain, err := os.ReadFile(filepath.Join(delivery, "index.html")); err != nil || strings.Contains(string(plain), "Robin") {
		t.Errorf("the page for listing services names the photographer, %v", err)
	}
	page, err := os.ReadFile(filepath.Join(delivery, deliver.BrandedName))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"12 Example Lane", "Robin Vale", "A quiet room", `href="photographs.zip"`, `href="licence.txt"`, `href="edit-record.html"`, ".webp"} {
		if !strings.Contains(string(page), want) {
			t.Errorf("the gallery lacks %q", want)
		}
	}
	if v, err := record.Verify(t.Context(), delivery, dir); err != nil || !v.OK() {
		t.Errorf("%+v, %v", v.Faults, err)
	}

	// Every byte counts in the archive too.
	zip := filepath.Join(delivery, deliver.ArchiveName)
	data, err := os.ReadFile(zip)
	if err != nil {
		t.Fatal(err)
	}
	data[len(data)/3] ^= 4
	os.WriteFile(zip, data, 0o644)
	if v, err := record.Verify(t.Context(), delivery, ""); err != nil || len(v.Faults) != 1 || v.Faults[0].Path != deliver.ArchiveName {
		t.Errorf("a flipped byte of the archive: %+v, %v", v.Faults, err)
	}

	// One picture agreed on: the second is set aside, and comes back unmade.
	count := func(n int) *Report {
		change(t, dir, func(s *shoot.Shoot) error {
			return s.Update(t.Context(), func(d *shoot.Doc) error { d.Pack.Count = n; return nil })
		})
		r, err := Deliver(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	r = count(1)
	sound(t, r, 1)
	if !slices.Equal(r.Aside, []string{"view-01"}) {
		t.Errorf("set aside: %q", r.Aside)
	}
	if _, err := os.Stat(filepath.Join(delivery, "02.jpg")); err == nil {
		t.Error("what was set aside is still delivered")
	}
	sound(t, count(0), 2)
}

// What is set aside goes out of every delivery, with its small versions and the pages that
// show it, and not only of the one that is made again.
func TestSetAsideEverywhere(t *testing.T) {
	card, dir := smallCard(t), filepath.Join(t.TempDir(), "shoot")
	sound(t, run(t, Job{Card: card, Shoot: dir, Sheets: []string{"listing", "print"}, Version: "test"}), 2)
	held := func(sheet, name string) (found []string) {
		files, _ := filepath.Glob(filepath.Join(dir, "deliveries", sheet, name))
		return files
	}
	doc, err := shoot.Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	stem := func(sheet string) string {
		name := filepath.Base(doc.View("view-01").Done[sheet].Outputs[0].Path)
		return strings.TrimSuffix(name, filepath.Ext(name))
	}
	change(t, dir, func(s *shoot.Shoot) error {
		return s.Update(t.Context(), func(d *shoot.Doc) error { d.View("view-01").Decisions.LeaveOut = true; return nil })
	})
	for _, sheet := range []string{"listing", "print"} {
		if len(held(sheet, "pages/"+stem(sheet)+"-640.jpg")) != 1 {
			t.Fatalf("%s has no small version of %s to begin with", sheet, stem(sheet))
		}
	}
	if _, err := Deliver(t.Context(), Job{Shoot: dir, Sheets: []string{"listing"}, Version: "test"}); err != nil {
		t.Fatal(err)
	}
	for _, pattern := range []string{stem("print") + ".*", "pages/" + stem("print") + "-*", "index.html", "contact-sheet*.pdf", deliver.ArchiveName} {
		if left := held("print", pattern); len(left) > 0 {
			t.Errorf("left in the delivery that was not made again: %q", left)
		}
	}
	if n := len(held("print", "pages/*-640.jpg")); n != 1 {
		t.Errorf("%d small pictures in the other delivery, want the one that stays", n)
	}
	if len(held("listing", "index.html")) != 1 || len(held("listing", "pages/*-640.jpg")) != 1 {
		t.Error("the delivery that was made again is not whole")
	}
}

// exif reads a file's tags with an independent program.
func exif(t *testing.T, path string) map[string]string {
	t.Helper()
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed")
	}
	out, err := exec.Command(tool, "-j", "-s", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	var all []map[string]any
	if err := json.Unmarshal(out, &all); err != nil || len(all) != 1 {
		t.Fatalf("%s, %v", out, err)
	}
	tags := map[string]string{}
	for k, v := range all[0] {
		if s, ok := v.(string); ok {
			tags[k] = s
		}
	}
	return tags
}

// TestDeliverRefusesBeforeItWrites is about sheets that don't fit.
func TestDeliverRefusesBeforeItWrites(t *testing.T) {
	card, dir := smallCard(t), filepath.Join(t.TempDir(), "shoot")
	sound(t, run(t, Job{Card: card, Shoot: dir, Version: "test"}), 2)
	tight := filepath.Join(t.TempDir(), "tight.toml")
	if err := os.WriteFile(tight, []byte("[set]\nmax-count = 1\n[pixels]\nwarn-below = 4000\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	said, err := Foresee(t.Context(), dir, []string{tight, "listing"})
	if err != nil || len(said) != 2 {
		t.Fatalf("%q, %v", said, err)
	}
	for i, want := range []string{"set 1 aside", "no room, so nobody knows"} {
		if got := strings.Join(said[i], "\n"); !strings.Contains(got, want) {
			t.Errorf("%q is not said: %q", want, got)
		}
	}
	if got := strings.Join(said[0], "\n"); !strings.Contains(got, "smaller than the 4000 pixels") {
		t.Errorf("the size is not said: %q", got)
	}
	if _, err := Deliver(t.Context(), Job{Shoot: dir, Sheets: []string{tight}, Version: "test"}); err == nil || !strings.Contains(err.Error(), "--package") {
		t.Errorf("one picture too many: %v", err)
	}
	if _, err := os.Stat(filepath.Join(dir, "deliveries", "tight")); err == nil {
		t.Error("something was written all the same")
	}
	if _, err := Deliver(t.Context(), Job{Shoot: t.TempDir(), Version: "test"}); err == nil {
		t.Error("a folder that is no shoot was delivered")
	}
}
