package finish

import (
	"os"
	"testing"

	"mullion/bracket"
	"mullion/internal/raster"
)

// What was put into the spool comes out bit for bit, once, and nothing of it can be
// seen in the folder meanwhile: a killed run has nothing to tidy up.
func TestSpoolGivesBackWhatItTook(t *testing.T) {
	dir := t.TempDir()
	s := newSpool(dir)
	defer s.close()
	colour := &raster.RGB{}
	for c := range colour {
		colour[c] = ramp(37, 23, float32(c))
	}
	for name, m := range map[string]*bracket.Radiance{
		"mosaic": {Mosaic: ramp(64, 48, 7), Clip: 3},
		"colour": {RGB: colour, Clip: 5},
	} {
		var want [][]float32
		scene := &Scene{Merged: m}
		for _, p := range scene.planes() {
			want = append(want, append([]float32(nil), (*p).Pix...))
		}
		s.put(name, scene, &Clock{})
		if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
			t.Errorf("%s: the spool leaves %v in its folder (%v)", name, left, err)
		}
		got, clock := s.take(name)
		if got == nil || clock == nil {
			t.Fatalf("%s: it is not there any more", name)
		}
		for i, p := range got.planes() {
			for k, v := range (*p).Pix {
				if v != want[i][k] {
					t.Fatalf("%s, plane %d: sample %d is %g, was %g", name, i, k, v, want[i][k])
				}
			}
		}
		if again, _ := s.take(name); again != nil {
			t.Errorf("%s: it was given out twice", name)
		}
	}
}

// A spool that can't write, here because its folder is missing, keeps nothing and says
// nothing: the view is merged again.
func TestSpoolWithoutADiskForgets(t *testing.T) {
	s := newSpool(t.TempDir() + "/missing")
	defer s.close()
	s.put("a", &Scene{Merged: &bracket.Radiance{Mosaic: ramp(8, 8, 0)}}, nil)
	if got, _ := s.take("a"); got != nil {
		t.Error("it gave back what it could not keep")
	}
}

func ramp(w, h int, from float32) *raster.Plane {
	p := raster.Get(w, h)
	for i := range p.Pix {
		p.Pix[i] = from + float32(i)/8
	}
	return p
}
