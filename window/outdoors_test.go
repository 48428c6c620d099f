package window

import (
	"context"
	"math"
	"path/filepath"
	"testing"

	"mullion/internal/raster"
)

// Where there is no room there is no window: the front of a house, a street, a lake
// under a bright sky. Photographs of others (the test folder's), as single frames, and
// what is seen within one pane of the rendered house, with all its range.
func TestNoWindowOutdoors(t *testing.T) {
	dir := house(t)
	for _, n := range []string{"01", "06", "08", "11", "13", "16", "19", "21", "22", "24"} {
		m := readPNG(t, filepath.Join(dir, "..", "realdata", "kodak", n+".png"))
		img := raster.NewRGB(m.Bounds().Dx(), m.Bounds().Dy())
		for y := range img.H() {
			for x := range img.W() {
				r, g, b, _ := m.At(x, y).RGBA()
				for c, v := range [3]uint32{r, g, b} {
					img[c].Row(y)[x] = float32(math.Pow(float64(v)/65535, 2.2))
				}
			}
		}
		if w := find(t, img); len(w.Regions) != 0 {
			t.Errorf("picture %s: %.2f %% taken for windows", n, 100*w.Share())
		}
	}
	for _, v := range []struct {
		name       string
		x, y, w, h int
	}{{"living", 536, 460, 90, 70}, {"dining", 950, 500, 130, 100}, {"kitchen", 182, 330, 120, 240}} {
		all := readRadiance(t, filepath.Join(dir, "A-"+v.name+".radiance.png"))
		var img raster.RGB
		for c := range img {
			p, err := raster.Resize(context.Background(), all[c].Crop(v.x, v.y, v.w, v.h).Clone(), 1200, 1200*v.h/v.w)
			if err != nil {
				t.Fatal(err)
			}
			for i := range p.Pix {
				p.Pix[i] = max(p.Pix[i], 1e-5)
			}
			img[c] = p
		}
		if w := find(t, &img); len(w.Regions) != 0 {
			t.Errorf("the view from %s: %.2f %% taken for windows", v.name, 100*w.Share())
		}
	}
}

// A white wall in the sun between dark furniture has straight edges and is far above
// what the picture's median takes for the room; but there is as much of it elsewhere.
func TestSunlitWallsAreNone(t *testing.T) {
	img := room(900, 600)
	white := func(u, v float64) [3]float64 { k := 12 * (1 + 0.1*math.Sin(u*40)); return [3]float64{k, k, k} }
	paint(img, func(u, v float64) bool { return v < 0.35 }, white)
	paint(img, func(u, v float64) bool { return u > 0.4 && u < 0.55 && v > 0.45 && v < 0.7 }, white)
	if m := find(t, img); len(m.Regions) != 0 {
		t.Errorf("taken for windows: %+v", m.Regions)
	}
	// A window in such a wall is one.
	paint(img, func(u, v float64) bool { return u > 0.1 && u < 0.3 && v > 0.05 && v < 0.3 }, func(u, v float64) [3]float64 {
		c := garden(u, v)
		return [3]float64{6 * c[0], 6 * c[1], 6 * c[2]}
	})
	if s := find(t, img).Share(); math.Abs(s-0.2*0.25) > 0.006 {
		t.Errorf("share %.4f, want %.4f", s, 0.2*0.25)
	}
}
