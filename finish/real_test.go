package finish

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mullion/rawfile"
)

// Every raw file of other people's cameras that can be decoded goes the whole way as
// a view of one frame.
func TestRealRawFiles(t *testing.T) {
	src := testdata(t, "realdata", "raw", "decodes")
	entries, err := os.ReadDir(src)
	if err != nil {
		t.Fatal(err)
	}
	ran := 0
	for _, e := range entries {
		if !rawfile.IsRaw(e.Name()) {
			continue
		}
		ran++
		card := t.TempDir()
		write(t, filepath.Join(card, e.Name()), read(t, filepath.Join(src, e.Name())))
		r := run(t, Job{Card: card, Shoot: filepath.Join(t.TempDir(), "shoot")})
		sound(t, r, 1)
		v := r.Views[0]
		t.Logf("%s: %d x %d, %.1f EV, %g K, %v", e.Name(), v.Files[0].Width, v.Files[0].Height, v.RangeEV, v.Light.Kelvin, v.Seconds)
		if len(v.Frames) != 1 || !v.Frames[0].Used {
			t.Errorf("%s: %+v", e.Name(), v.Frames)
		}
	}
	if ran < 4 {
		t.Errorf("%d raw files were found, want at least 4", ran)
	}
}

// Heads of real raw files without their sensor data: each is told of by name, none
// becomes a picture, and the sound view beside them is delivered.
func TestRealTruncatedRawFiles(t *testing.T) {
	src := testdata(t, "realdata", "raw", "truncated")
	card := smallCard(t)
	heads := filepath.Join(card, "DCIM", "200HEADS")
	if err := os.CopyFS(heads, os.DirFS(src)); err != nil {
		t.Fatal(err)
	}
	r := run(t, Job{Card: card, Shoot: filepath.Join(t.TempDir(), "shoot"), InPlace: true})
	entries, err := os.ReadDir(src)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		t.Log(failure(t, r, e.Name()))
		for _, v := range r.Views {
			for _, f := range v.Frames {
				if strings.HasSuffix(f.File, e.Name()) && f.Used {
					t.Errorf("%s was used in %s", e.Name(), v.ID)
				}
			}
		}
	}
	if len(r.Views) != 2 {
		t.Errorf("%d of the 2 sound views were delivered", len(r.Views))
	}
}
