package plumb

import (
	"math"
	"slices"
	"strings"
	"testing"

	"mullion/internal/raster"
	"mullion/lines"
	"mullion/warp"
)

// turnedView is what a camera of 640 x 480 pixels and focal length 519 px at the place
// of a rendered view sees when it is held as told (yaw against the view's own).
func turnedView(t *testing.T, name string, pitchDeg, rollDeg, yawDeg float64) *raster.Plane {
	c := readTruth(t, name)
	src := readRadiance(t, name)
	w, h := float64(src.W()), float64(src.H())
	truth := camera{w: w, h: h, at: Centre{w / 2, h / 2}, half: math.Hypot(w, h) / 2, focal: c.Camera.Focal,
		lens: trueProfile(c, src.W(), src.H()), axes: [3]vec3{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}}
	old := rotation(rad(c.Camera.Pitch), rad(c.Camera.Roll), 0)
	held := rotation(rad(pitchDeg), rad(rollDeg), rad(yawDeg))
	at := func(x, y float64) (float64, float64) {
		v := vec3{(x - 320) / 519, (y - 240) / 519, 1}
		room := vec3{held[0].x*v.x + held[1].x*v.y + held[2].x, held[0].y*v.x + held[1].y*v.y + held[2].y, held[0].z*v.x + held[1].z*v.y + held[2].z}
		z := dot(old[2], room)
		return truth.source(dot(old[0], room)/z, dot(old[1], room)/z)
	}
	out, err := warp.Apply(t.Context(), src, warp.Map{At: at}, 640, 480)
	if err != nil {
		t.Fatal(err)
	}
	luma, err := Luma(t.Context(), out, 640)
	if err != nil {
		t.Fatal(err)
	}
	return luma
}

// Two views from one tripod, turned by 14 degrees and tilted otherwise: the second's
// attitude follows from the first's to a tenth of a degree, whatever its own lines say.
func TestSamePlace(t *testing.T) {
	v := View{W: 640, H: 480, FocalPx: 519}
	for _, name := range []string{"A-living", "A-kitchenwide", "A-bath"} {
		gather := func(pitch, roll, yaw float64) Evidence {
			e, err := Gather(t.Context(), turnedView(t, name, pitch, roll, yaw), v)
			if err != nil {
				t.Fatal(err)
			}
			return e
		}
		first, second := gather(-2, 1, -6), gather(-6, -1.5, 8)
		p, err := FromSegments(t.Context(), first.segments(), v)
		if err != nil {
			t.Fatal(err)
		}
		turn, n, ok := newSight(first, v).turnTo(t.Context(), newSight(second, v))
		if !ok {
			t.Errorf("%s: the place was not known again (%d lines)", name, n)
			continue
		}
		k := turn.from(p, n)
		t.Logf("%s: pitch %+.3f, roll %+.3f off by %d lines", name, k.PitchDeg+6, k.RollDeg+1.5, n)
		if math.Abs(k.PitchDeg+6) > 0.15 || math.Abs(k.RollDeg+1.5) > 0.15 {
			t.Errorf("%s: pitch %.3f, roll %.3f, want -6 and -1.5", name, k.PitchDeg, k.RollDeg)
		}
		if name == "A-bath" {
			continue // which shows too little beside its uprights
		}
		// As if every upright were hidden.
		weak := second
		weak.Lines = slices.DeleteFunc(slices.Clone(second.Lines), func(l [7]float64) bool { return math.Abs(l[3]-l[1]) > math.Abs(l[2]-l[0]) })
		all, err := Together(t.Context(), []Evidence{first, weak})
		if err != nil {
			t.Fatal(err)
		}
		k = all[1].Known
		if k == nil || math.Abs(k.PitchDeg+6) > 0.2 || math.Abs(k.RollDeg+1.5) > 0.2 || !strings.Contains(all[1].Level, "same place") || all[0].Known != nil {
			t.Errorf("%s: with %d lines that don't stand upright: %+v, %+v", name, len(weak.Lines), k, all[1])
		}
	}
}

// Views of other places, of the same rooms too, are not taken for one place.
func TestOtherPlaces(t *testing.T) {
	var sights []*sight
	for _, name := range views {
		c := readTruth(t, name)
		m := readRadiance(t, name)
		luma, err := Luma(t.Context(), m, 1600)
		if err != nil {
			t.Fatal(err)
		}
		v := View{W: m.W(), H: m.H(), FocalPx: c.Camera.Focal, Profile: trueProfile(c, m.W(), m.H())}
		e, err := Gather(t.Context(), luma, v)
		if err != nil {
			t.Fatal(err)
		}
		sights = append(sights, newSight(e, v))
	}
	for i, a := range sights {
		for j, b := range sights {
			_, n, ok := a.turnTo(t.Context(), b)
			if ok != (i == j) {
				t.Errorf("%s and %s: one place %v by %d lines", views[i], views[j], ok, n)
			}
		}
	}
}

// A view whose own lines don't suffice takes its level over, says so, and one that
// suffices doesn't.
func TestKnownAttitude(t *testing.T) {
	known := &Known{PitchDeg: -4, RollDeg: 1.5, Lines: 30}
	few := []lines.Segment{{X1: 10, Y1: 10, X2: 200, Y2: 14}, {X1: 10, Y1: 90, X2: 220, Y2: 95}}
	v := View{W: 640, H: 480, FocalPx: 519, Known: known}
	p, err := FromSegments(t.Context(), few, v)
	if err != nil {
		t.Fatal(err)
	}
	if p.PitchDeg != -4 || p.RollDeg != 1.5 || p.Confidence < Sure || p.Straight {
		t.Errorf("%+v", p)
	}
	if g := p.Plan(640, 480, PlanOptions{}); !g.Corrected {
		t.Error("the level that was taken over is not used")
	}
	luma := turnedView(t, "A-living", -2, 1, -6)
	own, err := Measure(t.Context(), luma, v)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(own.PitchDeg+2) > 0.1 || math.Abs(own.RollDeg-1) > 0.1 {
		t.Errorf("a view that shows its level is overruled: %+v", own)
	}
}

func BenchmarkSamePlace(b *testing.B) {
	c := readTruth(b, "A-living")
	m := readRadiance(b, "A-living")
	luma, err := Luma(b.Context(), m, 1600)
	if err != nil {
		b.Fatal(err)
	}
	v := View{W: m.W(), H: m.H(), FocalPx: c.Camera.Focal, Profile: trueProfile(c, m.W(), m.H())}
	e, err := Gather(b.Context(), luma, v)
	if err != nil {
		b.Fatal(err)
	}
	s := newSight(e, v)
	for b.Loop() {
		s.turnTo(b.Context(), s)
	}
}
