package rawfile

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/image/tiff"

	"mullion/colour"
	"mullion/internal/raster"
)

func ramp(w, h int) *image.NRGBA {
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			m.SetNRGBA(x, y, color.NRGBA{uint8(x * 255 / w), uint8(y * 255 / h), uint8((x + y) * 255 / (w + h)), 255})
		}
	}
	return m
}

func encoded(t testing.TB, m image.Image, how func(*bytes.Buffer) error) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := how(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The standard library's decoder is the independent one.
func TestJPEGAgreesWithStandardLibrary(t *testing.T) {
	src := ramp(321, 213)
	b := encoded(t, src, func(b *bytes.Buffer) error { return jpeg.Encode(b, src, &jpeg.Options{Quality: 95}) })
	f, err := DecodeBytes(bg, "a.jpg", b)
	if err != nil {
		t.Fatal(err)
	}
	want, _ := jpeg.Decode(bytes.NewReader(b))
	if f.Kind != KindDisplay || f.Coded.Bits != 8 || !f.Coded.Assumed || f.Info.Width != 321 || f.Info.Height != 213 {
		t.Fatalf("%+v", f.Info)
	}
	sum := 0.
	for y := range 213 {
		for x := range 321 {
			r, g, bl, _ := want.At(x, y).RGBA()
			for c, w := range [3]uint32{r, g, bl} {
				sum += math.Abs(float64(f.Coded.RGB[c].At(x, y))*255 - float64(w>>8))
			}
		}
	}
	if mean := sum / (321 * 213 * 3); mean > 1.0 { // they smooth halved chroma differently
		t.Errorf("mean difference %v codes", mean)
	}
}

func TestCutJPEGIsDamaged(t *testing.T) {
	src := ramp(640, 480)
	b := encoded(t, src, func(b *bytes.Buffer) error { return jpeg.Encode(b, src, nil) })
	for _, n := range []int{30, len(b) / 2, len(b) - 40, len(b) - 2} {
		_, err := DecodeBytes(bg, "cut.jpg", b[:n])
		wantDamaged(t, "cut.jpg", err)
	}
	hole := append([]byte(nil), b...)
	clear(hole[len(b)/2 : len(b)/2+400])
	if _, err := DecodeBytes(bg, "hole.jpg", hole); err == nil {
		t.Error("a JPEG with a hole in its data was accepted")
	}
}

func TestPNGAndTIFF(t *testing.T) {
	src := ramp(50, 40)
	deep := image.NewNRGBA64(src.Rect)
	for y := range 40 {
		for x := range 50 {
			deep.SetNRGBA64(x, y, color.NRGBA64{uint16(x * 1300), uint16(y * 1600), 777, 65535})
		}
	}
	for name, c := range map[string]struct {
		img  image.Image
		bits int
	}{"a.png": {src, 8}, "b.png": {deep, 16}, "a.tif": {src, 8}, "b.tif": {deep, 16}} {
		b := encoded(t, c.img, func(b *bytes.Buffer) error {
			if filepath.Ext(name) == ".png" {
				return png.Encode(b, c.img)
			}
			return tiff.Encode(b, c.img, nil)
		})
		f, err := DecodeBytes(bg, name, b)
		if err != nil {
			t.Error(err)
			continue
		}
		r, g, _, _ := c.img.At(33, 21).RGBA()
		if got := f.Coded.RGB[0].At(33, 21); math.Abs(float64(got)-float64(r)/65535) > 1e-6 || f.Coded.Bits != c.bits {
			t.Errorf("%s: red %v of %d bits", name, got, f.Coded.Bits)
		}
		if got := f.Coded.RGB[1].At(33, 21); math.Abs(float64(got)-float64(g)/65535) > 1e-6 {
			t.Errorf("%s: green %v", name, got)
		}
		if _, err := DecodeBytes(bg, name, b[:len(b)*2/3]); err == nil {
			t.Errorf("%s cut was accepted", name)
		}
	}
}

// iccProfile writes a matrix profile: columns under D50, one curve for all.
func iccProfile(cols colour.Mat3, trc []byte) []byte {
	be := binary.BigEndian
	xyz := func(c int) []byte {
		b := append([]byte("XYZ "), 0, 0, 0, 0)
		for r := range 3 {
			b = be.AppendUint32(b, uint32(int32(math.Round(cols[r][c]*65536))))
		}
		return b
	}
	head := make([]byte, 128)
	copy(head[12:], "mntrRGB XYZ ")
	copy(head[36:], "acsp")
	b := be.AppendUint32(head, 6)
	at, body := 132+6*12, []byte(nil)
	for i, name := range []string{"rXYZ", "gXYZ", "bXYZ", "rTRC", "gTRC", "bTRC"} {
		data := trc
		if i < 3 {
			data = xyz(i)
		}
		b = append(b, name...)
		b = be.AppendUint32(b, uint32(at+len(body)))
		b = be.AppendUint32(b, uint32(len(data)))
		body = append(body, data...)
	}
	return append(b, body...)
}

func parametric(kind uint16, v ...float64) []byte {
	b := binary.BigEndian.AppendUint16([]byte("para\x00\x00\x00\x00"), kind)
	b = append(b, 0, 0)
	for _, x := range v {
		b = binary.BigEndian.AppendUint32(b, uint32(int32(math.Round(x*65536))))
	}
	return b
}

// A profile with Display P3's primaries (SMPTE EG 432-1: .680 .320, .265 .690,
// .150 .060, D65) and sRGB's curve as a parametric one, as phones write it.
func TestWideProfile(t *testing.T) {
	p3 := colour.RGBToXYZ(colour.XY{X: .680, Y: .320}, colour.XY{X: .265, Y: .690}, colour.XY{X: .150, Y: .060}, colour.D65)
	d50 := colour.Vec3{.9642, 1, .8249}
	cols := colour.Adapt(colour.Bradford, colour.D65.XYZ(), d50).Mul(p3)
	icc := iccProfile(cols, parametric(3, 2.4, 1/1.055, .055/1.055, 1/12.92, .04045))
	c := coded(raster.NewRGB(2, 2), 8, icc)
	if c.Assumed {
		t.Fatal("the profile was not used")
	}
	near(t, "P3 to BT.2020", c.ToBT2020, colour.XYZToBT2020.Mul(p3), 1e-4)
	for _, x := range []float64{0, .01, .04, .1, .5, .9, 1} {
		if got := float64(c.ToLinear[1](float32(x))); math.Abs(got-colour.DecodeSRGB(x)) > 5e-5 {
			t.Errorf("curve at %v: %v, want %v", x, got, colour.DecodeSRGB(x))
		}
	}
}

func TestProfileCurves(t *testing.T) {
	table := binary.BigEndian.AppendUint32([]byte("curv\x00\x00\x00\x00"), 3)
	for _, v := range []uint16{0, 16384, 65535} {
		table = binary.BigEndian.AppendUint16(table, v)
	}
	for name, c := range map[string]struct {
		trc     []byte
		x, want float64
	}{
		"identity":     {[]byte("curv\x00\x00\x00\x00\x00\x00\x00\x00"), .3, .3},
		"gamma 2.2":    {[]byte("curv\x00\x00\x00\x00\x00\x00\x00\x01\x02\x33"), .5, math.Pow(.5, 2+51./256)},
		"table":        {table, .75, (16384. + 65535) / 2 / 65535},
		"function 0":   {parametric(0, 1.8), .5, math.Pow(.5, 1.8)},
		"function 1":   {parametric(1, 2, 1, -.1), .5, .16},
		"function 1 b": {parametric(1, 2, 1, -.1), .05, 0},
		"function 2":   {parametric(2, 2, 1, -.1, .02), .5, .18},
		"function 4":   {parametric(4, 2, 1, 0, .1, .05, .01, .02), .5, .26},
		"function 4 b": {parametric(4, 2, 1, 0, .1, .05, .01, .02), .04, .024},
	} {
		f, err := parseCurve(c.trc)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		} else if got := f(c.x); math.Abs(got-c.want) > 2e-5 {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// The pictures of this set carry an sRGB profile with a table of 1024 steps.
func TestRealProfileIsSRGB(t *testing.T) {
	f, err := Decode(bg, filepath.Join(testdata(t, "metadata/exposure-rational"), "canon_cr2_fraction.jpg"))
	if err != nil || f.Coded.Assumed {
		t.Fatal(err)
	}
	near(t, "sRGB to BT.2020", f.Coded.ToBT2020, colour.SRGBToBT2020, 1e-4)
	for x := range 256 {
		v := float64(x) / 255
		if got := float64(f.Coded.ToLinear[0](float32(v))); math.Abs(got-colour.DecodeSRGB(v)) > 1e-4 {
			t.Errorf("code %d: %v, want %v", x, got, colour.DecodeSRGB(v))
		}
	}
}

// A small picture has the scene of the large one, whatever the file.
func TestThumb(t *testing.T) {
	dir := t.TempDir()
	src := ramp(1200, 800)
	path := filepath.Join(dir, "a.jpg")
	b := encoded(t, src, func(b *bytes.Buffer) error { return jpeg.Encode(b, src, &jpeg.Options{Quality: 95}) })
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := Thumb(bg, path, 320)
	if err != nil || p.W != 320 || p.H != 213 {
		t.Fatalf("%+v %v", p, err)
	}
	for _, at := range [][2]int{{40, 30}, {160, 100}, {300, 200}} {
		c := src.NRGBAAt(at[0]*1200/320+2, at[1]*800/213+2)
		want := luma(unit8[c.R], unit8[c.G], unit8[c.B])
		if got := p.At(at[0], at[1]); math.Abs(float64(got-want)) > .012 {
			t.Errorf("at %v: %v, want %v", at, got, want)
		}
	}
	path = filepath.Join(dir, "b.dng") // its preview is black and small: the mosaic serves
	d := newDNG(1200, 800)
	pix := make([]uint16, 1200*800)
	for i := range pix {
		pix[i] = uint16(512 + 15871*(i%1200)/1200 + i%3)
	}
	if err := os.WriteFile(path, d.file(pix), 0o600); err != nil {
		t.Fatal(err)
	}
	if p, err = Thumb(bg, path, 300); err != nil || p.W != 300 || p.H != 200 {
		t.Fatalf("%+v %v", p, err)
	}
	if got, want := float64(p.At(150, 100)), colour.EncodeSRGB(.5); math.Abs(got-want) > .01 {
		t.Errorf("middle of the ramp: %v, want %v", got, want)
	}
}

func TestReadInfo(t *testing.T) {
	dir := testdata(t, "raw")
	for name, want := range map[string]float64{"decodes/CRW.CRW": 5.0397, "truncated/FujiFilm.raf": 1. / 256, "decodes/colorchart.dng": 0} {
		info, err := ReadInfo(bg, filepath.Join(dir, name))
		if err != nil || math.Abs(info.Seconds-want) > 1e-3*want {
			t.Errorf("%s: %v s, want %v (%v)", name, info.Seconds, want, err)
		}
	}
}

func FuzzParseProfile(f *testing.F) {
	f.Add(iccProfile(colour.Identity, parametric(0, 2.2)))
	f.Add(iccProfile(colour.Identity, []byte("curv\x00\x00\x00\x00\x00\x00\x00\x01\x02\x33")))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := parseProfile(b)
		if err != nil {
			return
		}
		for _, x := range []float64{0, .5, 1} {
			p.curve[0](x)
		}
	})
}

// FuzzRendered feeds the container walkers: JPEG segments, PNG chunks, boxes.
func FuzzRendered(f *testing.F) {
	src := ramp(9, 7)
	f.Add(encoded(f, src, func(b *bytes.Buffer) error { return jpeg.Encode(b, src, nil) }), 0)
	f.Add(encoded(f, src, func(b *bytes.Buffer) error { return png.Encode(b, src) }), 1)
	f.Fuzz(func(t *testing.T, b []byte, kind int) {
		jpegProfile(b)
		pngProfile(b)
		hasEnd(b)
		fr, err := DecodeBytes(bg, []string{"a.jpg", "a.png"}[kind&1], b)
		if err == nil && fr.Coded.RGB.W() != fr.Info.Width {
			t.Fatal("size")
		}
	})
}

func BenchmarkDecodeJPEG(b *testing.B) {
	src := ramp(6000, 4000)
	data := encoded(b, src, func(w *bytes.Buffer) error { return jpeg.Encode(w, src, nil) })
	b.SetBytes(6000 * 4000)
	for b.Loop() {
		f, err := DecodeBytes(bg, "a.jpg", data)
		if err != nil {
			b.Fatal(err)
		}
		f.Release()
	}
}
