package simcam

import (
	"context"
	"image"
	"image/color"
	"image/png"
	"math"
	"testing"

	"bytes"

	"mullion/colour"
	"mullion/internal/raster"
)

// The figures in this file were computed by an independent implementation of the
// same model (a script on numpy and OpenCV). They hold this one to it.

// room is the scene both implementations were given: smooth ramps in linear
// BT.709 and a bright rectangle.
func room() *raster.RGB {
	const w, h = 48, 32
	m := raster.NewRGB(w, h)
	for y := range h {
		for x := range w {
			u, v := float64(x)/w, float64(y)/h
			c := colour.Vec3{.02 + 1.5*u*u + .3*v, .03 + .9*u*v + .2, .05 + .4*(1-u) + .1*v}
			if x >= 30 && x < 40 && y >= 6 && y < 14 {
				c = colour.Vec3{22, 25, 31}
			}
			for i, s := range bt2020FromBT709.Apply(c) {
				m[i].Row(y)[x] = float32(s)
			}
		}
	}
	return m
}

// turnedRoom is room as a portrait scene that falls on the sensor as room does.
func turnedRoom() *raster.RGB {
	m := room()
	t := new(raster.RGB)
	for i, p := range m {
		t[i] = turn(turn(turn(p)))
	}
	return t
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %v, want %v within %v", what, got, want, tolerance)
	}
}

func nearVec(t *testing.T, what string, got, want colour.Vec3, tolerance float64) {
	t.Helper()
	for i := range got {
		near(t, what, got[i], want[i], tolerance)
	}
}

func TestMeter(t *testing.T) {
	for _, c := range []struct {
		iso, n float64
		k      Shutter
	}{{160, 8, -11}, {100, 5.6, -12}, {640, 11, -14}} {
		k, mean, err := Meter(t.Context(), room(), c.iso, c.n)
		if err != nil {
			t.Fatal(err)
		}
		if k != c.k {
			t.Errorf("ISO %v f/%v: shutter %d, want %d", c.iso, c.n, k, c.k)
		}
		near(t, "mean luminance", mean, 61.884997, 1e-4)
	}
	if _, _, err := Meter(t.Context(), raster.NewRGB(4, 4), 100, 8); err == nil {
		t.Error("a black scene was metered")
	}
}

func TestNeutral(t *testing.T) {
	c := LF1()
	for _, v := range []struct{ bt709, want colour.Vec3 }{
		{colour.Vec3{1, 1, 1}, colour.Vec3{.3780534, 1, .6957767}},
		{colour.Vec3{1.62, .90, .26}, colour.Vec3{.5882406, 1, .3680974}},
		{colour.Vec3{.7, .6, .4}, colour.Vec3{.4271669, 1, .5560074}},
	} {
		nearVec(t, "neutral", c.Neutral(bt2020FromBT709.Apply(v.bt709)), v.want, 1e-6)
	}
	nearVec(t, "tungsten", c.Neutral(tungsten), colour.Vec3{.5882406, 1, .3680974}, 1e-6)
}

func TestNoiseProfile(t *testing.T) {
	for _, v := range []struct{ iso, s, o float64 }{
		{100, 1.6666666666666667e-05, 4.253056248728933e-09},
		{160, 2.6666666666666667e-05, 5.362389582062267e-09},
		{1600, 2.666666666666667e-04, 1.855863895820623e-07},
	} {
		s, o := LF1().NoiseProfile(v.iso)
		near(t, "S", s, v.s, 1e-12)
		near(t, "O", o, v.o, 1e-15)
	}
}

func TestShutter(t *testing.T) {
	for _, v := range []struct {
		k        Shutter
		num, den uint32
		seconds  float64
	}{
		{-39, 1, 8000, 1. / 8192}, {-21, 1, 125, 1. / 128}, {-15, 1, 30, 1. / 32}, {-10, 1, 10, .09921256574801246},
		{-3, 1, 2, .5}, {0, 1, 1, 1}, {3, 2, 1, 2}, {15, 30, 1, 32},
	} {
		if num, den := v.k.Mark(); num != v.num || den != v.den {
			t.Errorf("shutter %d is marked %d/%d, want %d/%d", v.k, num, den, v.num, v.den)
		}
		near(t, "seconds", v.k.Seconds(), v.seconds, 1e-15)
	}
	// Every mark lies within a sixth of a stop of the true time.
	for k := Shutter(shortest); k <= longest; k++ {
		num, den := k.Mark()
		near(t, "mark in EV", math.Log2(float64(num)/float64(den)/k.Seconds()), 0, 1./6)
	}
	if got := Shutter(10).Step(4); got != longest {
		t.Errorf("the shutter went past its scale to %d", got)
	}
}

// quiet is the camera without any noise.
func quiet() *Camera {
	c := LF1()
	c.PRNU = 0
	return c
}

// counts exposes every photosite with the expected number of electrons.
func counts(c *Camera, p *Projection, f Frame) []uint16 {
	s := c.sensor(f)
	out := make([]uint16, 0, p.W*p.H)
	for y := range p.H {
		for _, l := range p.light.Row(y) {
			out = append(out, s.count(l*s.perLight+s.dark))
		}
	}
	return out
}

func TestExpectedCounts(t *testing.T) {
	type site struct{ x, y, dn int }
	for _, v := range []struct {
		name  string
		scene *raster.RGB
		frame Frame
		scale float64
		sites []site
	}{
		{"landscape", room(), Frame{Shutter: -3, ISO: 160, FNumber: 8}, 16532.291666666668,
			[]site{{4, 4, 1270}, {7, 5, 4050}, {33, 10, 16383}, {34, 11, 16383}, {20, 20, 3302}, {21, 21, 4789}, {25, 20, 8422}, {27, 27, 4814}}},
		{"dark", room(), Frame{Shutter: -15, ISO: 160, FNumber: 8}, 1033.2682291666667,
			[]site{{4, 4, 559}, {7, 5, 733}, {33, 10, 16383}, {20, 20, 686}, {21, 21, 779}, {25, 20, 1006}, {27, 27, 781}}},
		{"portrait", turnedRoom(), Frame{Shutter: -6, ISO: 100, FNumber: 5.6}, 10543.553358843537,
			[]site{{4, 4, 995}, {7, 5, 2768}, {33, 10, 16383}, {20, 20, 2292}, {21, 21, 3240}, {25, 20, 5556}, {27, 27, 3256}}},
	} {
		c := quiet()
		p, err := c.Project(t.Context(), v.scene, 1, Move{})
		if err != nil {
			t.Fatal(err)
		}
		near(t, v.name+" scale", c.ScaleToDN(v.frame), v.scale, 1e-6)
		nearVec(t, v.name+" neutral", p.Auto, colour.Vec3{.4698666, 1, .5950457}, 2e-4)
		if p.Portrait != (v.name == "portrait") || p.W != 48 || p.H != 32 {
			t.Errorf("%s: %d x %d, portrait %v", v.name, p.W, p.H, p.Portrait)
		}
		dn := counts(c, p, v.frame)
		for _, s := range v.sites {
			if got := int(dn[s.y*p.W+s.x]); got < s.dn-1 || got > s.dn+1 {
				t.Errorf("%s: photosite %d,%d has %d counts, want %d", v.name, s.x, s.y, got, s.dn)
			}
		}
	}
}

func TestVignette(t *testing.T) {
	row := []float32{40: 1, 47: 0}
	for x := range row {
		row[x] = 1
	}
	corner := append([]float32(nil), row...)
	LF1().vignetteRow(row, 10, 32)
	LF1().vignetteRow(corner, 0, 32)
	near(t, "corner", float64(corner[0]), .62351257, 1e-6)
	near(t, "middle", float64(row[40]), .8777063, 1e-6)
}

func TestReadRadiance(t *testing.T) {
	img := image.NewRGBA64(image.Rect(0, 0, 3, 1))
	img.SetRGBA64(0, 0, color.RGBA64{32768 + 37, 1650, 32768 - 112, 65535})
	img.SetRGBA64(1, 0, color.RGBA64{32768, 1700, 32768, 65535})
	img.SetRGBA64(2, 0, color.RGBA64{32768 - 250, 3000, 32768 + 41, 65535})
	var buf bytes.Buffer
	if err := png.Encode(&buf, img); err != nil {
		t.Fatal(err)
	}
	m, err := ReadRadiance(t.Context(), &buf)
	if err != nil {
		t.Fatal(err)
	}
	for x, bt709 := range []colour.Vec3{
		{.9138314723968506, .7071067690849304, .32533547282218933},
		{1, 1, 1},
		{1448.1546630859375, 8192, 10884.59375},
	} {
		want := bt2020FromBT709.Apply(bt709)
		for i := range want {
			near(t, "relative radiance", float64(m[i].Row(0)[x])/want[i], 1, 2e-6)
		}
	}
	// White stays white on the way to BT.2020: both have D65 at (1, 1, 1).
	nearVec(t, "white", bt2020FromBT709.Apply(colour.Vec3{1, 1, 1}), colour.Vec3{1, 1, 1}, 1e-6)
}

func TestReadRadianceRefuses(t *testing.T) {
	var grey bytes.Buffer
	if err := png.Encode(&grey, image.NewGray16(image.Rect(0, 0, 2, 2))); err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string][]byte{"text": []byte("not a picture"), "grey": grey.Bytes(), "nothing": nil} {
		if _, err := ReadRadiance(context.Background(), bytes.NewReader(b)); err == nil {
			t.Errorf("%s was read as radiance", name)
		}
	}
}

func TestQuantile(t *testing.T) {
	p := raster.New(5, 2)
	copy(p.Pix, []float32{7, 1, 3, 0, 9, 2, 8, 5, 4, 6})
	near(t, "median", quantile(p, .5), 4.5, 1e-6)
	near(t, "20 %", quantile(p, .2), 1.8, 1e-6)
	near(t, "last", quantile(p, 1), 9, 0)
}
