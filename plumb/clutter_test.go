package plumb

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"mullion/lines"
)

// handheld is a camera whose axis is not in the middle.
type handheld struct {
	w, h, f, cx, cy float64
}

var small = handheld{640, 480, 519, 326, 254}

// clutter makes the segments an untidy room gives in a small picture, as a
// detector reports them: broken, short, off by half a pixel and slightly biased.
// The camera looks down on it. The room's box and cupboards are square to each
// other, furniture stands at any azimuth, books and chair backs lean together by a
// few degrees, curtains sway, and a third of all lines belong to nothing.
type clutter struct {
	r   *rand.Rand
	cam handheld
	m   model
	out []lines.Segment
	up  float64 // probability that an upright edge is seen
	// still leaves out what leans: books, chair backs, curtains.
	still bool
}

func (c *clutter) draw(v vec3) (x, y float64, ok bool) {
	if v.z < 0.2 {
		return 0, 0, false
	}
	return c.cam.cx + c.cam.f*v.x/v.z, c.cam.cy + c.cam.f*v.y/v.z, true
}

// edge draws the space line from a along dir of length l, broken as detectors do.
func (c *clutter) edge(a, dir vec3, l float64) {
	r := c.r
	bias := 0.25 * r.NormFloat64() // a soft or shaded edge is drawn askew
	parts := 1 + r.IntN(4)
	for i := range parts {
		t1 := (float64(i) + 0.3*r.Float64()) / float64(parts)
		t2 := (float64(i+1) - 0.3*r.Float64()) / float64(parts)
		if r.Float64() < 0.25 {
			continue
		}
		x1, y1, ok1 := c.draw(vec3{a.x + t1*l*dir.x, a.y + t1*l*dir.y, a.z + t1*l*dir.z})
		x2, y2, ok2 := c.draw(vec3{a.x + t2*l*dir.x, a.y + t2*l*dir.y, a.z + t2*l*dir.z})
		if !ok1 || !ok2 || !c.inside(x1, y1) && !c.inside(x2, y2) {
			continue
		}
		x1, y1, x2, y2 = c.cut(x1, y1, x2, y2)
		c.put(x1, y1, x2, y2, bias)
	}
}

func (c *clutter) inside(x, y float64) bool {
	return x > 7 && y > 6 && x < c.cam.w-9 && y < c.cam.h-7
}

// cut ends a line at the picture's border.
func (c *clutter) cut(x1, y1, x2, y2 float64) (a, b, d, e float64) {
	if !c.inside(x1, y1) {
		x1, y1, x2, y2 = x2, y2, x1, y1
	}
	lo, hi := 0.0, 1.0
	if !c.inside(x2, y2) {
		for range 20 {
			if t := (lo + hi) / 2; c.inside(x1+t*(x2-x1), y1+t*(y2-y1)) {
				lo = t
			} else {
				hi = t
			}
		}
	}
	return x1, y1, x1 + hi*(x2-x1), y1 + hi*(y2-y1)
}

func (c *clutter) put(x1, y1, x2, y2, bias float64) {
	l := math.Hypot(x2-x1, y2-y1)
	if l < 10 {
		return
	}
	r := c.r
	s := 0.3 + 0.4*r.Float64()
	e1, e2 := s*r.NormFloat64()+bias, s*r.NormFloat64()-bias
	nx, ny := -(y2-y1)/l, (x2-x1)/l
	c.out = append(c.out, lines.Segment{X1: x1 + e1*nx, Y1: y1 + e1*ny, X2: x2 + e2*nx, Y2: y2 + e2*ny})
}

// place is a point of the room, by its height below the camera.
func (c *clutter) place(az, dist, below float64) vec3 {
	ax := model{c.m[pitch], c.m[roll], 0}.axes()
	s, k := math.Sincos(az)
	right, fwd := dist*s, dist*k
	return vec3{
		ax[0].x*below + ax[1].x*right + ax[2].x*fwd,
		ax[0].y*below + ax[1].y*right + ax[2].y*fwd,
		ax[0].z*below + ax[1].z*right + ax[2].z*fwd,
	}
}

// box draws a box of the given size that leans by lean at the top.
func (c *clutter) box(az, dist, below, w, d, h, turn float64, lean vec3) {
	ax := model{c.m[pitch], c.m[roll], turn}.axes()
	o := c.place(az, dist, below)
	up := vec3{-ax[0].x + lean.x, -ax[0].y + lean.y, -ax[0].z + lean.z}
	at := func(i, j, k float64) vec3 {
		return vec3{
			o.x + i*w*ax[1].x + j*d*ax[2].x + k*h*up.x,
			o.y + i*w*ax[1].y + j*d*ax[2].y + k*h*up.y,
			o.z + i*w*ax[1].z + j*d*ax[2].z + k*h*up.z,
		}
	}
	for _, i := range []float64{0, 1} {
		for _, j := range []float64{0, 1} {
			if c.r.Float64() < c.up {
				c.edge(at(i, j, 0), up, h)
			}
			if c.r.Float64() < 0.7 {
				c.edge(at(0, i, j), ax[1], w)
			}
			if c.r.Float64() < 0.7 {
				c.edge(at(i, 0, j), ax[2], d)
			}
		}
	}
}

func untidy(r *rand.Rand) *clutter { return untidyWith(r, 0.7, false) }

// untidyWith is an untidy room whose upright edges are seen with probability up, with
// or without things that lean.
func untidyWith(r *rand.Rand, up float64, still bool) *clutter {
	c := &clutter{r: r, cam: small, up: up, still: still}
	c.m = model{rad(-13 + 7*r.NormFloat64()), rad(2 * r.NormFloat64()), rad(90*r.Float64() - 45)}
	c.m[pitch] = max(-rad(33), min(rad(15), c.m[pitch]))
	az := func() float64 { return rad(70*r.Float64() - 35) }
	little := func(s float64) vec3 { return vec3{s * r.NormFloat64(), s * r.NormFloat64(), s * r.NormFloat64()} }
	// Walls: door frames, shelves, windows.
	for range 1 + r.IntN(4) {
		c.box(az(), 2+2*r.Float64(), 1.4, 0.6+r.Float64(), 0.3, 1+1.4*r.Float64(), c.m[yaw], little(0.002))
	}
	// Furniture, square or at any azimuth.
	for range 2 + r.IntN(5) {
		turn := c.m[yaw]
		if r.IntN(2) == 0 {
			turn = 2 * math.Pi * r.Float64()
		}
		c.box(az(), 1.2+2*r.Float64(), 1.4, 0.4+0.6*r.Float64(), 0.4, 0.3+0.5*r.Float64(), turn, little(0.006))
	}
	// Things that lean: books, chair backs, boxes on shelves.
	if !c.still {
		c.up = 0.7
	}
	for range r.IntN(6) {
		turn, lean := 2*math.Pi*r.Float64(), little(0.1)
		at, dist, below := az(), 1+2*r.Float64(), 0.2+r.Float64()
		for i := range 1 + r.IntN(4) {
			own := little(0.02)
			own = vec3{lean.x + own.x, lean.y + own.y, lean.z + own.z}
			c.box(at+0.05*float64(i), dist, below, 0.05+0.3*r.Float64(), 0.2, 0.2+0.2*r.Float64(), turn, own)
		}
	}
	// A curtain.
	if r.IntN(3) == 0 && !c.still {
		at := az()
		for i := range 4 + r.IntN(10) {
			down := c.m.axes()[0]
			sway := little(0.06)
			c.edge(c.place(at+0.03*float64(i), 3, -0.8), vec3{down.x + sway.x, down.y + sway.y, down.z + sway.z}, 1.5)
		}
	}
	// Lines of nothing: cloth, plants, shadows, people.
	for range len(c.out)/4 + r.IntN(60) {
		x, y, a, l := c.cam.w*r.Float64(), c.cam.h*r.Float64(), math.Pi*r.Float64(), 10+20*r.ExpFloat64()
		x2, y2 := x+l*math.Cos(a), y+l*math.Sin(a)
		if c.inside(x, y) && c.inside(x2, y2) {
			c.put(x, y, x2, y2, 0)
		}
	}
	return c
}

// zenithError is the angle in degrees between the true vertical and the one that
// the vertical vanishing point means to a camera whose axis is known.
func (c *clutter) zenithError(p Pose) float64 {
	v, _, _ := p.VanishingPoints()
	h := v.Homogeneous
	d := vec3{(h[0] - c.cam.cx*h[2]) / c.cam.f, (h[1] - c.cam.cy*h[2]) / c.cam.f, h[2]}
	t := c.m.axes()[0]
	cos := math.Abs(d.x*t.x+d.y*t.y+d.z*t.z) / math.Sqrt(d.x*d.x+d.y*d.y+d.z*d.z)
	return deg(math.Acos(min(1, cos)))
}

// A few of these rooms can't be answered: what leans together outweighs what
// stands upright. The bars are what a wrong formula would miss; on two sets of 225 rooms
// that set nothing the median was .34 and .35 degrees, and 94 and 89 % were under 2.
func TestUntidyRooms(t *testing.T) {
	for _, told := range []bool{true, false} {
		median, two := 0.5, 90.0
		if !told {
			median, two = 0.6, 88
		}
		r := rand.New(rand.NewPCG(225, 1))
		var e errors
		var count int
		var sure, right float64
		const n = 225
		for range n {
			c := untidy(r)
			v := View{W: int(c.cam.w), H: int(c.cam.h), FocalPx: c.cam.f, LooseAxis: true}
			if told {
				v.Centre = &Centre{c.cam.cx, c.cam.cy}
			}
			p, err := FromSegments(context.Background(), c.out, v)
			if err != nil {
				t.Fatal(err)
			}
			count += len(c.out)
			e.all = append(e.all, c.zenithError(p))
			if p.Confidence >= 0.8 {
				sure++
				if c.zenithError(p) < 2 {
					right++
				}
			}
		}
		under := func(x float64) float64 {
			k := 0.0
			for _, v := range e.all {
				if v < x {
					k++
				}
			}
			return 100 * k / n
		}
		t.Logf("axis known %v: %d segments each; error median %.3f, 90 %% %.2f deg; under 0.5: %.1f %%, 1: %.1f %%, 2: %.1f %%, 5: %.1f %%",
			told, count/n, e.at(0.5), e.at(0.9), under(0.5), under(1), under(2), under(5))
		// Confidence means something: of the surest, hardly any is wrong.
		t.Logf("%.0f of %d with a confidence of 0.8 or more, %.1f %% of them under 2 deg", sure, n, 100*right/sure)
		if sure < 0.4*n || right < 0.97*sure {
			t.Errorf("%.0f of %.0f sure answers are right", right, sure)
		}
		if e.at(0.5) > median || under(2) < two {
			t.Errorf("median %.3f deg and %.1f %% under 2, want %.2f and %.0f", e.at(0.5), under(2), median, two)
		}
	}
}

// Rooms whose uprights are hidden or out of the picture. With hardly any, what leans
// together may look upright, and only the horizontals can contradict it; with nothing
// steep at all, a look down on a counter, they fix the level by themselves, if weakly.
// Most answers that are acted on leave less lean than there was; the bars are below what
// was reached on rooms that set nothing: 92, 77 and 86 % or more.
func TestRoomsWithoutUprights(t *testing.T) {
	for _, k := range []struct {
		name          string
		up            float64
		still         bool
		acted, better float64 // least shares of all and of those acted on
	}{
		{"few uprights", 0.15, false, 0.3, 0.85},
		{"none, things that lean", 0, false, 0, 0.7},
		{"none, nothing leans", 0, true, 0, 0.8},
	} {
		for _, told := range []bool{true, false} {
			r := rand.New(rand.NewPCG(226, 1))
			var acted, better, two, sure, right float64
			const n = 75
			for range n {
				c := untidyWith(r, k.up, k.still)
				v := View{W: int(c.cam.w), H: int(c.cam.h), FocalPx: c.cam.f, LooseAxis: !told}
				if told {
					v.Centre = &Centre{c.cam.cx, c.cam.cy}
				}
				p, err := FromSegments(context.Background(), c.out, v)
				if err != nil {
					t.Fatal(err)
				}
				off := c.zenithError(p)
				if off < 2 {
					two++
				}
				if p.Confidence >= Sure {
					acted++
					if off < deg(math.Hypot(c.m[pitch], c.m[roll])) {
						better++
					}
				}
				if p.Confidence >= 0.8 {
					sure++
					if off < max(2, 0.2*deg(math.Hypot(c.m[pitch], c.m[roll]))) {
						right++
					}
				}
			}
			t.Logf("%-22s axis known %-5v under 2 deg %.1f %%; acted on %.0f of %d, %.1f %% of them better; sure %.0f, %.1f %% of them right",
				k.name, told, 100*two/n, acted, n, 100*better/acted, sure, 100*right/sure)
			if better < k.better*acted || acted < k.acted*n {
				t.Errorf("%s: %.0f of %.0f that are acted on of %d get better", k.name, better, acted, n)
			}
		}
	}
}
