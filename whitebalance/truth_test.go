package whitebalance

import (
	"context"
	"encoding/json"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"

	"mullion/colour"
	"mullion/internal/raster"
)

// room is one view of the rendered house, with its truth, at reduced size.
type room struct {
	name   string
	img    *raster.RGB   // linear BT.2020 scene colour
	window *raster.Plane // coverage 0..1
	albedo *raster.RGB   // linear sRGB reflectance
	lights []struct {
		Group  string     `json:"group"`
		Share  float64    `json:"share_of_interior_light"`
		XY     [2]float64 `json:"effective_xy"`
		Kelvin float64    `json:"effective_cct_K"`
	}
}

const roomLong = 900

func houseDir(t testing.TB) string {
	root := os.Getenv("MULLION_TESTDATA")
	if root == "" {
		t.Skip("MULLION_TESTDATA is not set: no rendered house to measure")
	}
	return filepath.Join(root, "demo-house")
}

func readPNG(t testing.TB, path string) image.Image {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Skip(err)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// loadRoom reads view name; light is "" for the whole light, "-day" or "-lamp".
func loadRoom(t testing.TB, name, light string) *room {
	t.Helper()
	houseDir(t)
	load, _ := loaded.LoadOrStore(name+light, sync.OnceValue(func() *room { return readRoom(t, name, light) }))
	return load.(func() *room)()
}

// loaded are the rooms that were read; tests leave them as they are.
var loaded sync.Map

func readRoom(t testing.TB, name, light string) *room {
	dir := houseDir(t)
	r := &room{name: name + light}
	r.img = shrinkTo(t, readRadiance(t, filepath.Join(dir, "A-"+name+light+".radiance.png")))
	r.albedo = shrinkTo(t, readSRGB(t, filepath.Join(dir, "A-"+name+"-albedo.png")))
	r.window = shrinkTo(t, readGrey(t, filepath.Join(dir, "A-"+name+"-window.png")))[0]
	b, err := os.ReadFile(filepath.Join(dir, "A-"+name+".json"))
	if err != nil {
		t.Skip(err)
	}
	var meta struct {
		L json.RawMessage `json:"illuminants_measured"`
	}
	if err := json.Unmarshal(b, &meta); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(meta.L, &r.lights); err != nil {
		t.Fatal(err)
	}
	return r
}

func shrinkTo(t testing.TB, m *raster.RGB) *raster.RGB {
	s := float64(roomLong) / float64(max(m.W(), m.H()))
	w, h := int(math.Round(s*float64(m.W()))), int(math.Round(s*float64(m.H())))
	var out raster.RGB
	for i, p := range m {
		q, err := raster.Shrink(context.Background(), p, w, h)
		if err != nil {
			t.Fatal(err)
		}
		out[i] = q
	}
	return &out
}

// readRadiance decodes the log2 code of the radiance PNGs (100 steps a stop,
// linear Rec.709) to linear BT.2020.
func readRadiance(t testing.TB, path string) *raster.RGB {
	m, ok := readPNG(t, path).(*image.RGBA64)
	if !ok {
		t.Fatalf("%s is not a 16-bit RGB PNG", path)
	}
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	out := raster.NewRGB(w, h)
	for i := range w * h {
		r, g, b := be(m.Pix, 8*i), be(m.Pix, 8*i+2), be(m.Pix, 8*i+4)
		l := float64(g)/100 - 17
		out[0].Pix[i] = float32(math.Exp2(l + (float64(r)-32768)/100))
		out[1].Pix[i] = float32(math.Exp2(l))
		out[2].Pix[i] = float32(math.Exp2(l + (float64(b)-32768)/100))
	}
	colour.SRGBToBT2020.ApplyRow(out[0].Pix, out[1].Pix, out[2].Pix)
	return out
}

func be(p []byte, i int) uint16 { return uint16(p[i])<<8 | uint16(p[i+1]) }

func readSRGB(t testing.TB, path string) *raster.RGB {
	m := readPNG(t, path)
	b := m.Bounds()
	out := raster.NewRGB(b.Dx(), b.Dy())
	for y := range b.Dy() {
		for x := range b.Dx() {
			r, g, bl, _ := m.At(b.Min.X+x, b.Min.Y+y).RGBA()
			i := y*b.Dx() + x
			out[0].Pix[i], out[1].Pix[i], out[2].Pix[i] = float32(r)/65535, float32(g)/65535, float32(bl)/65535
		}
	}
	for _, p := range out {
		colour.DecodeSRGBRow(p.Pix, p.Pix)
	}
	return out
}

func readGrey(t testing.TB, path string) *raster.RGB {
	m := readPNG(t, path)
	b := m.Bounds()
	out := raster.NewRGB(b.Dx(), b.Dy())
	for y := range b.Dy() {
		for x := range b.Dx() {
			r, _, _, _ := m.At(b.Min.X+x, b.Min.Y+y).RGBA()
			out[0].Pix[y*b.Dx()+x] = float32(r) / 65535
		}
	}
	return out
}

// score is how far the balanced picture is from the truth.
type score struct {
	neutral float64 // mean dE00 from neutral over neutral surfaces of reflectance above 0.3
	colour  float64 // mean dE00 from the truth albedo over all surfaces
	a, b    float64 // mean a*, b* of the neutral surfaces
	p90     float64 // 90th percentile of the neutral dE00
	n       int
}

// measure compares balanced pixels, each brought to the luminance of its albedo,
// with the albedo under neutral light.
func (r *room) measure(img *raster.RGB) score { return r.measureEvery(img, 1) }

// measureEvery does so with one pixel of every step.
func (r *room) measureEvery(img *raster.RGB, step int) score {
	white := colour.D65.XYZ()
	var s score
	var all []float64
	n := 0
	for i := 0; i < len(r.window.Pix); i += step {
		if r.window.Pix[i] > 0.01 {
			continue
		}
		truth := colour.SRGBToXYZ.Apply(at(r.albedo, i))
		if truth[1] < 0.03 || truth[1] > 0.93 {
			continue // black, or a lamp's own face
		}
		got := colour.BT2020ToXYZ.Apply(at(img, i))
		if !(got[1] > 0) {
			continue
		}
		got = rescale(got, truth[1])
		want, have := colour.ToLab(truth, white), colour.ToLab(got, white)
		s.colour += colour.DeltaE(want, have)
		n++
		if math.Hypot(want.A, want.B) < 2.5 && truth[1] > 0.3 {
			d := colour.DeltaE(colour.Lab{L: have.L}, have)
			all = append(all, d)
			s.neutral += d
			s.a += have.A
			s.b += have.B
		}
	}
	s.n = len(all)
	s.colour /= float64(max(n, 1))
	f := 1 / float64(max(len(all), 1))
	s.neutral, s.a, s.b = s.neutral*f, s.a*f, s.b*f
	s.p90 = percentile(all, 0.9)
	return s
}

func rescale(xyz colour.Vec3, y float64) colour.Vec3 {
	k := y / xyz[1]
	return colour.Vec3{xyz[0] * k, y, xyz[2] * k}
}

func at(m *raster.RGB, i int) colour.Vec3 {
	return colour.Vec3{float64(m[0].Pix[i]), float64(m[1].Pix[i]), float64(m[2].Pix[i])}
}

func percentile(v []float64, p float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return v[min(len(v)-1, int(p*float64(len(v))))]
}
