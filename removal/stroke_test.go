package removal

import (
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mullion/internal/raster"
)

func TestParseStroke(t *testing.T) {
	s, err := ParseStroke(" 10,20.5  30,40 @12 ")
	if err != nil || len(s.Points) != 2 || s.Points[0] != [2]float64{10, 20.5} || s.Width != 12 {
		t.Fatalf("%+v, %v", s, err)
	}
	if again, err := ParseStroke(s.String()); err != nil || again.String() != s.String() {
		t.Errorf("%q does not survive: %v", s.String(), err)
	}
	for in, want := range map[string]string{
		"10,20 30,40":      "width is missing",
		"10,20 @wide":      `width "wide"`,
		"10,20 @0":         `width "0"`,
		"10 20 @4":         `"10" is no point`,
		"10,NaN @4":        "is no point",
		"10,20,30 @4":      "is no point",
		"@4":               "no points",
		"1e300,5 @4":       "is no point",
		"10,20 40,50 @4 8": `width "4 8"`,
	} {
		if _, err := ParseStroke(in); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "@width") {
			t.Errorf("%q: %v, want %q and how to write it", in, err, want)
		}
	}
}

func TestPaintedAreaOfAStroke(t *testing.T) {
	mask := raster.New(200, 100)
	s, _ := ParseStroke("50,50 150,50 @20")
	if !s.Paint(mask) {
		t.Fatal("nothing was painted")
	}
	var area float64
	for _, v := range mask.Pix {
		area += float64(v)
	}
	if want := 100*20 + math.Pi*100; math.Abs(area-want) > 0.01*want {
		t.Errorf("area %.0f, a line with round ends has %.0f", area, want)
	}
	if far, _ := ParseStroke("900,900 @20"); far.Paint(mask) {
		t.Error("a stroke outside the frame is said to touch it")
	}
}

func TestParseBox(t *testing.T) {
	if b, err := ParseBox("310,200 180x120"); err != nil || b != (Box{310, 200, 180, 120}) {
		t.Errorf("%+v, %v", b, err)
	}
	for _, bad := range []string{"", "310,200", "310,200 180", "1,2 0x5", "1,2 5x-5", "1,2 3x4 5", "NaN,2 3x4"} {
		if b, err := ParseBox(bad); err == nil {
			t.Errorf("%q is read as %+v", bad, b)
		}
	}
	m := raster.New(50, 40)
	if !(Box{10, 5, 20, 10}).Paint(m) || m.Row(5)[10] != 1 || m.Row(14)[29] != 1 || m.Row(14)[30] != 0 || m.Row(4)[10] != 0 {
		t.Error("the box is not where it should be")
	}
}

func writeMask(t *testing.T, m image.Image) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "mask.png")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := png.Encode(f, m); err != nil {
		t.Fatal(err)
	}
	return name
}

func TestReadMask(t *testing.T) {
	m := image.NewNRGBA(image.Rect(0, 0, 30, 20))
	m.Set(4, 6, color.NRGBA{255, 255, 255, 255})
	m.Set(5, 6, color.NRGBA{255, 0, 0, 128})
	name := writeMask(t, m)
	got, err := ReadMask(name, 30, 20)
	if err != nil || got.Row(6)[4] != 1 || math.Abs(float64(got.Row(6)[5])-0.5) > 0.01 || got.Row(6)[6] != 0 {
		t.Errorf("%v", err)
	}
	if _, err := ReadMask(name, 31, 20); err == nil || !strings.Contains(err.Error(), "30 x 20") || !strings.Contains(err.Error(), "31 x 20") {
		t.Errorf("another size: %v", err)
	}
	if _, err := ReadMask(writeMask(t, image.NewGray(image.Rect(0, 0, 30, 20))), 30, 20); err == nil || !strings.Contains(err.Error(), "black") {
		t.Errorf("an empty mask: %v", err)
	}
	text := filepath.Join(t.TempDir(), "mask.png")
	os.WriteFile(text, []byte("no picture"), 0o644)
	if _, err := ReadMask(text, 30, 20); err == nil || !strings.Contains(err.Error(), "no PNG") {
		t.Errorf("a text: %v", err)
	}
}

func TestPlaceFollowsTheMap(t *testing.T) {
	mask := raster.New(400, 300)
	Stroke{Points: [][2]float64{{100, 100}, {300, 200}}, Width: 10}.Paint(mask)
	// A turn, a scale and a bend.
	at := func(x, y float64) (float64, float64) { return 0.8*x + 0.1*y + 20 + 1e-4*x*x, 0.9*y - 0.1*x + 30 }
	got, err := Place(ctx, mask, at, 380, 260)
	if err != nil {
		t.Fatal(err)
	}
	for y := range 260 {
		for x := range 380 {
			sx, sy := at(float64(x)+0.5, float64(y)+0.5)
			if d := math.Abs(float64(got.Row(y)[x] - bilinear(mask, sx-0.5, sy-0.5))); d > 0.05 {
				t.Fatalf("at %d,%d: off by %.2f", x, y, d)
			}
		}
	}
}
