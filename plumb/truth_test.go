package plumb

import (
	"context"
	"encoding/json"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"mullion/internal/raster"
	"mullion/lens"
)

func testdata(tb testing.TB, parts ...string) string {
	dir := os.Getenv("MULLION_TESTDATA")
	if dir == "" {
		tb.Skip("set MULLION_TESTDATA to the folder with realdata/ and demo-house/")
	}
	return filepath.Join(append([]string{dir}, parts...)...)
}

type truth struct {
	Camera struct {
		Pitch  float64                  `json:"pitch_deg"`
		Roll   float64                  `json:"roll_deg"`
		Yaw    float64                  `json:"yaw_deg"`
		Focal  float64                  `json:"fx"`
		Radial struct{ K1, K2 float64 } `json:"distortion"`
	}
}

func readTruth(tb testing.TB, name string) (t truth) {
	b, err := os.ReadFile(testdata(tb, "demo-house", name+".json"))
	if err != nil {
		tb.Fatal(err)
	}
	if err := json.Unmarshal(b, &t); err != nil {
		tb.Fatal(err)
	}
	return t
}

// readRadiance decodes a radiance picture (log2 in 1/100 EV, see its folder's
// notes) and takes Rec.709 to BT.2020 (ITU-R BT.2087).
func readRadiance(tb testing.TB, name string) *raster.RGB {
	f, err := os.Open(testdata(tb, "demo-house", name+".radiance.png"))
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	img, err := png.Decode(f)
	if err != nil {
		tb.Fatal(err)
	}
	m, ok := img.(interface {
		RGBA64At(x, y int) color.RGBA64
	})
	if !ok {
		tb.Fatalf("%s: not a 16-bit colour PNG", name)
	}
	b := img.Bounds()
	out := raster.NewRGB(b.Dx(), b.Dy())
	for y := range b.Dy() {
		for x := range b.Dx() {
			c := m.RGBA64At(x, y)
			g := float64(c.G)/100 - 17
			r709, g709, b709 := math.Exp2(g+(float64(c.R)-32768)/100), math.Exp2(g), math.Exp2(g+(float64(c.B)-32768)/100)
			i := y*b.Dx() + x
			out[0].Pix[i] = float32(0.6274*r709 + 0.3293*g709 + 0.0433*b709)
			out[1].Pix[i] = float32(0.0691*r709 + 0.9195*g709 + 0.0114*b709)
			out[2].Pix[i] = float32(0.0164*r709 + 0.0880*g709 + 0.8956*b709)
		}
	}
	return out
}

var views = []string{"A-entry", "A-living", "A-dining", "A-kitchen", "A-kitchenwide", "A-guest", "A-bath", "A-shower"}

func trueProfile(c truth, w, h int) *lens.Profile {
	p := lens.New("truth", "the rendering's own figures")
	p.Distortion = lens.Brown(c.Camera.Radial.K1, c.Camera.Radial.K2, 0, c.Camera.Focal/(math.Hypot(float64(w), float64(h))/2))
	return p
}

// The eight rendered views, whose camera is known: within 0.10 degrees with the
// lens known, 0.5 with its distortion estimated from the lines.
func TestDemoHouse(t *testing.T) {
	for _, name := range views {
		c := readTruth(t, name)
		m := readRadiance(t, name)
		luma, err := Luma(context.Background(), m, 1600)
		if err != nil {
			t.Fatal(err)
		}
		for _, known := range []bool{true, false} {
			v := View{W: m.W(), H: m.H(), FocalPx: c.Camera.Focal}
			bar := 0.5
			if known {
				v.Profile, bar = trueProfile(c, m.W(), m.H()), 0.10
			}
			start := time.Now()
			p, err := Measure(context.Background(), luma, v)
			if err != nil {
				t.Fatal(err)
			}
			dp, dr := p.PitchDeg-c.Camera.Pitch, p.RollDeg-c.Camera.Roll
			t.Logf("%-13s lens known %-5v pitch %+.3f (%+.3f) roll %+.3f (%+.3f) yaw %+.2f straight %v n %d res %.3f sigma %.3f conf %.2f [%v] %s",
				name, known, p.PitchDeg, dp, p.RollDeg, dr, p.YawDeg, p.Straight, p.Verticals, p.ResidualDeg, p.SigmaDeg, p.Confidence, time.Since(start).Round(time.Millisecond), p.Note)
			if math.Abs(dp) > bar || math.Abs(dr) > bar {
				t.Errorf("%s: pitch %+.3f, roll %+.3f off, want %.2f", name, dp, dr, bar)
			}
			if p.Confidence < Sure {
				t.Errorf("%s: confidence %.2f", name, p.Confidence)
			}
		}
	}
}
