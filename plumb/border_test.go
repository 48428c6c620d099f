package plumb

import (
	"math"
	"math/rand/v2"
	"testing"

	"mullion/lens"
)

// Whatever pose, lens, orientation and output size: the crop keeps the ratio, no
// place outside the source is ever wanted, at least half is kept or the view is left
// alone, and yaw is touched only where it was meant.
func TestNeverABorder(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	pick := func(spread float64) float64 { return spread * (2*r.Float64() - 1) }
	for range 200 {
		w, h := 900+r.IntN(1200), 700+r.IntN(900)
		p := Pose{PitchDeg: pick(40), RollDeg: pick(12), YawDeg: pick(5), Straight: r.IntN(2) == 0, Confidence: 1,
			FocalPx: float64(max(w, h)) * (0.33 + r.Float64()), Centre: Centre{float64(w) / 2, float64(h) / 2}}
		o := 1 + r.IntN(8)
		if r.IntN(3) > 0 {
			p.Profile = lens.New("", "")
			p.Profile.Distortion = lens.Radial{1, 0, pick(0.06), 0, pick(0.02)}
			if r.IntN(2) == 0 {
				p.Profile.Tangential = [2]float64{pick(0.003), pick(0.003)}
				p.Profile.CentreX, p.Profile.CentreY = pick(0.02), pick(0.02)
				p.Centre = *axis(p.Profile, o, w, h)
			}
		}
		if r.IntN(3) == 0 {
			p, _ = p.Hold(pick(MostPitch), pick(MostRoll), pick(MostYaw))
		}
		g := p.Plan(w, h, PlanOptions{Orientation: o})
		if g.CropKept < 0.5 && g.Corrected {
			t.Errorf("%+v: %.2f of the picture is kept", p, g.CropKept)
		}
		if off := float64(g.W)/float64(g.H)*float64(h)/float64(w) - 1; math.Abs(off) > 0.5/float64(min(g.W, g.H)) {
			t.Errorf("ratio %.4f of %d x %d from %d x %d", off, g.W, g.H, w, h)
		}
		sw, sh := float64(w), float64(h)
		if o >= 5 {
			sw, sh = sh, sw
		}
		for _, size := range [][2]int{{g.W, g.H}, {max(1, g.W/3), max(1, g.H/3)}} {
			small := g.At(size[0], size[1])
			for i := range 60 {
				s := float64(i) / 59
				for _, q := range [4][2]float64{{s, 0}, {s, 1}, {0, s}, {1, s}} {
					x, y := small.Map.At(q[0]*float64(size[0]), q[1]*float64(size[1]))
					if !(x >= 0 && y >= 0 && x <= sw && y <= sh) {
						t.Fatalf("pose %+v, orientation %d, %v: the border shows at (%.2f, %.2f) of %.0f x %.0f", p, o, size, x, y, sw, sh)
					}
				}
			}
		}
	}
}

// Yaw is corrected up to 2.5 degrees where the horizontals agree, and never beyond,
// unless by hand.
func TestYawOnlyWhenStraightOn(t *testing.T) {
	for _, c := range []struct {
		yaw     float64
		correct bool
	}{{0.8, true}, {-2.2, true}, {2.8, false}, {-6, false}, {30, false}} {
		r := rand.New(rand.NewPCG(5, 5))
		m := model{rad(-3), rad(1), rad(c.yaw)}
		p, err := FromSegments(t.Context(), scene(r, m, 1500, 1000, 700, nil), View{W: 1500, H: 1000, FocalPx: 700})
		if err != nil {
			t.Fatal(err)
		}
		if p.Straight != c.correct || math.Abs(p.YawDeg-c.yaw) > 0.2 {
			t.Errorf("yaw %.1f: found %.2f, straight on %v", c.yaw, p.YawDeg, p.Straight)
		}
	}
	p, ok := Pose{Confidence: 0.1, FocalPx: 700}.Hold(0, 0.05, 10)
	if g := p.Plan(1500, 1000, PlanOptions{}); !ok || !g.Corrected {
		t.Error("what was set by hand is not done")
	}
	for _, v := range [][3]float64{{51, 0, 0}, {0, -46, 0}, {0, 0, 46}, {math.NaN(), 0, 0}, {math.Inf(1), 0, 0}} {
		if q, ok := p.Hold(v[0], v[1], v[2]); ok || q != p {
			t.Errorf("%v is taken for a level", v)
		}
	}
}
