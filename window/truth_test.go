package window

import (
	"context"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	"mullion/internal/raster"
)

// The rendered house: radiance as log2 codes in a 16-bit PNG, and the true
// coverage of what is seen through glass.
var views = []string{"entry", "living", "dining", "kitchen", "kitchenwide", "guest", "bath", "shower"}

func house(t testing.TB) string {
	dir := os.Getenv("MULLION_TESTDATA")
	if dir == "" {
		t.Skip("MULLION_TESTDATA is not set: it names the folder that holds demo-house/")
	}
	return filepath.Join(dir, "demo-house")
}

func readPNG(t testing.TB, name string) image.Image {
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// readRadiance returns linear BT.2020. The matrix is BT.2087-0 table 1.
func readRadiance(t testing.TB, name string) *raster.RGB {
	m := readPNG(t, name)
	b := m.Bounds()
	img := raster.NewRGB(b.Dx(), b.Dy())
	i := 0
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			cr, cg, cb, _ := m.At(x, y).RGBA()
			lg := float64(cg)/100 - 17
			g := math.Exp2(lg)
			r := math.Exp2(lg + (float64(cr)-32768)/100)
			bl := math.Exp2(lg + (float64(cb)-32768)/100)
			img[0].Pix[i] = float32(0.6274*r + 0.3293*g + 0.0433*bl)
			img[1].Pix[i] = float32(0.0691*r + 0.9195*g + 0.0114*bl)
			img[2].Pix[i] = float32(0.0164*r + 0.0880*g + 0.8956*bl)
			i++
		}
	}
	return img
}

// Bounds by view: the truth counts only what is seen directly through glass, so
// the mirrors' windows in the bath, sunlit reveals and half-covered pixels at the
// frames cost precision that a retoucher would not mind.
func TestWindowsOfTheHouse(t *testing.T) {
	dir := house(t)
	for _, v := range views {
		img := readRadiance(t, filepath.Join(dir, "A-"+v+".radiance.png"))
		truth := readPNG(t, filepath.Join(dir, "A-"+v+"-window.png"))
		m, err := Find(context.Background(), img)
		if err != nil {
			t.Fatal(err)
		}
		var both, found, real float64
		for y := range img.H() {
			for x := range img.W() {
				c, _, _, _ := truth.At(x, y).RGBA()
				a, b := float64(c)/65535, float64(m.Coverage.Row(y)[x])
				both += min(a, b)
				found += b
				real += a
			}
		}
		n := float64(img.W() * img.H())
		t.Logf("%-12s windows %d, IoU %.3f, precision %.3f, recall %.3f", v, len(m.Regions),
			both/(found+real-both), both/found, both/real)
		switch {
		case real/n < 0.001 && found/n > 0.001:
			t.Errorf("%s: %.2f %% of a view without windows taken for one", v, 100*found/n)
		case real/n > 0.005 && both/real < 0.95:
			t.Errorf("%s: recall %.3f, want 0.95", v, both/real)
		case real/n > 0.005 && both/found < 0.88:
			t.Errorf("%s: precision %.3f, want 0.88", v, both/found)
		}
	}
}

// By night the same glass is the darkest thing in the room, and in a room without
// lamps the outside is four stops further above it: the first is no window, the second
// is the same one.
func TestWindowsAtOtherHours(t *testing.T) {
	dir := house(t)
	for _, v := range []string{"living", "dining", "kitchen"} {
		truth := readPNG(t, filepath.Join(dir, "A-"+v+"-window.png"))
		coverage := raster.New(truth.Bounds().Dx(), truth.Bounds().Dy())
		for y := range coverage.H {
			for x := range coverage.W {
				c, _, _, _ := truth.At(x, y).RGBA()
				coverage.Row(y)[x] = float32(c) / 65535
			}
		}
		light := func(glassEV, roomEV float64) *Map {
			img := readRadiance(t, filepath.Join(dir, "A-"+v+".radiance.png"))
			for i, c := range coverage.Pix {
				k := float32(math.Exp2(glassEV*float64(c) + roomEV*float64(1-c)))
				for p := range img {
					img[p].Pix[i] *= k
				}
			}
			return find(t, img)
		}
		if m := light(-12, 0); m.Share() > 0.001 {
			t.Errorf("%s: by night %.2f %% of the view is taken for daylight", v, 100*m.Share())
		}
		m := light(0, -4)
		var both, real float64
		for i, c := range coverage.Pix {
			both += float64(min(c, m.Coverage.Pix[i]))
			real += float64(c)
		}
		if both/real < 0.95 {
			t.Errorf("%s, the lamps out: recall %.3f, want 0.95", v, both/real)
		}
	}
}

// A map of what was lost to clipping is what Clipped reports, and must fit.
func TestLost(t *testing.T) {
	img := room(900, 600)
	paint(img, pane, garden)
	lost := raster.New(900, 600)
	for y := range 300 {
		for x := range 900 {
			lost.Row(y)[x] = 1
		}
	}
	given := func(p *raster.Plane) func() (*raster.Plane, error) {
		return func() (*raster.Plane, error) { return p, nil }
	}
	m, err := FindClipped(context.Background(), img, given(lost))
	if err != nil || len(m.Regions) != 1 {
		t.Fatalf("%d windows, %v", len(m.Regions), err)
	}
	// The pane reaches from 0.3 to 0.6 of the height, the upper two thirds are lost.
	if c := m.Regions[0].Clipped; math.Abs(c-2./3) > 0.05 {
		t.Errorf("clipped %.2f, want 0.67", c)
	}
	if _, err := FindClipped(context.Background(), img, given(raster.New(9, 6))); err != ErrLost {
		t.Errorf("a map of another size: %v", err)
	}
}

// A glazed side of the room runs from the top of the picture to the bottom; a sky that
// touches three sides of it does not.
func TestGlazedSide(t *testing.T) {
	img := room(900, 600)
	paint(img, func(u, v float64) bool { return u < 0.4 }, garden)
	if s := find(t, img).Share(); math.Abs(s-0.4) > 0.05 {
		t.Errorf("share %.3f, want 0.4", s)
	}
	img = room(900, 600)
	roof := func(u, v float64) bool { return v < 0.3 || v < 0.7 && (u < 0.2 || u > 0.8) }
	paint(img, roof, func(u, v float64) [3]float64 { return [3]float64{30, 36, 44} })
	if m := find(t, img); len(m.Regions) != 0 {
		t.Errorf("a sky over a house: %+v", m.Regions)
	}
}
