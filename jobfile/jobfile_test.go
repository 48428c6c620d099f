package jobfile

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const good = `
property = "Mill Lane 4"
package = 25
notes = "cat"
[[room]]
name = "front"
views = 2
front = true
[[room]]
name = " kitchen "
views = 3
vertical = 1
[[room]]
name = "hall"
`

func TestParse(t *testing.T) {
	j, err := Parse([]byte(good))
	if err != nil {
		t.Fatal(err)
	}
	if j.Property != "Mill Lane 4" || len(j.Rooms) != 3 || j.Wanted() != 6 || j.Owed() != 25 {
		t.Errorf("%+v, wanted %d, owed %d", j, j.Wanted(), j.Owed())
	}
	if r := j.Rooms[0]; !r.Front || !r.Outside {
		t.Errorf("the front is outside: %+v", r)
	}
	if r := j.Rooms[1]; r.Name != "kitchen" || r.Views != 3 || r.Vertical != 1 {
		t.Errorf("%+v", r)
	}
	if r := j.Rooms[2]; r.Views != 1 {
		t.Errorf("a room without a number has %d views", r.Views)
	}
}

func TestMistakes(t *testing.T) {
	for text, want := range map[string]string{
		``:                    "no rooms",
		`package = -1`:        "not possible",
		`pakage = 3`:          "nothing is known about \"pakage\"",
		"[[room]]\nviews = 2": "room 1 has no name",
		"[[room]]\nname=\"a\"\nviews = 2\nvertical = 3": "vertical can't be more",
		"[[room]]\nname=\"a\"\nviews = 900":             "wants 900 views",
		"[[room]\nname=\"a\"":                           "line 2",
	} {
		if _, err := Parse([]byte(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q gave %v, want %q in it", text, err, want)
		}
	}
}

func TestLoad(t *testing.T) {
	path := filepath.Join(t.TempDir(), "job.toml")
	if _, err := Load(t.Context(), path); err == nil {
		t.Error("a missing file was read")
	}
	if err := os.WriteFile(path, []byte("package = 0"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(t.Context(), path); err == nil || !strings.Contains(err.Error(), path) {
		t.Errorf("%v does not name the file", err)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(good))
	f.Fuzz(func(t *testing.T, b []byte) {
		if j, err := Parse(b); err == nil && (j.Owed() < 0 || len(j.Rooms) == 0 && j.Package == 0) {
			t.Errorf("%q gave %+v", b, j)
		}
	})
}
