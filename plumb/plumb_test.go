package plumb

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"mullion/internal/raster"
	"mullion/lens"
	"mullion/lines"
	"mullion/warp"
)

// The camera of the demo house, its axes written down by the renderer: yaw 122
// (32 from the room's axis), pitch -5.5, roll 2.3 degrees.
func TestSigns(t *testing.T) {
	down := model{rad(-5.5), rad(2.3), rad(32)}.axes()[0]
	// Down in camera coordinates is (-right.z, -down.z, -forward.z) of a world whose
	// z points up. The renderer's "down" of that camera has z -0.9945943.
	if math.Abs(down.y-0.9945943) > 1e-6 || down.x <= 0 || down.z <= 0 {
		t.Errorf("down is %+v", down)
	}
	// Looking up, verticals meet above: the vanishing point of up is in front.
	if d := (model{rad(10), 0, 0}).axes()[0]; d.z >= 0 {
		t.Errorf("looking up, down points forward: %+v", d)
	}
	// Turned clockwise, the world's down lies to the camera's right.
	if d := (model{0, rad(10), 0}).axes()[0]; d.x <= 0 {
		t.Errorf("turned clockwise, down points left: %+v", d)
	}
	// Turned right of the room's axis, the axis lies to the left.
	if d := (model{0, 0, rad(10)}).axes()[2]; d.x >= 0 {
		t.Errorf("turned right, the axis lies right: %+v", d)
	}
}

// scene makes the segments of an invented room: vertical and horizontal edges of
// boxes at random places, as many stray lines as there are verticals, and a
// slanted family (a stair) in every third room; end points are off by a third of
// a pixel.
func scene(r *rand.Rand, m model, w, h int, f float64, p *lens.Profile) []lines.Segment {
	ax := m.axes()
	var out []lines.Segment
	half := math.Hypot(float64(w), float64(h)) / 2
	draw := func(v vec3) (x, y float64, ok bool) {
		if v.z < 0.1 {
			return 0, 0, false
		}
		x, y = f/p.Focal()*v.x/v.z, f/p.Focal()*v.y/v.z
		q := math.Hypot(x, y) / half
		k := 1.0
		if q > 0 {
			k = p.Distort(q) / q
		}
		x, y = float64(w)/2+x*k, float64(h)/2+y*k
		return x, y, x > 0 && y > 0 && x < float64(w) && y < float64(h)
	}
	add := func(dir vec3, n int) {
		for tries := 0; n > 0 && tries < 5000; tries++ {
			z := 1.5 + 4*r.Float64()
			a := vec3{(r.Float64() - 0.5) * 3 * z, (r.Float64() - 0.5) * 2 * z, z}
			l := 0.1 + 1.2*r.Float64()
			x1, y1, ok1 := draw(a)
			x2, y2, ok2 := draw(vec3{a.x + l*dir.x, a.y + l*dir.y, a.z + l*dir.z})
			if !ok1 || !ok2 || math.Hypot(x1-x2, y1-y2) < 20 {
				continue
			}
			e := func() float64 { return 0.33 * r.NormFloat64() }
			out = append(out, lines.Segment{X1: x1 + e(), Y1: y1 + e(), X2: x2 + e(), Y2: y2 + e()})
			n--
		}
	}
	verticals := 8 + r.IntN(30)
	add(ax[0], verticals)
	add(ax[1], 10+r.IntN(30))
	add(ax[2], 10+r.IntN(30))
	for range verticals {
		add(vec3{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}, 1)
	}
	if r.IntN(3) == 0 { // stair rail and stringers
		add(vec3{ax[0].x + 1.2*ax[1].x, ax[0].y + 1.2*ax[1].y, ax[0].z + 1.2*ax[1].z}, 12)
	}
	return out
}

type errors struct{ all []float64 }

func (e *errors) at(q float64) float64 {
	slices.Sort(e.all)
	return e.all[int(q*float64(len(e.all)-1))]
}

func TestInventedRooms(t *testing.T) {
	for _, c := range []struct {
		name         string
		n            int
		known        bool // the lens
		k1           float64
		shortest     float64 // focal length in mm at 36 x 24, up to 1.8 times as long
		median, most float64 // degrees, at half and at 97 %
	}{
		{"lens known", 150, true, -0.05, 14, 0.06, 0.3},
		{"no distortion, lens unknown", 60, false, 0, 14, 0.1, 0.6},
		{"distortion unknown", 60, false, -0.05, 14, 0.15, 0.9},
		{"11 to 20 mm, lens known", 60, true, -0.06, 11, 0.06, 0.3},
		{"11 to 20 mm, distortion unknown", 60, false, -0.06, 11, 0.15, 0.9},
	} {
		r := rand.New(rand.NewPCG(11, 5))
		var e errors
		unsure := 0
		for i := range c.n {
			w, h := 1500, 1000
			if i%4 == 3 {
				w, h = h, w
			}
			f := float64(max(w, h)) * c.shortest / 36 * (1 + 0.8*r.Float64())
			m := model{rad(4 * r.NormFloat64()), rad(1.5 * r.NormFloat64()), rad(90*r.Float64() - 45)}
			p := lens.New("test", "test")
			p.Distortion = lens.Brown(c.k1, 0, 0, f/(math.Hypot(float64(w), float64(h))/2))
			v := View{W: w, H: h, FocalPx: f}
			if c.known {
				v.Profile = p
			}
			pose, err := FromSegments(context.Background(), scene(r, m, w, h, f, p), v)
			if err != nil {
				t.Fatal(err)
			}
			if pose.Confidence < Sure {
				unsure++
				continue
			}
			e.all = append(e.all, max(math.Abs(pose.PitchDeg-deg(m[pitch])), math.Abs(pose.RollDeg-deg(m[roll]))))
		}
		t.Logf("%s: error median %.3f, 90 %% %.3f, 97 %% %.3f, worst %.3f deg; %d of %d unsure", c.name, e.at(0.5), e.at(0.9), e.at(0.97), e.at(1), unsure, c.n)
		if e.at(0.5) > c.median || e.at(0.97) > c.most {
			t.Errorf("%s: median %.3f and 97 %% %.3f, want %.2f and %.2f", c.name, e.at(0.5), e.at(0.97), c.median, c.most)
		}
		if unsure*10 > c.n {
			t.Errorf("%s: %d of %d unsure", c.name, unsure, c.n)
		}
	}
}

// Nothing but stray lines: no confidence.
func TestStrayLines(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	sure := 0
	for range 20 {
		var segs []lines.Segment
		for range 120 {
			x, y, a, l := r.Float64()*1500, r.Float64()*1000, r.Float64()*math.Pi, 20+80*r.Float64()
			segs = append(segs, lines.Segment{X1: x, Y1: y, X2: x + l*math.Cos(a), Y2: y + l*math.Sin(a)})
		}
		p, err := FromSegments(context.Background(), segs, View{W: 1500, H: 1000, FocalPx: 700})
		if err != nil {
			t.Fatal(err)
		}
		if p.Confidence >= Sure {
			sure++
		}
	}
	t.Logf("%d of 20 taken for a room", sure)
	if sure > 2 {
		t.Errorf("%d of 20 heaps of stray lines are taken for a room", sure)
	}
	p, err := FromSegments(context.Background(), nil, View{W: 100, H: 100})
	if err != nil || p.Confidence != 0 || p.Plan(100, 100, PlanOptions{}).Corrected {
		t.Errorf("no lines at all: %+v, %v", p, err)
	}
}

// A plan makes verticals vertical, stays inside the picture, keeps its shape, and
// follows every orientation.
func TestPlan(t *testing.T) {
	const w, h, f = 1500, 1000, 600.0
	l := lens.New("test", "test")
	l.Distortion = lens.Brown(-0.05, 0.005, 0, f/(math.Hypot(w, h)/2))
	for _, p := range []Pose{
		{PitchDeg: -5.5, RollDeg: 2.3, Confidence: 1, FocalPx: f, Profile: l},
		{PitchDeg: 8, RollDeg: -1, YawDeg: 2, Straight: true, Confidence: 1, FocalPx: f},
	} {
		g := p.Plan(w, h, PlanOptions{})
		if !g.Corrected || math.Abs(float64(g.W)/float64(g.H)-1.5) > 0.002 || g.CropKept < 0.6 || g.CropKept > 1 {
			t.Errorf("%+v", g)
		}
		for i := range 101 {
			s := float64(i) / 100
			for _, q := range [4][2]float64{{s, 0}, {s, 1}, {0, s}, {1, s}} {
				x, y := g.Map.At(q[0]*float64(g.W), q[1]*float64(g.H))
				if x < 0 || y < 0 || x > w || y > h {
					t.Fatalf("the border shows: (%.2f, %.2f)", x, y)
				}
			}
		}
		// Points of a vertical line of the room, drawn by this camera, come from one
		// output column.
		yaw := 0.0
		if p.Straight {
			yaw = rad(p.YawDeg)
		}
		axes := rotation(rad(p.PitchDeg), rad(p.RollDeg), yaw)
		c := camera{w: w, h: h, at: Centre{w / 2, h / 2}, half: math.Hypot(w, h) / 2, focal: f, lens: p.Profile, axes: axes}
		for _, x := range []float64{-0.8, 0.1, 0.7} {
			var first float64
			for k, y := range []float64{-0.4, 0, 0.4} {
				sx, sy := c.source(x, y)
				u, _ := forward(g.Map, sx, sy)
				if k == 0 {
					first = u
				} else if math.Abs(u-first) > 1e-3 {
					t.Errorf("a vertical leans by %.4f px", u-first)
				}
			}
		}
		for o := 2; o <= 8; o++ {
			q := p.Plan(w, h, PlanOptions{Orientation: o})
			// A stored picture whose pixels know their upright place.
			sw, sh := w, h
			if o >= 5 {
				sw, sh = h, w
			}
			ux, uy := g.Map.At(123, 456)
			sx, sy := q.Map.At(123, 456)
			bx, by := turned(o, sx, sy, float64(sw), float64(sh))
			if math.Hypot(bx-ux, by-uy) > 1e-9 {
				t.Errorf("orientation %d: (%.1f, %.1f), want (%.1f, %.1f)", o, bx, by, ux, uy)
			}
		}
	}
}

// turned turns a stored place as the Exif orientation says a viewer must.
func turned(o int, x, y, w, h float64) (float64, float64) {
	switch o {
	case 2:
		return w - x, y
	case 3:
		return w - x, h - y
	case 4:
		return x, h - y
	case 5:
		return y, x
	case 6: // a quarter turn clockwise
		return h - y, x
	case 7:
		return h - y, w - x
	case 8:
		return y, w - x
	}
	return x, y
}

func TestPlanLeavesAlone(t *testing.T) {
	for _, p := range []Pose{
		{PitchDeg: -5, Confidence: 0.3, FocalPx: 600},                 // unsure
		{PitchDeg: 0.05, RollDeg: -0.06, Confidence: 1, FocalPx: 600}, // plumb
		{PitchDeg: 55, RollDeg: 25, Confidence: 1, FocalPx: 500},      // would cost too much
	} {
		g := p.Plan(1500, 1000, PlanOptions{})
		if g.Corrected || g.W != 1500 || g.H != 1000 || g.CropKept != 1 {
			t.Errorf("%+v is corrected: %+v", p, g)
		}
		if x, y := g.Map.At(17.5, 900.5); x != 17.5 || y != 900.5 {
			t.Errorf("pixels move to (%g, %g)", x, y)
		}
	}
}

// Looking steeply up: levelled, and half of the convergence stays.
func TestPlanByHalf(t *testing.T) {
	p := Pose{PitchDeg: 36, RollDeg: 3, Confidence: 1, FocalPx: 800}
	g := p.Plan(1500, 1000, PlanOptions{})
	if !g.Corrected || !g.Partly || g.CropKept < 0.5 {
		t.Fatalf("corrected %v, partly %v, %.2f kept", g.Corrected, g.Partly, g.CropKept)
	}
	// What remains is a camera that looks up by 18 degrees and has no roll: the
	// vertical through the middle stands upright, those beside it converge evenly.
	axes := rotation(rad(36), rad(3), 0)
	c := camera{w: 1500, h: 1000, at: Centre{750, 500}, half: math.Hypot(750, 500), focal: 800, axes: axes}
	lean := func(x float64) float64 {
		ax, ay := c.source(x, -0.7)
		bx, by := c.source(x, -0.4)
		ux, uy := forward(g.Map, ax, ay)
		vx, vy := forward(g.Map, bx, by)
		return deg(math.Atan2(vx-ux, vy-uy))
	}
	if m, l, r := lean(0), lean(-0.4), lean(0.4); math.Abs(m) > 0.01 || math.Abs(l+r) > 0.01 || l < -8 || l > -3 {
		t.Errorf("verticals lean by %.2f, %.2f and %.2f degrees", l, m, r)
	}
}

// Finished pictures, measured again: verticals within 0.15 degrees of plumb.
func TestStraightenedHouse(t *testing.T) {
	for _, name := range []string{"A-living", "A-kitchenwide", "A-shower"} {
		c := readTruth(t, name)
		m := readRadiance(t, name)
		luma, err := Luma(context.Background(), m, 1600)
		if err != nil {
			t.Fatal(err)
		}
		p, err := Measure(context.Background(), luma, View{W: m.W(), H: m.H(), FocalPx: c.Camera.Focal})
		if err != nil {
			t.Fatal(err)
		}
		g := p.Plan(m.W(), m.H(), PlanOptions{})
		out, err := warp.Apply(context.Background(), m, g.Map, g.W, g.H)
		if err != nil {
			t.Fatal(err)
		}
		if luma, err = Luma(context.Background(), out, 1600); err != nil {
			t.Fatal(err)
		}
		segs, err := lines.Detect(context.Background(), luma, lines.Options{MinLength: 60})
		if err != nil {
			t.Fatal(err)
		}
		var leans []float64
		for _, s := range segs {
			if a := math.Abs(deg(math.Atan2(s.X2-s.X1, math.Abs(s.Y2-s.Y1)))); a < 2 {
				leans = append(leans, a)
			}
		}
		slices.Sort(leans)
		t.Logf("%s: %d x %d, %.1f %% kept, %d verticals lean %.3f degrees (median)", name, g.W, g.H, 100*g.CropKept, len(leans), leans[len(leans)/2])
		if leans[len(leans)/2] > 0.15 {
			t.Errorf("%s: verticals lean %.3f degrees", name, leans[len(leans)/2])
		}
	}
}

func BenchmarkMeasure(b *testing.B) {
	c := readTruth(b, "A-living")
	m := readRadiance(b, "A-living")
	luma, err := Luma(context.Background(), m, 1600)
	if err != nil {
		b.Fatal(err)
	}
	v := View{W: m.W(), H: m.H(), FocalPx: c.Camera.Focal}
	for b.Loop() {
		if _, err := Measure(context.Background(), luma, v); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkLuma24MP(b *testing.B) {
	m := raster.NewRGB(6000, 4000)
	for c := range 3 {
		m[c].Fill(0.4)
	}
	for b.Loop() {
		p, err := Luma(context.Background(), m, 1600)
		if err != nil {
			b.Fatal(err)
		}
		raster.Put(p)
	}
}
