package plumb

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"mullion/lens"
)

// Eight views through one lens of 5 % distortion, each too poor to tell its bend
// well: together they do. Segments without a measured bend carry it only by
// where they lie, which is the hard case.
func TestLensOverAllViews(t *testing.T) {
	const w, h, f = 1500.0, 1000.0, 650.0
	for _, k1 := range []float64{-0.05, 0} {
		r := rand.New(rand.NewPCG(3, 9))
		truth := lens.New("test", "test")
		truth.Distortion = lens.Brown(k1, 0, 0, f/(math.Hypot(w, h)/2))
		var views []Evidence
		for range 8 {
			m := model{rad(3 * r.NormFloat64()), rad(r.NormFloat64()), rad(90*r.Float64() - 45)}
			views = append(views, NewEvidence(scene(r, m, w, h, f, truth), View{W: w, H: h, FocalPx: f}))
		}
		p, err := Lens(context.Background(), views)
		if err != nil {
			t.Fatal(err)
		}
		if k1 == 0 {
			if p != nil {
				t.Errorf("a perfect lens bends by %.4f", p.Distort(1)-1)
			}
			continue
		}
		if p == nil {
			t.Fatal("no distortion was found")
		}
		// The scale is free: compare how the ratio falls from the middle outwards.
		var worst float64
		for _, x := range []float64{0.3, 0.5, 0.7, 0.9} {
			worst = max(worst, math.Abs(p.Distort(x)/x-truth.Distort(x)/x))
		}
		t.Logf("at most %.4f of the radius off, of %.4f; %s", worst, 1-truth.Distort(0.9)/0.9, p.Origin)
		if worst > 0.004 {
			t.Errorf("distortion is off by %.4f of the radius", worst)
		}
	}
}

// A view of which almost nothing can be seen follows the shoot's habit; one with
// lines of its own doesn't.
func TestHabit(t *testing.T) {
	var poses []Pose
	for _, p := range []float64{-3.2, -2.9, -3, -3.1, 20} {
		poses = append(poses, Pose{PitchDeg: p, RollDeg: p / 10, Confidence: 0.9})
	}
	h := HabitOf(poses)
	if h == nil || math.Abs(h.PitchDeg+3) > 0.11 || h.RollSpread != 1 {
		t.Fatalf("%+v", h)
	}
	if HabitOf(poses[:3]) != nil {
		t.Error("three views make no habit")
	}
	r := rand.New(rand.NewPCG(6, 6))
	m := model{rad(6), rad(-2.5), rad(20)}
	p, err := FromSegments(context.Background(), scene(r, m, 1500, 1000, 700, nil), View{W: 1500, H: 1000, FocalPx: 700, Habit: h})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(p.PitchDeg-6) > 0.2 || math.Abs(p.RollDeg+2.5) > 0.2 {
		t.Errorf("habit overrules a view's own lines: pitch %.2f, roll %.2f", p.PitchDeg, p.RollDeg)
	}
}
