package finish

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mullion/simcam"
)

func write(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func read(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// failure returns the one failure that is about a file.
func failure(t *testing.T, r *Report, file string) string {
	t.Helper()
	var found []string
	for _, f := range r.Failed {
		if strings.Contains(f.What+f.Why, file) {
			found = append(found, f.Why)
		}
	}
	if len(found) != 1 {
		t.Errorf("%s is told of %d times, want once: %q", file, len(found), found)
		return ""
	}
	if strings.Contains(found[0], "\n") {
		t.Errorf("%s: more than one line: %q", file, found[0])
	}
	if !strings.Contains(found[0], file) {
		t.Errorf("the reason does not name %s: %q", file, found[0])
	}
	return found[0]
}

// What is damaged is told in one line each; all else is delivered, whatever the
// folders and files are called.
func TestDamagedFiles(t *testing.T) {
	src := smallCard(t)
	card := filepath.Join(t.TempDir(), "Karte Nº 7 – Übergabe")
	if err := os.MkdirAll(filepath.Dir(card), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(src, card); err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(card, filepath.FromSlash(simcam.Folder))
	named := filepath.Join(card, "DCIM", "Küche und Flur 東")
	if err := os.Rename(folder, named); err != nil {
		t.Fatal(err)
	}
	good := read(t, filepath.Join(named, "LF1_0001.DNG"))
	write(t, filepath.Join(named, "text.dng"), []byte("Dear diary, this is no photograph.\n"))
	write(t, filepath.Join(named, "nothing.jpg"), nil)
	write(t, filepath.Join(named, "head.dng"), good[:200])
	write(t, filepath.Join(named, "LF1_0009.DNG"), good[:len(good)/2])
	dir := filepath.Join(t.TempDir(), "Auftrag 12 – Größe")
	r := run(t, Job{Card: card, Shoot: dir})
	for _, file := range []string{"text.dng", "nothing.jpg", "head.dng"} {
		t.Log(failure(t, r, file))
	}
	whole := 0
	for _, v := range r.Views {
		used := 0
		for _, f := range v.Frames {
			if f.Used {
				used++
			}
		}
		if used == 3 && len(v.Files) == 1 {
			whole++
		}
	}
	if whole != 2 {
		t.Errorf("%d of 2 sound views were delivered whole", whole)
	}
	// Half a raw file is either a frame left out of a view, which becomes a finding,
	// or a view of its own that fails.
	told := 0
	for _, f := range r.Failed {
		if strings.Contains(f.Why, "LF1_0009.DNG") {
			told++
			t.Log(f.Why)
		}
	}
	for _, v := range r.Views {
		for _, f := range v.Findings {
			if strings.Contains(f.Message, "LF1_0009.DNG") {
				told++
				t.Log(f.Message)
			}
		}
	}
	if told != 1 {
		t.Errorf("the truncated raw file is told of %d times", told)
	}
	if p := pictures(t, filepath.Join(dir, "deliveries")); len(p) != 2 {
		t.Errorf("delivered %v", p)
	}
}

// A damaged frame inside a bracket costs the frame, not the view.
func TestTruncatedFrameInBracket(t *testing.T) {
	card := smallCard(t)
	path := filepath.Join(card, filepath.FromSlash(simcam.Folder), "LF1_0002.DNG")
	b := read(t, path)
	write(t, path, b[:len(b)*2/3])
	r := run(t, Job{Card: card, Shoot: filepath.Join(t.TempDir(), "shoot")})
	sound(t, r, 2)
	v := r.Views[0]
	var told []string
	for _, f := range v.Findings {
		if f.Code == "frame-unreadable" {
			told = append(told, f.Message)
		}
	}
	if len(told) != 1 || !strings.Contains(told[0], "LF1_0002.DNG") || strings.Contains(told[0], "\n") {
		t.Errorf("the lost frame is told of as %q", told)
	}
	used := 0
	for _, f := range v.Frames {
		if f.Used {
			used++
		} else if filepath.Base(f.File) != "LF1_0002.DNG" {
			t.Errorf("%s was not used: %s", f.File, f.Why)
		} else if f.Why == "" {
			t.Errorf("%s was not used, and no reason is given", f.File)
		}
	}
	if used != 2 {
		t.Errorf("%d frames were used, want 2", used)
	}
}

func TestNothingToDo(t *testing.T) {
	empty := t.TempDir()
	write(t, filepath.Join(empty, "readme.txt"), []byte("no pictures here"))
	onlyBad := t.TempDir()
	write(t, filepath.Join(onlyBad, "a.dng"), []byte("text"))
	plain := filepath.Join(t.TempDir(), "file.txt")
	write(t, plain, []byte("a file"))
	for what, c := range map[string]struct{ card, says string }{
		"no pictures": {empty, "no pictures"},
		"only damage": {onlyBad, onlyBad},
		"no folder":   {filepath.Join(empty, "nowhere"), "no such folder"},
		"a file":      {plain, "not a folder"},
	} {
		shoot := filepath.Join(t.TempDir(), "shoot")
		r, err := Run(t.Context(), Job{Card: c.card, Shoot: shoot})
		if err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", what, err)
		}
		if r == nil || len(r.Views) != 0 {
			t.Errorf("%s: the report is %+v", what, r)
		}
	}
	if _, err := Run(t.Context(), Job{Card: smallCard(t), Shoot: filepath.Join(t.TempDir(), "s"), Sheets: []string{"nosuch"}}); err == nil || !strings.Contains(err.Error(), "listing-small") {
		t.Errorf("an unknown sheet gave %v", err)
	}
	card := smallCard(t)
	if _, err := Run(t.Context(), Job{Card: card, Shoot: filepath.Join(t.TempDir(), "s"), Rooms: []string{"a", "b", "c"}}); err == nil || !strings.Contains(err.Error(), "2 views") {
		t.Errorf("three rooms for two views gave %v", err)
	}
}

// The shoot must not be made on the card, nor a second copy be kept there.
func TestNeverWritesToTheCard(t *testing.T) {
	card := smallCard(t)
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(card, link); err != nil {
		t.Fatal(err)
	}
	before := tree(t, card)
	for what, job := range map[string]Job{
		"a folder on the card": {Card: card, Shoot: filepath.Join(card, "new", "shoot")},
		"a second copy on it":  {Card: card, Shoot: filepath.Join(t.TempDir(), "s"), Second: filepath.Join(card, "copy")},
		"the card by a link":   {Card: card, Shoot: filepath.Join(link, "shoot")},
		"the card itself":      {Card: card, Shoot: card},
	} {
		if _, err := Run(t.Context(), job); err == nil {
			t.Errorf("%s was accepted as a place to write to", what)
		}
	}
	untouched(t, card, before)
}
