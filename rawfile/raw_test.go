package rawfile

import (
	"bytes"
	"context"
	"errors"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"mullion/colour"
	"mullion/metadata"
	"mullion/simcam"
)

var bg = context.Background()

func testdata(t testing.TB, sub string) string {
	t.Helper()
	root := os.Getenv("MULLION_TESTDATA")
	if root == "" {
		t.Skip("set MULLION_TESTDATA to the folder that holds realdata to run this test")
	}
	return filepath.Join(root, "realdata", sub)
}

// noisy makes a mosaic with noise around a slope, as a sensor does.
func noisy(w, h int) []uint16 {
	rng := rand.New(rand.NewPCG(1, 2))
	pix := make([]uint16, w*h)
	for i := range pix {
		pix[i] = uint16(600 + 9000*(i%w)/w + 3000*(i/w)/h + rng.IntN(200))
	}
	return pix
}

func simulated(t testing.TB, w, h int, pix []uint16, plain bool) []byte {
	t.Helper()
	r := simcam.Raw{Camera: simcam.LF1(), W: w, H: h, Pix: pix, Frame: simcam.Frame{
		Shutter: -15, ISO: 160, FNumber: 8, FocalMM: 16, Neutral: colour.Vec3{.5, 1, .6},
	}}
	var b bytes.Buffer
	if err := r.WriteDNG(&b, plain); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// What the simulated camera wrote comes back sample for sample, compressed or not.
func TestMosaicRoundTrip(t *testing.T) {
	const w, h = 322, 214
	pix := noisy(w, h)
	for _, plain := range []bool{false, true} {
		f, err := DecodeBytes(bg, "a.dng", simulated(t, w, h, pix, plain))
		if err != nil {
			t.Fatal(err)
		}
		m := f.Mosaic
		if f.Kind != KindMosaic || m.W != w || m.H != h || m.CFA != [2][2]uint8{{0, 1}, {1, 2}} {
			t.Fatalf("%v %dx%d %v", f.Kind, m.W, m.H, m.CFA)
		}
		for i := range pix {
			if m.Pix[i] != pix[i] {
				t.Fatalf("sample %d is %d, want %d", i, m.Pix[i], pix[i])
			}
		}
		cam := simcam.LF1()
		if m.Black != [2][2]float32{{512, 512}, {512, 512}} || m.White != 16383 {
			t.Errorf("black %v, white %v", m.Black, m.White)
		}
		s, o := cam.NoiseProfile(160)
		if !m.HasNoise || math.Abs(m.Noise[2].S/s-1) > 1e-9 || math.Abs(m.Noise[0].O/o-1) > 1e-9 {
			t.Errorf("noise %v, want %v %v", m.Noise, s, o)
		}
		if f.Info.Seconds != 1./32 || f.Info.ISO != 160 || f.Info.FNumber != 8 {
			t.Errorf("%+v", f.Info)
		}
		near(t, "matrix", f.Camera.Matrix1, cam.Matrix, 2e-4)
		for i, want := range [3]float64{.5, 1, .6} {
			if math.Abs(f.Camera.Neutral[i]-want) > 1e-4 {
				t.Errorf("neutral %v", f.Camera.Neutral)
			}
		}
		if f.Camera.CCT1 != 6504 || f.Camera.CCT2 != 0 || !f.Camera.Known {
			t.Errorf("%+v", f.Camera)
		}
	}
}

func near(t *testing.T, what string, got, want colour.Mat3, tol float64) {
	t.Helper()
	for i := range 3 {
		for j := range 3 {
			if math.Abs(got[i][j]-want[i][j]) > tol {
				t.Errorf("%s: %v, want %v", what, got, want)
				return
			}
		}
	}
}

// The pattern and the black levels start at the corner of the active area (DNG
// specification, ActiveArea, CFAPattern, BlackLevel). LibRaw moves an odd corner
// to the next even photosite; colours and black levels must move with it.
func TestActiveAreaAndBlackPattern(t *testing.T) {
	const w, h = 200, 160
	pix := noisy(w, h)
	for _, margin := range [][2]int{{0, 0}, {1, 0}, {0, 1}, {3, 5}, {2, 4}} {
		top, left := margin[0], margin[1]
		d := newDNG(w, h)
		d.set(50829, long, float64(top), float64(left), h, w)
		d.set(50713, short, 2, 2)
		d.set(50714, short, 500, 510, 520, 530)
		f, err := DecodeBytes(bg, "a.dng", d.file(pix))
		if err != nil {
			t.Fatal(err)
		}
		m := f.Mosaic
		y0, x0 := h-m.H, w-m.W // the corner we got: the area reaches to the far edges
		if y0 < top || y0 > top+1 || x0 < left || x0 > left+1 {
			t.Fatalf("margins %v: %d x %d", margin, m.W, m.H)
		}
		for y := range 2 {
			for x := range 2 {
				py, px := (y0-top+y)&1, (x0-left+x)&1
				if want := [2][2]uint8{{0, 1}, {1, 2}}[py][px]; m.CFA[y][x] != want {
					t.Errorf("margins %v: pattern %v", margin, m.CFA)
				}
				if want := float32(500 + 20*py + 10*px); m.Black[y][x] != want {
					t.Errorf("margins %v: black %v", margin, m.Black)
				}
			}
		}
		if got, want := m.Pix[7*m.W+9], pix[(7+y0)*w+9+x0]; got != want {
			t.Errorf("margins %v: sample %d, want %d", margin, got, want)
		}
		if f.Info.Orientation != 8 {
			t.Errorf("orientation %d", f.Info.Orientation)
		}
	}
}

// Two calibrations with analog balance and camera calibration folded in: XYZ to
// camera = AB x CC x CM (DNG specification, and facts of its worked example).
func TestCalibrationsOfDNG(t *testing.T) {
	cm1 := colour.Mat3{{.5309, -.0229, -.0336}, {-.6241, 1.3265, .3337}, {-.0817, .1215, .6664}}
	cm2 := colour.Mat3{{.4716, .0603, -.0830}, {-.7798, 1.5474, .2480}, {-.1496, .1937, .6651}}
	flat := func(m colour.Mat3) (v []float64) {
		for _, r := range m {
			v = append(v, r[:]...)
		}
		return v
	}
	ab, cc := colour.Vec3{1, .9, 1.1}, colour.Vec3{.9603, 1, .9664}
	d := newDNG(200, 160)
	d.set(50721, srational, flat(cm2)...) // the cooler one first, to see them sorted
	d.set(50722, srational, flat(cm1)...)
	d.set(50778, short, 21)
	d.set(50779, short, 17)
	d.set(50723, srational, flat(colour.Diag(cc))...)
	d.set(50724, srational, flat(colour.Diag(cc))...)
	d.set(50727, rational, ab[:]...)
	f, err := DecodeBytes(bg, "a.dng", d.file(noisy(200, 160)))
	if err != nil {
		t.Fatal(err)
	}
	c := f.Camera
	if c.CCT1 != 2856 || c.CCT2 != 6504 {
		t.Errorf("%v K and %v K", c.CCT1, c.CCT2)
	}
	near(t, "warm", c.Matrix1, colour.Diag(ab).Mul(colour.Diag(cc)).Mul(cm1), 1e-4)
	near(t, "cool", c.Matrix2, colour.Diag(ab).Mul(colour.Diag(cc)).Mul(cm2), 1e-4)
}

// NoiseProfile has a pair for each colour plane in the order of CFAPlaneColor.
func TestNoiseByColour(t *testing.T) {
	d := newDNG(200, 160)
	d.set(51041, double, 1e-4, 1e-7, 2e-4, 2e-7, 3e-4, 3e-7)
	f, err := DecodeBytes(bg, "a.dng", d.file(noisy(200, 160)))
	if err != nil || !f.Mosaic.HasNoise {
		t.Fatal(err)
	}
	for c, want := range []float64{1e-4, 2e-4, 3e-4} {
		if f.Mosaic.Noise[c].S != want || math.Abs(f.Mosaic.Noise[c].O-want/1000) > 1e-12 {
			t.Errorf("%+v", f.Mosaic.Noise)
		}
	}
}

func TestEveryRealRawDecodes(t *testing.T) {
	dir := testdata(t, "raw/decodes")
	for name, want := range map[string]struct {
		kind  Kind
		w, h  int
		known bool
	}{
		"CRW.CRW":                             {KindMosaic, 2176, 1448, true},
		"RAW_KODAK_C330_FORMAT_NONE_YRGB.raw": {KindCameraRGB, 1216, 912, false},
		"RAW_KODAK_DC50.KDC":                  {KindMosaic, 768, 512, true},
		"colorchart.dng":                      {KindMosaic, 1734, 1156, true},
	} {
		f, err := Decode(bg, filepath.Join(dir, name))
		if err != nil {
			t.Error(err)
			continue
		}
		if f.Kind != want.kind || f.Info.Width != want.w || f.Info.Height != want.h || f.Camera.Known != want.known {
			t.Errorf("%s: %v %dx%d known %v", name, f.Kind, f.Info.Width, f.Info.Height, f.Camera.Known)
		}
		if f.Info.Orientation < 1 || f.Info.Model == "" {
			t.Errorf("%s: %+v", name, f.Info)
		}
		if _, ok := f.Camera.Matrix1.Inverse(); !ok {
			t.Errorf("%s: matrix %v", name, f.Camera.Matrix1)
		}
	}
	if f, err := Decode(bg, filepath.Join(dir, "CRW.CRW")); err != nil || math.Abs(f.Info.Seconds-5.04) > .01 || f.Info.ISO != 100 {
		t.Errorf("%+v %v", f, err)
	}
}

// The expected picture was written by LibRaw's own tool with -w -6 -T: the same
// samples after white balance and a tone curve. So, channel by channel, one sample
// value must always meet one expected value, and the curve must rise.
func TestInterpolatedPixelsAreExact(t *testing.T) {
	dir := testdata(t, "raw/decodes")
	f, err := Decode(bg, filepath.Join(dir, "RAW_KODAK_C330_FORMAT_NONE_YRGB.raw"))
	if err != nil {
		t.Fatal(err)
	}
	file, err := os.Open(filepath.Join(dir, "RAW_KODAK_C330_FORMAT_NONE_YRGB.png"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	img, err := png.Decode(file)
	if err != nil {
		t.Fatal(err)
	}
	for c := range 3 {
		curve := map[float32]uint32{}
		wrong := 0
		for y := range f.RGB.H() {
			for x, v := range f.RGB[c].Row(y) {
				r, g, b, _ := img.At(x, y).RGBA()
				want := [3]uint32{r, g, b}[c]
				if got, ok := curve[v]; ok && got != want {
					wrong++
				}
				curve[v] = want
			}
		}
		if wrong > 0 || len(curve) < 200 {
			t.Errorf("channel %d: %d pixels differ, %d values", c, wrong, len(curve))
		}
		for v, p := range curve {
			for w, q := range curve {
				if v < w && p > q {
					t.Fatalf("channel %d: the curve falls between %v and %v", c, v, w)
				}
			}
		}
	}
}

// LibRaw opens six of these "without error". All are cut.
func TestTruncatedRaws(t *testing.T) {
	list, _ := filepath.Glob(filepath.Join(testdata(t, "raw/truncated"), "*"))
	if len(list) < 10 {
		t.Fatalf("%d files", len(list))
	}
	for _, path := range list {
		wantDamaged(t, path, func() error { _, err := Decode(bg, path); return err }())
	}
}

func wantDamaged(t *testing.T, path string, err error) {
	t.Helper()
	var fe *metadata.FileError
	if !errors.As(err, &fe) || fe.Path != path || !strings.Contains(fe.Problem, "damaged or truncated") || fe.Advice == "" {
		t.Errorf("%s: %v", path, err)
	}
}

// A card pulled out too early: good files cut anywhere.
func TestCutAnywhere(t *testing.T) {
	files := map[string][]byte{
		"packed.dng": simulated(t, 1200, 900, noisy(1200, 900), false),
		"plain.dng":  simulated(t, 1200, 900, noisy(1200, 900), true),
	}
	if root := os.Getenv("MULLION_TESTDATA"); root != "" {
		for _, name := range []string{"CRW.CRW", "colorchart.dng"} {
			b, err := os.ReadFile(filepath.Join(root, "realdata/raw/decodes", name))
			if err != nil {
				t.Fatal(err)
			}
			files[name] = b
		}
	}
	for name, b := range files {
		if _, err := DecodeBytes(bg, name, b); err != nil {
			t.Errorf("whole: %v", err)
		}
		for _, part := range []float64{.002, .05, .3, .6, .9, .97} {
			_, err := DecodeBytes(bg, name, b[:int(part*float64(len(b)))])
			if err == nil {
				t.Errorf("%s cut to %v was accepted", name, part)
			}
		}
		// The tail replaced by zeros keeps the length.
		z := append([]byte(nil), b...)
		clear(z[len(z)/2:])
		if _, err := DecodeBytes(bg, name, z); err == nil {
			t.Errorf("%s with a tail of zeros was accepted", name)
		}
	}
}

func TestFlatMosaicIsDamaged(t *testing.T) {
	pix := make([]uint16, 1200*900)
	for i := range pix {
		pix[i] = 512
	}
	_, err := DecodeBytes(bg, "flat.dng", simulated(t, 1200, 900, pix, true))
	wantDamaged(t, "flat.dng", err)
}

func TestNoPictures(t *testing.T) {
	for name, c := range map[string]struct{ content, problem string }{
		"notes.dng": {"bring the wide lens", "this is text"},
		"empty.jpg": {"", "empty"},
		"x.cr2":     {strings.Repeat("\x07\x01junk\x00", 500), "does not begin like"},
		"x.crw":     {strings.Repeat("\x07\x01junk\x00", 500), "does not know this raw format"},
	} {
		_, err := DecodeBytes(bg, name, []byte(c.content))
		var fe *metadata.FileError
		if !errors.As(err, &fe) || !strings.Contains(fe.Problem, c.problem) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Decode(bg, filepath.Join(t.TempDir(), "gone.dng")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("gone: %v", err)
	}
	ctx, stop := context.WithCancel(bg)
	stop()
	if _, err := DecodeBytes(ctx, "a.dng", simulated(t, 322, 214, noisy(322, 214), true)); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestVersion(t *testing.T) {
	if v := Version(); !strings.HasPrefix(v, "0.") && !strings.HasPrefix(v, "1.") {
		t.Errorf("version %q", v)
	}
}

func FuzzDecodeDNG(f *testing.F) {
	d := newDNG(40, 30)
	f.Add(d.file(noisy(40, 30)))
	d.set(51041, double, 1e-4, 1e-7)
	d.set(50829, long, 1, 1, 30, 40)
	f.Add(d.file(noisy(40, 30)))
	f.Fuzz(func(t *testing.T, b []byte) {
		start := time.Now()
		fr, err := DecodeBytes(bg, "a.dng", b)
		if d := time.Since(start); d > 2*time.Second {
			t.Fatalf("took %v: %v", d, err)
		}
		if err == nil && fr.Mosaic != nil && len(fr.Mosaic.Pix) != fr.Mosaic.W*fr.Mosaic.H {
			t.Fatal("size")
		}
	})
}

// benchDecode reads 24 megapixels from a file; SetBytes counts pixels, so MB/s reads as
// megapixels a second. apart is the way every file goes, here without a process of its
// own: the difference is what that costs.
func benchDecode(b *testing.B, plain, apart bool) {
	const w, h = 6000, 4000
	path := filepath.Join(b.TempDir(), "a.dng")
	if err := os.WriteFile(path, simulated(b, w, h, noisy(w, h), plain), 0o666); err != nil {
		b.Fatal(err)
	}
	b.SetBytes(w * h)
	before := cpuOfAll()
	for b.Loop() {
		f, err := decodeEither(path, apart)
		if err != nil {
			b.Fatal(err)
		}
		f.Release()
	}
	b.ReportMetric(float64((cpuOfAll()-before).Milliseconds())/float64(b.N), "cpu-ms/op")
}

// cpuOfAll is the processor time of this process and of its children that live
// (proc(5), stat: parent, utime and stime in hundredths of a second).
func cpuOfAll() time.Duration {
	sum := 0
	list, _ := filepath.Glob("/proc/[0-9]*/stat")
	for _, name := range list {
		data, err := os.ReadFile(name)
		if err != nil {
			continue
		}
		f := strings.Fields(string(data[bytes.LastIndexByte(data, ')')+1:]))
		self := strconv.Itoa(os.Getpid())
		if len(f) > 12 && (f[1] == self || name == "/proc/"+self+"/stat") {
			u, _ := strconv.Atoi(f[11])
			s, _ := strconv.Atoi(f[12])
			sum += u + s
		}
	}
	return time.Duration(sum) * 10 * time.Millisecond
}

func decodeEither(path string, apart bool) (*Frame, error) {
	if apart {
		return Decode(bg, path)
	}
	data, err := readFile(bg, path)
	if err != nil {
		return nil, err
	}
	return decodeHere(bg, path, data)
}

func BenchmarkDecodeLosslessDNG(b *testing.B)     { benchDecode(b, false, true) }
func BenchmarkDecodeLosslessDNGHere(b *testing.B) { benchDecode(b, false, false) }
func BenchmarkDecodePlainDNG(b *testing.B)        { benchDecode(b, true, true) }
func BenchmarkDecodePlainDNGHere(b *testing.B)    { benchDecode(b, true, false) }

// What the whole of a view is to be read beside: LibRaw alone develops one file with its
// default interpolation (AHD), in this process; a bracket has five.
func BenchmarkLibRawDevelop24MP(b *testing.B) {
	const w, h = 6000, 4000
	data := simulated(b, w, h, noisy(w, h), false)
	before := cpuOfAll()
	for b.Loop() {
		l, err := openLibrary(data)
		if err != nil {
			b.Fatal(err)
		}
		if err := l.unpack(bg); err != nil {
			b.Fatal(err)
		}
		if _, _, _, err := l.interpolate(true); err != nil {
			b.Fatal(err)
		}
		l.close()
	}
	b.ReportMetric(float64((cpuOfAll()-before).Milliseconds())/float64(b.N), "cpu-ms/op")
}
