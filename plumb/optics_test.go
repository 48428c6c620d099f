package plumb

import (
	"encoding/binary"
	"math"
	"path/filepath"
	"testing"

	"mullion/demo"
	"mullion/lens"
	"mullion/simcam"
)

// opcodes are the corrections of a camera's lens as a DNG holds them (DNG
// specification 1.4, chapter 6): Brown's distortion for a focal length in
// half-diagonals, and the gain that undoes 1 - a r^2 - b r^4 to the tenth power.
func opcodes(k1, k2, focal, a, b float64) []byte {
	var out []byte
	u32 := func(v ...uint32) {
		for _, x := range v {
			out = binary.BigEndian.AppendUint32(out, x)
		}
	}
	f64 := func(v ...float64) {
		for _, x := range v {
			out = binary.BigEndian.AppendUint64(out, math.Float64bits(x))
		}
	}
	u32(2, 3, 0x01030000, 1, 56) // FixVignetteRadial
	// 1/(1 - a q - b q^2) = sum of c_i q^i with c_i = a c_(i-1) + b c_(i-2).
	c := []float64{1, a}
	for i := 2; i <= 5; i++ {
		c = append(c, a*c[i-1]+b*c[i-2])
	}
	f64(c[1:]...)
	f64(0.5, 0.5)
	u32(1, 0x01030000, 1, 68, 1) // WarpRectilinear, one plane
	f64(1, k1/(focal*focal), k2/math.Pow(focal, 4), 0, 0, 0, 0.5, 0.5)
	return out
}

// Camera files that bring their lens's correction: it is read, named, used for the
// pose and for the resampling, in landscape and in portrait.
func TestCorrectionInTheFile(t *testing.T) {
	for _, name := range []string{"living", "shower"} {
		c := readTruth(t, "A-"+name)
		v, err := demo.Truth(name)
		if err != nil {
			t.Fatal(err)
		}
		half := math.Hypot(1800, 1200) / 2
		cam := simcam.LF1()
		cam.OpcodeList3 = opcodes(c.Camera.Radial.K1, c.Camera.Radial.K2, c.Camera.Focal/half, cam.Vignette[0], cam.Vignette[1])
		dir := t.TempDir()
		if _, err := cam.Shoot(t.Context(), dir, []simcam.View{v.Scene()}, simcam.Defaults(), nil); err != nil {
			t.Fatal(err)
		}
		files, _ := filepath.Glob(filepath.Join(dir, "DCIM", "*", "*.DNG"))
		p, view, err := MeasureFile(t.Context(), files[0], View{FocalPx: c.Camera.Focal})
		if err != nil {
			t.Fatal(err)
		}
		if view.Profile == nil || view.Profile != p.Profile || view.Profile.Origin != "written into the file by its maker" {
			t.Fatalf("%s: profile %+v", name, view.Profile)
		}
		truth := lens.Brown(c.Camera.Radial.K1, c.Camera.Radial.K2, 0, c.Camera.Focal/half)
		for _, r := range []float64{0.3, 0.6, 1} {
			if off := p.Profile.Distort(r) - r*truth.At(r); math.Abs(off) > 1e-9 {
				t.Errorf("%s: distortion off by %g at %g", name, off, r)
			}
			q := r * r
			if even := p.Profile.Gain(r) * (1 - cam.Vignette[0]*q - cam.Vignette[1]*q*q); math.Abs(even-1) > 0.02 {
				t.Errorf("%s: %.3f of the light is left at %g", name, even, r)
			}
		}
		dp, dr := p.PitchDeg-c.Camera.Pitch, p.RollDeg-c.Camera.Roll
		t.Logf("%s: pitch %+.3f, roll %+.3f off, confidence %.2f", name, dp, dr, p.Confidence)
		if math.Abs(dp) > 0.1 || math.Abs(dr) > 0.1 {
			t.Errorf("%s: pitch %+.3f, roll %+.3f off", name, dp, dr)
		}
		g := p.Plan(view.W, view.H, PlanOptions{Orientation: 1})
		if g.Map.Gain == nil || g.Map.Gain(5, 5) < 1.4 {
			t.Errorf("%s: vignetting is not taken out", name)
		}
	}
}

// The axis of a lens that isn't in the middle of its sensor is where the sensor has
// it, however the camera was turned, and the map goes by it.
func TestAxisOffTheMiddle(t *testing.T) {
	const w, h = 600, 400 // as the sensor lies
	p := lens.New("", "")
	p.CentreX, p.CentreY = 0.05, -0.02
	p.Distortion = lens.Radial{1, 0, -0.08}
	p.Lift = lens.Lift{1, 0.5}
	half := math.Hypot(w, h) / 2
	wantX, wantY := w/2+0.05*half, h/2-0.02*half
	for o := 1; o <= 8; o++ {
		uw, uh := w, h
		if o >= 5 {
			uw, uh = h, w
		}
		c := axis(p, o, uw, uh)
		x, y := orient(o, float64(uw), float64(uh))(c.X, c.Y)
		if math.Hypot(x-wantX, y-wantY) > 1e-9 {
			t.Errorf("orientation %d: axis at (%.1f, %.1f) of the sensor, not (%.1f, %.1f)", o, x, y, wantX, wantY)
		}
		pose := Pose{FocalPx: 400, Profile: p, Centre: *c}
		g := pose.Plan(uw, uh, PlanOptions{Orientation: o})
		if least := g.Map.Gain(wantX, wantY); math.Abs(least-1) > 1e-9 || g.Map.Gain(wantX+30, wantY) <= 1 {
			t.Errorf("orientation %d: gain %.4f on the axis", o, least)
		}
		// Around the axis the map is a mere shift: distortion has no slope there.
		fx, fy := forward(g.Map, wantX, wantY)
		ax, ay := g.Map.At(fx+1, fy)
		if step := math.Hypot(ax-wantX, ay-wantY); math.Abs(step-1) > 5e-3 {
			t.Errorf("orientation %d: a step of %.4f px on the axis", o, step)
		}
	}
	if axis(nil, 6, w, h) != nil {
		t.Error("an axis of no lens")
	}
}
