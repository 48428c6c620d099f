package shoot

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"syscall"
	"testing"

	"mullion/card/disk"
	"mullion/card/disk/disktest"
	"mullion/metadata"
)

var ctx = context.Background()

func bracket(hashes ...string) Bracket {
	b := Bracket{Reasons: []string{"for a test"}}
	for i, h := range hashes {
		b.Frames = append(b.Frames, Frame{Path: "originals/DCIM/" + h + ".DNG", SHA256: h, EV: float64(i)})
	}
	return b
}

func made(t *testing.T) *Shoot {
	t.Helper()
	s, err := Create(ctx, filepath.Join(t.TempDir(), "Haus Ä 1"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func TestRoundTrip(t *testing.T) {
	s := made(t)
	ev := 0.5
	err := s.Update(ctx, func(d *Doc) error {
		d.Adopt([]Bracket{bracket("a", "b", "c"), bracket("d")})
		v := d.View("view-01")
		v.Room, v.Order = "Küche", 2
		v.Decisions = Decisions{WindowEV: &ev, Level: &Level{PitchDeg: -1.5, RollDeg: 0.25}}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	want := s.Doc()
	s.Close()
	again, err := Open(ctx, s.Dir())
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if got := again.Doc(); !reflect.DeepEqual(got, want) {
		t.Errorf("read back\n%+v\nwant\n%+v", got, want)
	}
	data, _ := os.ReadFile(filepath.Join(s.Dir(), FileName))
	for _, line := range []string{"\n  \"version\": 1,\n", `"room": "Küche"`, `"window_ev": 0.5`, `"pitch_deg": -1.5`} {
		if !strings.Contains(string(data), line) {
			t.Errorf("shoot.json has no %q:\n%s", line, data)
		}
	}
	if strings.Contains(string(data), "room_ev") {
		t.Error("a decision that nobody made is written down")
	}
}

// Fields nobody here knows survive at every level.
func TestUnknownFieldsAreKept(t *testing.T) {
	dir := t.TempDir()
	x := `"from_tomorrow": {"a": [1, 2.50, "ü"]}`
	text := `{` + x + `, "version": 1, "views": [{` + x + `, "id": "view-07", "frames": [{` + x + `, "path": "p", "sha256": "h", "ev": 0}],
		"decisions": {` + x + `, "level": {"pitch_deg": 1, "roll_deg": 2, ` + x + `}},
		"done": {"listing": {"key": "k", "outputs": [{"path": "p", "sha256": "h", "size": 1, ` + x + `}], ` + x + `}}}],
		"pack": {"count": 25, ` + x + `, "sent": [{"to": "t", ` + x + `}]}}`
	if err := os.WriteFile(filepath.Join(dir, FileName), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	s, err := Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Update(ctx, func(d *Doc) error {
		d.View("view-07").Room = "Bad"
		d.Adopt([]Bracket{bracket("h", "i")})
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	data, _ := os.ReadFile(filepath.Join(dir, FileName))
	if n := strings.Count(string(data), "from_tomorrow"); n != 9 {
		t.Errorf("%d of 9 unknown fields are left:\n%s", n, data)
	}
	if n := strings.Count(string(data), "2.50"); n != 9 {
		t.Errorf("%d of 9 unknown values are left as they were", n)
	}
	if id := s.Doc().Adopt([]Bracket{bracket("new")}); id[0] != "view-08" {
		t.Errorf("the next view is %s, want view-08", id[0])
	}
}

func TestVersionsAndDamage(t *testing.T) {
	for text, says := range map[string]string{
		`{"version": 2, "views": []}`:     "newer Mullion",
		`{"version": 1, "views": [`:       "damaged",
		`{"version": 1, "views": {}}`:     "damaged",
		``:                                "damaged",
		`{"version": 0, "views": []}`:     "",
		`{"views": [{"id": "view-03"}]}`:  "",
		`{"version": 1, "views": [null]}`: "",
	} {
		dir := t.TempDir()
		os.WriteFile(filepath.Join(dir, FileName), []byte(text), 0o644)
		s, err := Open(ctx, dir)
		if says == "" {
			if err != nil {
				t.Errorf("%s: %v", text, err)
				continue
			}
			s.Close()
			continue
		}
		var fe *metadata.FileError
		if !errors.As(err, &fe) || !strings.Contains(fe.Problem, says) || fe.Advice == "" {
			t.Errorf("%s: %v, want %q", text, err, says)
		}
		if got, _ := os.ReadFile(filepath.Join(dir, FileName)); string(got) != text {
			t.Errorf("%s was changed", text)
		}
	}
}

func TestLock(t *testing.T) {
	s := made(t)
	if _, err := Open(ctx, s.Dir()); !errors.Is(err, disk.ErrLocked) || !strings.Contains(err.Error(), "another run") {
		t.Fatalf("second run: %v", err)
	}
	if _, err := Read(s.Dir()); err != nil {
		t.Errorf("looking only: %v", err)
	}
	s.Close()
	again, err := Open(ctx, s.Dir())
	if err != nil {
		t.Fatal(err)
	}
	again.Close()
	if _, err := Create(ctx, s.Dir()); !errors.Is(err, fs.ErrExist) {
		t.Errorf("created over a shoot: %v", err)
	}
	if _, err := Open(ctx, t.TempDir()); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("opened a folder that is no shoot: %v", err)
	}
}

// Killed at each step of creating and of writing: the next run opens a document
// that is the one before or the one after, whole.
func TestKilledAtEveryStep(t *testing.T) {
	finished := false
	for step := 0; !finished; step++ {
		dir := filepath.Join(t.TempDir(), "shoot")
		broken := disktest.KillAfter(disk.OS, step)
		s, err := create(ctx, broken, dir)
		reached := "nothing"
		if err == nil {
			reached = "created"
			err = s.Update(ctx, func(d *Doc) error { d.Adopt([]Bracket{bracket("a")}); return nil })
			if err == nil {
				reached, finished = "updated", true
			}
			if views := len(s.Doc().Views); (views == 1) != finished {
				t.Errorf("step %d: %d views in memory after %v", step, views, err)
			}
			s.Close()
		}
		again, err := OpenOrCreate(ctx, dir)
		if err != nil {
			t.Fatalf("step %d (%s): %v", step, reached, err)
		}
		views := len(again.Doc().Views)
		if reached == "updated" && views != 1 || reached == "nothing" && views != 0 {
			t.Errorf("step %d (%s): %d views", step, reached, views)
		}
		if err := again.Update(ctx, func(d *Doc) error { d.Adopt([]Bracket{bracket("a"), bracket("b")}); return nil }); err != nil {
			t.Fatal(err)
		}
		if doc := again.Doc(); len(doc.Views) != 2 || doc.Views[0].ID != "view-01" {
			t.Errorf("step %d (%s): %+v", step, reached, doc.Views)
		}
		again.Close()
		if step > 50 {
			t.Fatal("never finished")
		}
		if finished && step < 8 {
			t.Fatalf("only %d steps were seen", step)
		}
	}
}

func TestDiskFull(t *testing.T) {
	dir := t.TempDir()
	full := false
	s, err := create(ctx, disktest.Hooked(disk.OS, func(op, _ string, _ []byte) error {
		if full && op == "write" {
			return syscall.ENOSPC
		}
		return nil
	}), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	full = true
	before, _ := os.ReadFile(filepath.Join(dir, FileName))
	err = s.Update(ctx, func(d *Doc) error { d.Adopt([]Bracket{bracket("a")}); return nil })
	if err == nil || !strings.Contains(err.Error(), "disk is full") {
		t.Fatalf("err = %v", err)
	}
	after, _ := os.ReadFile(filepath.Join(dir, FileName))
	if string(before) != string(after) || len(s.Doc().Views) != 0 {
		t.Error("a failed update left traces")
	}
}

func TestFailedUpdateChangesNothing(t *testing.T) {
	s := made(t)
	want := errors.New("no")
	if err := s.Update(ctx, func(d *Doc) error { d.Adopt([]Bracket{bracket("a")}); return want }); err != want {
		t.Fatal(err)
	}
	if len(s.Doc().Views) != 0 {
		t.Error("the change stayed")
	}
	s.Doc().Adopt([]Bracket{bracket("a")})
	if len(s.Doc().Views) != 0 {
		t.Error("Doc gives away the document itself")
	}
}

func TestAdopt(t *testing.T) {
	d := &Doc{}
	got := d.Adopt([]Bracket{bracket("a", "b", "c"), bracket("d", "e", "f"), bracket("g")})
	want := []string{"view-01", "view-02", "view-03"}
	check := func(what string) {
		t.Helper()
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	check("first card")
	d.View("view-02").Room = "Bad"

	got = d.Adopt([]Bracket{bracket("x", "y")})
	want = []string{"view-04"}
	check("second card")
	if len(d.Views) != 4 {
		t.Errorf("%d views after the second card, want 4", len(d.Views))
	}

	got = d.Adopt([]Bracket{bracket("a", "b", "c"), bracket("d", "e", "f"), bracket("g"), bracket("x", "y")})
	want = []string{"view-01", "view-02", "view-03", "view-04"}
	check("both again")

	got = d.Adopt([]Bracket{bracket("d", "e"), bracket("f"), bracket("a", "b", "c", "g")})
	want = []string{"view-02", "view-05", "view-01"}
	check("grouped otherwise")
	if d.View("view-02").Room != "Bad" || d.View("view-03") != nil || d.View("view-04") == nil {
		t.Errorf("rooms or views were lost: %+v", d.Views)
	}

	got = d.Adopt([]Bracket{bracket("g"), bracket("a", "b", "c")})
	want = []string{"view-06", "view-01"}
	check("a number that was used is not used again")
}

func TestFinished(t *testing.T) {
	s := made(t)
	s.Update(ctx, func(d *Doc) error { d.Adopt([]Bracket{bracket("a", "b")}); return nil })
	dir, err := s.Delivery("listing")
	if err != nil {
		t.Fatal(err)
	}
	os.MkdirAll(dir, 0o755)
	file := filepath.Join(dir, "01-kitchen.jpg")
	os.WriteFile(file, []byte("picture"), 0o644)
	frames := s.Doc().View("view-01").Frames
	settings := map[string]float64{"room_ev": 0}
	key, err := Key(frames, settings, "sheet", "engine 1")
	if err != nil {
		t.Fatal(err)
	}
	finished := func(key string) bool {
		t.Helper()
		_, ok, err := s.Finished(ctx, "view-01", "listing", key)
		if err != nil {
			t.Fatal(err)
		}
		return ok
	}
	if finished(key) {
		t.Fatal("finished before anything was done")
	}
	if err := s.Finish(ctx, "view-01", "listing", key, []string{file}); err != nil {
		t.Fatal(err)
	}
	if !finished(key) {
		t.Fatal("not finished after it was done")
	}
	for what, other := range map[string]func() (string, error){
		"frames":   func() (string, error) { return Key(frames[:1], settings, "sheet", "engine 1") },
		"settings": func() (string, error) { return Key(frames, map[string]float64{"room_ev": 1}, "sheet", "engine 1") },
		"sheet":    func() (string, error) { return Key(frames, settings, "other", "engine 1") },
		"engine":   func() (string, error) { return Key(frames, settings, "sheet", "engine 2") },
	} {
		if k, err := other(); err != nil || finished(k) {
			t.Errorf("other %s: still finished (%v)", what, err)
		}
	}
	os.WriteFile(file, []byte("Picture"), 0o644) // the same size
	if finished(key) {
		t.Error("a changed file counts as finished")
	}
	os.WriteFile(file, []byte("picture"), 0o644)
	if !finished(key) {
		t.Error("restored, but not finished")
	}
	os.Remove(file)
	if finished(key) {
		t.Error("a missing file counts as finished")
	}
	outside := filepath.Join(t.TempDir(), "x.jpg")
	os.WriteFile(outside, nil, 0o644)
	if err := s.Finish(ctx, "view-01", "listing", key, []string{outside}); err == nil {
		t.Error("a file outside the shoot was recorded")
	}
}

func TestPaths(t *testing.T) {
	s := made(t)
	if p := s.Path("originals/a/b.DNG"); p != filepath.Join(s.Originals(), "a", "b.DNG") {
		t.Error(p)
	}
	if p := s.Path("/media/card/a.DNG"); p != "/media/card/a.DNG" {
		t.Error(p)
	}
	for _, name := range []string{"", ".", "..", "a/b", `a\b`} {
		if p, err := s.Delivery(name); err == nil {
			t.Errorf("delivery %q is allowed: %s", name, p)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(`{"version": 1, "x": 1, "views": [{"id": "view-01", "frames": [{"path": "p"}], "done": {"a": {"key": ""}}}]}`))
	f.Add([]byte(`{"views": [null], "Version": 1}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := parse("x", data)
		if err != nil {
			return
		}
		out, err := d.bytes()
		if err != nil {
			t.Fatal(err)
		}
		again, err := parse("x", out)
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		if twice, err := again.bytes(); err != nil || string(twice) != string(out) {
			t.Fatalf("not stable: %v\n%s\n%s", err, out, twice)
		}
		if !json.Valid(out) {
			t.Fatal("not JSON")
		}
	})
}
