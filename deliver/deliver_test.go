package deliver

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/who"
)

// room paints a picture of w x h: a dim wall with a light ramp, a bright window
// with bars, and grain of the given deviation in linear light.
func room(w, h int, grain float64) *raster.RGB {
	m := raster.NewRGB(w, h)
	r := rand.New(rand.NewPCG(1, 2))
	for y := range h {
		for x := range w {
			v := 0.08 + 0.25*float64(x)/float64(w)
			c := [3]float64{v, v * 0.95, v * 0.85}
			if x > w/2 && x < w*3/4 && y > h/4 && y < h*2/3 && (x/(w/60+1))%8 != 0 {
				c = [3]float64{0.85, 0.92, 1}
			}
			for k := range 3 {
				if grain > 0 {
					c[k] += grain * r.NormFloat64()
				}
				m[k].Row(y)[x] = float32(c[k])
			}
		}
	}
	return m
}

func sheet(t testing.TB, name string) Sheet {
	t.Helper()
	s, err := LoadSheet(context.Background(), name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// IEC 61966-2-1: linear 0.5 is code 188 (187.5). A picture of single black and
// white pixels averages to it only when reduced in linear light.
func TestReducesInLinearLight(t *testing.T) {
	m := raster.NewRGB(1200, 800)
	for k := range 3 {
		for y := range 800 {
			for x := range 1200 {
				m[k].Row(y)[x] = float32((x + y) & 1)
			}
		}
	}
	for _, w := range []int{600, 400, 250} {
		small, err := reduce(context.Background(), m, w, w*2/3)
		if err != nil {
			t.Fatal(err)
		}
		img, err := code(context.Background(), small, 0.5)
		if err != nil {
			t.Fatal(err)
		}
		for y := 4; y < img.H-4; y++ {
			for x := 4; x < img.W-4; x++ {
				if v := img.Pix[3*(y*img.W+x)]; v < 187 || v > 189 {
					t.Fatalf("%d wide: code %d at %d,%d", w, v, x, y)
				}
			}
		}
	}
}

// The published codes of linear light, IEC 61966-2-1.
func TestCodesOfPlainFields(t *testing.T) {
	for lin, want := range map[float32]float64{.01: 25.4, .05: 63.2, .18: 117.6, .2: 123.8, .9: 243.5, 0: 0, 1: 255} {
		want = 255 * colour.EncodeSRGB(float64(lin))
		m := raster.NewRGB(160, 120)
		for k := range 3 {
			m[k].Fill(lin)
		}
		img, err := code(context.Background(), m, 1)
		if err != nil {
			t.Fatal(err)
		}
		var sum float64
		for _, v := range img.Pix {
			sum += float64(v)
			if math.Abs(float64(v)-want) >= 1 {
				t.Fatalf("linear %g: code %d, want %.2f", lin, v, want)
			}
		}
		if mean := sum / float64(len(img.Pix)); math.Abs(mean-want) > 0.02 {
			t.Errorf("linear %g: mean code %.3f, want %.3f: the dither is not unbiased", lin, mean, want)
		}
	}
}

// Beside a window ten times brighter than the wall nothing may ring: at most 8
// codes below and above the two plateaus (a Lanczos-3 kernel alone takes a
// wall of code 69 to 31 there).
func TestNoHaloAtWindowEdge(t *testing.T) {
	m := raster.NewRGB(1500, 60)
	for k := range 3 {
		for y := range 60 {
			row := m[k].Row(y)
			for x := range row {
				row[x] = 0.06
				if x >= 731 {
					row[x] = 0.7
				}
			}
		}
	}
	small, err := reduce(context.Background(), m, 500, 20)
	if err != nil {
		t.Fatal(err)
	}
	img, err := code(context.Background(), small, sharpenAmount(3, 1))
	if err != nil {
		t.Fatal(err)
	}
	dark, bright := 255*colour.EncodeSRGB(0.06), 255*colour.EncodeSRGB(0.7)
	lo, hi := 255.0, 0.0
	for x := range 500 {
		v := float64(img.Pix[3*(10*500+x)])
		lo, hi = min(lo, v), max(hi, v)
	}
	t.Logf("plateaus %.1f and %.1f, extremes %.0f and %.0f", dark, bright, lo, hi)
	if lo < dark-8.5 || hi > bright+8.5 {
		t.Errorf("rims: %.0f below %.1f or %.0f above %.1f", lo, dark, hi, bright)
	}
}

// Sharpening gives back what the kernel takes: a grating at a quarter cycle a
// pixel of the new size keeps its contrast within 12 %.
func TestSharpeningRestoresDetail(t *testing.T) {
	const f = 3
	m := raster.NewRGB(1500, 90)
	blur := math.Exp(-2 * math.Pow(math.Pi*sourceBlur*0.25/f, 2))
	for k := range 3 {
		for y := range 90 {
			for x := range m[k].Row(y) {
				m[k].Row(y)[x] = float32(0.3 + 0.02*blur*math.Sin(2*math.Pi*0.25/f*(float64(x)+0.5)))
			}
		}
	}
	small, err := reduce(context.Background(), m, 500, 30)
	if err != nil {
		t.Fatal(err)
	}
	contrast := func(amount float64) float64 {
		img, err := code(context.Background(), small, amount)
		if err != nil {
			t.Fatal(err)
		}
		var s, c float64
		for y := 5; y < 25; y++ {
			for x := 50; x < 450; x++ {
				v := colour.DecodeSRGB(float64(img.Pix[3*(y*500+x)]) / 255)
				s += v * math.Sin(2*math.Pi*0.25*(float64(x)+0.5))
				c += v * math.Cos(2*math.Pi*0.25*(float64(x)+0.5))
			}
		}
		return 2 * math.Hypot(s, c) / (20 * 400) / 0.02
	}
	soft, sharp := contrast(0), contrast(sharpenAmount(f, 1))
	t.Logf("contrast kept: %.2f before sharpening, %.2f after", soft, sharp)
	if soft > 0.92 || math.Abs(sharp-1) > 0.12 {
		t.Errorf("contrast %.2f became %.2f", soft, sharp)
	}
}

func TestFit(t *testing.T) {
	for _, c := range []struct {
		p          Pixels
		w, h       int
		outW, outH int
	}{
		{Pixels{LongEdge: 2048, MaxWidth: 3000, MaxHeight: 2000}, 6000, 4000, 2048, 1365},
		{Pixels{LongEdge: 2048, MaxWidth: 3000, MaxHeight: 2000}, 4000, 6000, 1333, 2000},
		{Pixels{MaxWidth: 1280, MaxHeight: 960}, 6000, 4000, 1280, 853},
		{Pixels{MaxWidth: 1280, MaxHeight: 960}, 1000, 700, 1000, 700}, // never enlarged
		{Pixels{LongEdge: 2048, Ratio: "4:3"}, 6000, 4000, 2048, 1536},
		{Pixels{LongEdge: 2048, Ratio: "4:3"}, 4000, 6000, 1536, 2048},
		{Pixels{Ratio: "keep"}, 6001, 3999, 6001, 3999},
	} {
		f := c.p.fit(c.w, c.h)
		if f.outW != c.outW || f.outH != c.outH || f.x < 0 || f.y < 0 || f.x+f.w > c.w || f.y+f.h > c.h {
			t.Errorf("%+v on %d x %d: %+v", c.p, c.w, c.h, f)
		}
	}
}

// The limit holds on the worst there is: 24 megapixels of colour noise.
func TestByteLimitOnNoise(t *testing.T) {
	m := raster.NewRGB(6000, 4000)
	r := rand.New(rand.NewPCG(3, 4))
	for k := range 3 {
		for i := range m[k].Pix {
			m[k].Pix[i] = r.Float32()
		}
	}
	full := sheet(t, "print")
	full.Name, full.File.MaxBytes, full.File.Quality = "print-1.5mb", 1_500_000, [2]int{60, 96}
	dir := t.TempDir()
	targets := []Target{{Sheet: sheet(t, "listing"), Path: filepath.Join(dir, "l.jpg")}, {Sheet: sheet(t, "listing-small"), Path: filepath.Join(dir, "s.jpg")}}
	files, err := WriteAll(context.Background(), m, About{}, targets)
	if err != nil {
		t.Fatal(err)
	}
	// Noise at full pixels fits at no quality: the picture must get smaller.
	f, err := Write(context.Background(), m.Crop(0, 0, 3000, 2000), full, About{}, filepath.Join(dir, "f.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	if f.Width >= 3000 || len(f.Notes) == 0 {
		t.Errorf("%+v was not reduced, or does not say so", f)
	}
	files, targets = append(files, f), append(targets, Target{Sheet: full, Path: f.Path})
	for i, f := range files {
		st, err := os.Stat(f.Path)
		if err != nil || int(st.Size()) != f.Bytes {
			t.Fatalf("%v: %v", f, err)
		}
		limit := targets[i].Sheet.File.MaxBytes
		if f.Quality > targets[i].Sheet.File.Good && targets[i].Sheet.File.AimBytes > 0 {
			limit = targets[i].Sheet.File.AimBytes
		}
		if f.Bytes > limit || f.Bytes < limit*8/10 {
			t.Errorf("%s: %d bytes at a limit of %d", f.Sheet, f.Bytes, limit)
		}
		t.Logf("%s: %d x %d, %d bytes, quality %d, %s %q", f.Sheet, f.Width, f.Height, f.Bytes, f.Quality, f.Subsampling, f.Notes)
	}
	left, _ := filepath.Glob(filepath.Join(dir, ".mullion*"))
	if len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestWriteReadBack(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed; it is the independent reader of this test")
	}
	pic := room(1800, 1200, 0.004)
	about := About{Description: "Kitchen with a garden door.", AltText: "A bright kitchen.", Who: who.Who{Creator: "A. Sample"},
		Taken: time.Date(2031, 5, 4, 14, 15, 6, 0, time.UTC), Frames: 5, Merged: 5, Software: "Mullion test"}
	dir := t.TempDir()
	var targets []Target
	for _, n := range Builtin() {
		targets = append(targets, Target{Sheet: sheet(t, n), Path: filepath.Join(dir, n+".jpg")})
	}
	files, err := WriteAll(context.Background(), pic, about, targets)
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range files {
		out, err := exec.Command(tool, "-j", "-G1", "-a", "-n", "-validate", "-warning", "-all", f.Path).Output()
		if err != nil {
			t.Fatal(err)
		}
		var all []map[string]any
		if err := json.Unmarshal(out, &all); err != nil {
			t.Fatal(err)
		}
		for k, want := range map[string]any{
			"File:ImageWidth": f.Width, "File:ImageHeight": f.Height, "ExifIFD:ExifImageWidth": f.Width, "ExifIFD:ColorSpace": 1,
			"ICC_Profile:ProfileDescription": "sRGB IEC61966-2-1", "XMP-iptcCore:AltTextAccessibility": "A bright kitchen.",
			"IFD0:Artist": "A. Sample", "ExifTool:Validate": "0 0 0", "ExifIFD:CompositeImage": 2, "XMP-dc:Title": f.Sheet,
			"File:EncodingProcess": 0, "IFD0:XResolution": targets[i].Sheet.File.DPI,
		} {
			if got := all[0][k]; fmt.Sprint(got) != fmt.Sprint(want) {
				t.Errorf("%s: %s is %v, want %v", f.Sheet, k, got, want)
			}
		}
		for k := range all[0] {
			if l := strings.ToLower(k); strings.Contains(l, "gps") || strings.Contains(l, "serial") || strings.Contains(l, "thumbnail") || strings.Contains(l, "ifd1") {
				t.Errorf("%s holds %s", f.Sheet, k)
			}
		}
		if f.Sheet != "listing-small" && f.Subsampling != "4:4:4" {
			t.Errorf("%s is coded %s", f.Sheet, f.Subsampling)
		}
		t.Logf("%s: %d x %d, %d bytes, quality %d, %s %q", f.Sheet, f.Width, f.Height, f.Bytes, f.Quality, f.Subsampling, f.Notes)
	}
}

// The print sheet changes no pixel but by sharpening, dither and coding: without
// sharpening the delivered linear light is the picture's.
func TestPixelsSurvive(t *testing.T) {
	pic := room(900, 600, 0)
	s := sheet(t, "print")
	s.File.Sharpen = 0
	path := filepath.Join(t.TempDir(), "p.jpg")
	if _, err := Write(context.Background(), pic, s, About{}, path); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	img, err := jpeg.Decode(bytes.NewReader(data)) // the standard library's own decoder
	if err != nil {
		t.Fatal(err)
	}
	var sum float64
	for y := 0; y < 600; y += 3 {
		for x := range 900 {
			r, g, b, _ := img.At(x, y).RGBA()
			for k, v := range []uint32{r, g, b} {
				want := colour.EncodeSRGB(math.Max(0, float64(pic[k].Row(y)[x])))
				d := float64(v)/65535*255 - 255*want
				sum += d * d
			}
		}
	}
	if rms := math.Sqrt(sum / (200 * 900 * 3)); rms > 1.0 {
		t.Errorf("RMS error %.2f codes", rms)
	}
}

func TestWriteErrors(t *testing.T) {
	s := sheet(t, "listing")
	path := filepath.Join(t.TempDir(), "p.jpg")
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Write(ctx, room(300, 200, 0), s, About{}, path); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("a cancelled write left a file")
	}
	if _, err := Write(context.Background(), nil, s, About{}, path); err == nil {
		t.Error("no picture, no error")
	}
	m := room(300, 200, 0)
	m[2] = raster.New(10, 10)
	if _, err := Write(context.Background(), m, s, About{}, path); err == nil {
		t.Error("planes of two sizes, no error")
	}
	if _, err := Write(context.Background(), room(300, 200, 0), s, About{}, filepath.Join(path, "no", "folder.jpg")); err == nil {
		t.Error("no folder, no error")
	}
	if f, err := Write(context.Background(), room(1, 1, 0), s, About{}, path); err != nil || f.Width != 1 {
		t.Errorf("a picture of one pixel: %+v, %v", f, err)
	}
}

func BenchmarkListing24MP(b *testing.B) { benchmarkWrite(b, "listing") }
func BenchmarkSmall24MP(b *testing.B)   { benchmarkWrite(b, "listing-small") }
func BenchmarkPrint24MP(b *testing.B)   { benchmarkWrite(b, "print") }
func BenchmarkAllThree24MP(b *testing.B) {
	benchmarkWrite(b, "listing", "listing-small", "print")
}

func benchmarkWrite(b *testing.B, names ...string) {
	pic := room(6000, 4000, 0.01)
	dir := b.TempDir()
	var targets []Target
	for _, n := range names {
		targets = append(targets, Target{Sheet: sheet(b, n), Path: filepath.Join(dir, n+".jpg")})
	}
	for b.Loop() {
		if _, err := WriteAll(context.Background(), pic, About{}, targets); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkReduce24MP(b *testing.B) {
	pic := room(6000, 4000, 0)
	for b.Loop() {
		s, err := reduce(context.Background(), pic, 2048, 1365)
		if err != nil {
			b.Fatal(err)
		}
		raster.PutRGB(s)
	}
}

func BenchmarkCode24MP(b *testing.B) {
	pic := room(6000, 4000, 0.01)
	for b.Loop() {
		if _, err := code(context.Background(), pic, 0.5); err != nil {
			b.Fatal(err)
		}
	}
}

// A picture that comes reduced has lost less to its own blur, and is sharpened less
// than one that was taken at that size; reduced in one step or in two comes out much
// the same.
func TestSharpenAfterReduction(t *testing.T) {
	if a, b := sharpenAmount(1.5, 2), sharpenAmount(1.5, 1); !(a < b && a > 0) {
		t.Errorf("%.3f after a reduction, %.3f without", a, b)
	}
	if a, b := sharpenAmount(1.5, 2), sharpenAmount(3, 1); math.Abs(a-b) > 0.01 {
		t.Errorf("%.3f in two steps, %.3f in one", a, b)
	}
}
