package plumb

import (
	"math"
	"strings"
	"testing"
)

func TestReadSegments(t *testing.T) {
	got, err := ReadSegments(strings.NewReader("\ufeffx1,y1,x2,y2\n# from a detector\n1,2,3.5,4\n\n5; 6; 7; 8e1; 0.9\n9 10\t11 12\n"), "a.csv")
	if err != nil || len(got) != 3 || got[0].X2 != 3.5 || got[1].Y2 != 80 || got[2].Y1 != 10 {
		t.Errorf("%+v, %v", got, err)
	}
	// Names say which columns; a column that counts the lines is none of them.
	for _, text := range []string{
		"y2,x2,id,y1,X1\n4,3,9,2,1\n8,7,9,6,5\n",
		"0,1,2,3,4\n1,5,6,7,8\n2,1,2,3,4\n3,1,2,3,4\n",
		"idx x1 y1 x2 y2\n7 1 2 3 4\n7 5 6 7 8\n",
		"1,2,3,4,0.9\n5,6,7,8,0.8\n",
		"1,2,3,4,edge\n5,6,7,8,door\n",
	} {
		got, err := ReadSegments(strings.NewReader(text), "a.csv")
		if err != nil || len(got) < 2 || got[0].X1 != 1 || got[0].Y2 != 4 || got[1].X1 != 5 || got[1].Y1 != 6 || got[1].Y2 != 8 {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
	for _, bad := range []string{"", "x1,y1,x2,y2\n", "1,2,3,4\n1,2,3\n", "1,2,3,4\n1,2,x,4\n", "1,2,3,4\n1,2,NaN,4\n"} {
		if _, err := ReadSegments(strings.NewReader(bad), "a.csv"); err == nil || !strings.Contains(err.Error(), "a.csv") {
			t.Errorf("%q: error %v", bad, err)
		}
	}
}

// Three vanishing points are square to each other (Caprile & Torre 1990): their
// triangle's altitudes meet in the axis, at the focal length. Level, the
// vertical one lies at infinity and is still a number.
func TestVanishingPoints(t *testing.T) {
	p := Pose{PitchDeg: -12, RollDeg: 3, YawDeg: 30, FocalPx: 520, Centre: Centre{326, 254}}
	a, b, c := p.VanishingPoints()
	for _, q := range [][2]Point{{a, b}, {b, c}, {c, a}} {
		if d := (q[0].X-326)*(q[1].X-326) + (q[0].Y-254)*(q[1].Y-254) + 520*520; math.Abs(d) > 1e-3 {
			t.Errorf("%+v and %+v are not square: %g", q[0], q[1], d)
		}
	}
	// Looking down by 12 degrees, without roll, verticals meet f / tan 12 below.
	v, _, _ := Pose{PitchDeg: -12, FocalPx: 520, Centre: Centre{320, 240}}.VanishingPoints()
	if math.Abs(v.X-320) > 1e-6 || math.Abs(v.Y-240-520/math.Tan(rad(12))) > 1e-6 {
		t.Errorf("verticals meet at (%.2f, %.2f)", v.X, v.Y)
	}
	v, _, _ = Pose{FocalPx: 520}.VanishingPoints()
	if math.IsInf(v.Y, 0) || math.IsNaN(v.X) || math.Abs(v.Y) < 1e8 || v.Homogeneous[2] != 0 {
		t.Errorf("level: %+v", v)
	}
}

// A level set by hand is a pose like any other: certain, and corrected as told.
func TestLevelByHand(t *testing.T) {
	p := Pose{PitchDeg: -4, RollDeg: 1.5, Confidence: 1, FocalPx: 700}
	g := p.Plan(1500, 1000, PlanOptions{})
	c := camera{w: 1500, h: 1000, at: Centre{750, 500}, half: math.Hypot(750, 500), focal: 700, axes: rotation(rad(-4), rad(1.5), 0)}
	ax, ay := c.source(0.4, -0.3)
	bx, by := c.source(0.4, 0.3)
	u, _ := forward(g.Map, ax, ay)
	v, _ := forward(g.Map, bx, by)
	if !g.Corrected || math.Abs(u-v) > 1e-3 {
		t.Errorf("corrected %v, a vertical leans by %.4f px", g.Corrected, u-v)
	}
}
