package finish

import (
	"encoding/json"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"mullion/simcam"
	"mullion/who"
)

// Two sheets at once, one of them a file of one's own, with a second copy of the
// originals and rooms: every file where and what it should be, and the card as it
// was.
func TestSheetsSecondCopyAndRooms(t *testing.T) {
	card, dir := smallCard(t), filepath.Join(t.TempDir(), "shoot")
	second := filepath.Join(t.TempDir(), "second disk")
	own := filepath.Join(t.TempDir(), "agency.toml")
	write(t, own, []byte("title = \"Agency\"\ndate = \"2026-11-25\"\nsource = \"a test\"\n[pixels]\nlong-edge = 300\nratio = \"4:3\"\n"+
		"[file]\nmax-bytes = 40_000\nquality = [40, 90]\ngood = 70\ndpi = 72\nsharpen = 1.0\n[set]\nnames = \"{room}-{order}\"\n"))
	before := tree(t, card)
	job := Job{Card: card, Shoot: dir, Second: second, Sheets: []string{"listing", own}, Rooms: []string{" kitchen ", "guest room"}}
	r := run(t, job)
	sound(t, r, 2)
	untouched(t, card, before)
	want := []string{"agency/guest-room-02.jpg", "agency/kitchen-01.jpg", "listing/01-kitchen.jpg", "listing/02-guest-room.jpg"}
	if got := pictures(t, filepath.Join(dir, "deliveries")); !slices.Equal(got, want) {
		t.Errorf("delivered %v, want %v", got, want)
	}
	for _, v := range r.Views {
		if len(v.Files) != 2 || v.Files[0].Delivery != "listing" || v.Files[1].Delivery != "agency" {
			t.Errorf("%s: %+v", v.ID, v.Files)
		}
		for _, f := range v.Files {
			file, err := os.Open(f.Path)
			if err != nil {
				t.Fatal(err)
			}
			c, err := jpeg.DecodeConfig(file)
			file.Close()
			if err != nil || c.Width != f.Width || c.Height != f.Height {
				t.Errorf("%s: %d x %d (%v), reported %d x %d", f.Path, c.Width, c.Height, err, f.Width, f.Height)
			}
			if f.Delivery == "agency" && (f.Width != 300 || f.Height != 225 || f.Bytes > 40_000) {
				t.Errorf("the agency's picture: %+v", f)
			}
		}
	}
	for _, place := range []string{filepath.Join(dir, "originals"), second} {
		copies := 0
		after := tree(t, place)
		for path, e := range before {
			if strings.HasSuffix(path, ".DNG") && after[path].sum == e.sum {
				copies++
			}
		}
		if copies != 6 {
			t.Errorf("%s holds %d of 6 originals", place, copies)
		}
	}
	// One sheet's file is lost: only that one is made again, and the report still
	// tells of both.
	lost := filepath.Join(dir, "deliveries", "agency", "kitchen-01.jpg")
	listing := filepath.Join(dir, "deliveries", "listing")
	whole := tree(t, listing)
	if err := os.Remove(lost); err != nil {
		t.Fatal(err)
	}
	r = run(t, job)
	sound(t, r, 2)
	if len(r.Views[0].Files) != 2 || len(r.Views[1].Files) != 2 {
		t.Errorf("the report tells of %d and %d files", len(r.Views[0].Files), len(r.Views[1].Files))
	}
	after := tree(t, listing)
	for _, path := range pictures(t, listing) {
		if !after[path].at.Equal(whole[path].at) {
			t.Errorf("%s was written again", path)
		}
	}
	if _, err := Run(t.Context(), Job{Card: card, Shoot: dir, Sheets: []string{"listing", "listing"}}); err == nil || !strings.Contains(err.Error(), "listing") {
		t.Errorf("the same sheet twice gave %v", err)
	}
}

// In place nothing is copied, and the second run finds its frames again.
func TestInPlace(t *testing.T) {
	card, dir := smallCard(t), filepath.Join(t.TempDir(), "shoot")
	before := tree(t, card)
	for i := range 2 {
		r := run(t, Job{Card: card, Shoot: dir, InPlace: true})
		sound(t, r, 2)
		if k := kept(r); k[0] != (i == 1) || k[1] != (i == 1) {
			t.Errorf("run %d kept %v", i+1, k)
		}
		for _, f := range r.Views[0].Frames {
			if filepath.Dir(f.File) != filepath.Join(card, filepath.FromSlash(simcam.Folder)) {
				t.Errorf("frame %s does not lie on the card", f.File)
			}
		}
	}
	untouched(t, card, before)
	if entries, err := os.ReadDir(filepath.Join(dir, "originals")); err == nil && len(entries) > 0 {
		t.Errorf("%d files were copied", len(entries))
	}
}

// Pairs of raw and JPEG are one frame; JPEGs alone make a picture too.
func TestPairsAndJPEGsAlone(t *testing.T) {
	card := filepath.Join(t.TempDir(), "card")
	set := small()
	set.JPEG = true
	_, raws := photograph(t, card, set, scenes(t, "bath", "guest")...)
	r := run(t, Job{Card: card, Shoot: filepath.Join(t.TempDir(), "pairs")})
	sound(t, r, 2)
	for _, v := range r.Views {
		for _, f := range v.Frames {
			if !strings.HasSuffix(f.File, ".DNG") || len(v.Frames) != 3 {
				t.Errorf("%s of %d frames has %s", v.ID, len(v.Frames), f.File)
			}
		}
	}
	for _, p := range raws {
		if err := os.Remove(p); err != nil {
			t.Fatal(err)
		}
	}
	r = run(t, Job{Card: card, Shoot: filepath.Join(t.TempDir(), "jpegs")})
	sound(t, r, 2)
	for _, v := range r.Views {
		for k, f := range v.Frames {
			if want := []float64{-2.667, 0, 2.667}[k]; !f.Used || f.EV < want-.15 || f.EV > want+.15 {
				t.Errorf("%s: %s used %v at %+.2f EV, want %+.2f", v.ID, f.File, f.Used, f.EV, want)
			}
		}
	}
}

// What the camera wrote about its owner and itself never leaves the house. Read by
// exiftool, which is not ours.
func TestPrivacyOfDelivered(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed: it is the independent reader of this test")
	}
	card, dir := smallCard(t), filepath.Join(t.TempDir(), "shoot")
	folder := filepath.Join(card, filepath.FromSlash(simcam.Folder))
	if out, err := exec.Command(tool, "-q", "-overwrite_original", "-r", "-ext", "DNG", "-GPSLatitude=48.1", "-GPSLatitudeRef=N", "-GPSLongitude=11.5",
		"-GPSLongitudeRef=E", "-OwnerName=Owner Secret", "-SerialNumber=SECRET77", "-LensSerialNumber=SECRET78", "-Artist=Artist Secret", folder).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	r := run(t, Job{Card: card, Shoot: dir, Sheets: []string{"listing", "print"}, Rooms: []string{"bath"},
		Who: who.Who{Creator: "Robin Vale", Copyright: "(c) {year} Robin Vale"}, Version: "test"})
	sound(t, r, 2)
	for _, v := range r.Views {
		for _, f := range v.Files {
			out, err := exec.Command(tool, "-j", "-a", "-G1", "-ee", f.Path).Output()
			if err != nil {
				t.Fatal(err)
			}
			var all []map[string]any
			if err := json.Unmarshal(out, &all); err != nil {
				t.Fatal(err)
			}
			creator := false
			for tag, value := range all[0] {
				name := strings.ToLower(tag[strings.LastIndex(tag, ":")+1:])
				text, _ := value.(string)
				creator = creator || text == "Robin Vale"
				for _, bad := range []string{"gps", "serial", "owner", "makernote", "thumbnail", "preview", "uniqueid", "history", "documentid"} {
					if strings.Contains(name, bad) || strings.HasPrefix(tag, "GPS") {
						t.Errorf("%s tells %s = %v", filepath.Base(f.Path), tag, value)
					}
				}
				if strings.Contains(strings.ToLower(text), "secret") {
					t.Errorf("%s tells %s = %v", filepath.Base(f.Path), tag, value)
				}
			}
			if !creator {
				t.Errorf("%s does not name its creator", filepath.Base(f.Path))
			}
			for _, secret := range []string{"Secret", "SECRET7", "0041877", card} {
				if strings.Contains(string(read(t, f.Path)), secret) {
					t.Errorf("%s holds %q", filepath.Base(f.Path), secret)
				}
			}
		}
	}
}
