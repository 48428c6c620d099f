package response

import (
	"encoding/csv"
	"image"
	_ "image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// A camera with a known curve, photographed with noise: the curve comes back.
func TestRecoverSynthetic(t *testing.T) {
	ev := []float64{-4, -2, 0, 2, 4}
	curve := func(x float64) float64 { // an S-shaped camera curve unlike sRGB
		v := math.Pow(x, 1/1.9)
		return v * v * (3 - 2*v) * 0.5 / 0.5
	}
	var truth Curve
	for i := range truth {
		lo, hi := 0., 1.
		for range 50 {
			if m := (lo + hi) / 2; curve(m) < (float64(i)+0.01)/255.01 {
				lo = m
			} else {
				hi = m
			}
		}
		truth[i] = math.Log(hi)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	var places []Place
	for range 1500 {
		l := math.Exp2(rng.Float64()*12 - 10)
		p := make(Place, len(ev))
		for j, e := range ev {
			x := min(1, l*math.Exp2(e)*(1+0.005*rng.NormFloat64()))
			p[j] = uint8(math.Round(255 * curve(max(0, x))))
		}
		places = append(places, p)
	}
	got, err := Recover(places, ev, SRGB(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	rms := rmsLog(got, &truth, 12, 240)
	t.Logf("RMS of ln g over codes 12..240: %.4f (sRGB assumed: %.3f)", rms, rmsLog(SRGB(), &truth, 12, 240))
	if rms > 0.03 {
		t.Errorf("RMS of ln g is %.4f", rms)
	}
}

// rmsLog compares shapes: the mean difference, which is a choice of unit, is taken
// off.
func rmsLog(a, b *Curve, lo, hi int) float64 {
	var s, ss, n float64
	for i := lo; i <= hi; i++ {
		d := a[i] - b[i]
		s, ss, n = s+d, ss+d*d, n+1
	}
	return math.Sqrt(ss/n - s/n*s/n)
}

func TestRecoverRefuses(t *testing.T) {
	same := make([]Place, 500)
	for i := range same {
		same[i] = Place{uint8(i), uint8(i)}
	}
	if _, err := Recover(same, []float64{0, 0}, SRGB(), Options{}); err == nil {
		t.Error("a bracket without a step gave a curve")
	}
	if _, err := Recover(same[:50], []float64{0, 1}, SRGB(), Options{}); err == nil {
		t.Error("fifty places gave a curve")
	}
}

// Whatever the codes, the curve rises.
func TestRising(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 20 {
		c := *SRGB()
		for i := range c {
			c[i] += rng.NormFloat64()
		}
		rising(&c)
		for i := 1; i < 256; i++ {
			if !(c[i] > c[i-1]) {
				t.Fatalf("falls at code %d", i)
			}
		}
	}
}

// frobisher reads codes of places of that bracket, by channel, darkest frame first, and
// the folder of the published response.
func frobisher(t *testing.T) (places [3][]Place, dir string) {
	dir = os.Getenv("MULLION_TESTDATA")
	if dir == "" {
		t.Skip("MULLION_TESTDATA is not set: it names the folder that holds realdata/")
	}
	var frames []image.Image
	for _, n := range []string{"IMG_2600.jpg", "IMG_2601.jpg", "IMG_2602.jpg"} {
		f, err := os.Open(filepath.Join(dir, "realdata/brackets/frobisher-canon5d2", n))
		if err != nil {
			t.Fatal(err)
		}
		m, _, err := image.Decode(f)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		frames = append(frames, m)
	}
	b := frames[0].Bounds()
	for y := 4; y < b.Dy(); y += b.Dy() / 40 {
		for x := 4; x < b.Dx(); x += b.Dx() / 60 {
			var p [3]Place
			for _, m := range frames {
				r, g, bl, _ := m.At(x, y).RGBA()
				for c, v := range [3]uint32{r, g, bl} {
					p[c] = append(p[c], uint8(v>>8))
				}
			}
			for c := range 3 {
				places[c] = append(places[c], p[c])
			}
		}
	}
	return places, dir
}

// The published response of the frobisher bracket (Debevec & Malik's method as run
// by the colour-hdri reference tests) against ours from the same three frames.
func TestFrobisher(t *testing.T) {
	places, dir := frobisher(t)
	for c := range 3 {
		got, err := Recover(places[c], []float64{-3, 0, 3}, SRGB(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		want := published(t, dir, c)
		rms, corr := rmsLog(got, want, 20, 235), correlation(got, want, 20, 235)
		t.Logf("channel %d: RMS of ln g %.4f, correlation %.5f (sRGB alone: %.4f)", c, rms, corr, rmsLog(SRGB(), want, 20, 235))
		if corr < 0.98 || rms > 0.2 {
			t.Errorf("channel %d: RMS %.4f, correlation %.5f", c, rms, corr)
		}
	}
}

// The same without being told the steps, which are 3 EV by the files' exposure data: they
// come out equal to a twentieth, and the shape of the curve as well as with them.
func TestFrobisherWithoutSteps(t *testing.T) {
	places, dir := frobisher(t)
	for c := range 3 {
		got, ev, err := RecoverSteps(places[c], SRGB(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		want := published(t, dir, c)
		corr, assumed := correlation(got, want, 20, 235), correlation(SRGB(), want, 20, 235)
		t.Logf("channel %d: steps %.3f and %.3f EV, correlation of ln g %.5f (sRGB alone: %.5f)", c, ev[1], ev[2]-ev[1], corr, assumed)
		if r := ev[1] / (ev[2] - ev[1]); r < 0.95 || r > 1.05 || corr < 0.98 {
			t.Errorf("channel %d: steps %.3f and %.3f EV, correlation %.5f", c, ev[1], ev[2]-ev[1], corr)
		}
	}
}

func correlation(a, b *Curve, lo, hi int) float64 {
	var sa, sb, saa, sbb, sab, n float64
	for i := lo; i <= hi; i++ {
		sa, sb, n = sa+a[i], sb+b[i], n+1
		saa, sbb, sab = saa+a[i]*a[i], sbb+b[i]*b[i], sab+a[i]*b[i]
	}
	return (sab - sa*sb/n) / math.Sqrt((saa-sa*sa/n)*(sbb-sb*sb/n))
}

func published(t *testing.T, dir string, c int) *Curve {
	f, err := os.Open(filepath.Join(dir, "realdata/reference/debevec-frobisher/test_camera_response_function_Debevec1997_crfs.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) != 256 {
		t.Fatal(len(rows), err)
	}
	var k Curve
	for i, r := range rows {
		v, err := strconv.ParseFloat(r[c], 64)
		if err != nil {
			t.Fatal(err)
		}
		k[i] = math.Log(max(1e-6, v))
	}
	return &k
}
