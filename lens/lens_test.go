package lens

import (
	"math"
	"strings"
	"testing"

	"mullion/lens/internal/reference"
)

func TestUndistort(t *testing.T) {
	for _, d := range []Radial{
		Brown(-0.055, 0.006, 0, 700/math.Hypot(900, 600)),
		Brown(0.1, 0, 0, 1), poly3(0.03, 0.55), poly5(-0.05, 0.01, 0.55), ptlens(0.02, -0.07, 0.05, 0.55), Unity,
	} {
		p := New("", "")
		p.Distortion = d
		for r := 0.0; r < 1.4; r += 0.01 {
			if back := p.Undistort(p.Distort(r)); math.Abs(back-r) > 1e-9 {
				t.Fatalf("%v: radius %.2f comes back as %.9f", d, r, back)
			}
		}
	}
}

// A barrel so strong that its polynomial turns back must stay monotonic.
func TestDistortTurning(t *testing.T) {
	p := New("", "")
	p.Distortion = Brown(-0.2, 0, 0, 0.5)
	last := -1.0
	for r := 0.0; r < 4; r += 0.01 {
		v := p.Distort(r)
		if v <= last {
			t.Fatalf("not monotonic at %.2f", r)
		}
		last = v
		if back := p.Undistort(v); math.Abs(back-r) > 1e-6 {
			t.Fatalf("radius %.2f comes back as %.6f", r, back)
		}
	}
}

// The model of Brown 1971 worked by hand: r = 0.5, k1 = -0.1, k2 = 0.02 gives
// 0.5 (1 - 0.025 + 0.00125) = 0.488125.
func TestBrown(t *testing.T) {
	p := New("", "")
	p.Distortion = Brown(-0.1, 0.02, 0, 2)
	if got := p.Distort(1) / 2; math.Abs(got-0.488125) > 1e-12 {
		t.Errorf("got %.9f, want 0.488125", got)
	}
}

func TestNilIsPerfect(t *testing.T) {
	var p *Profile
	if p.Distort(0.7) != 0.7 || p.Undistort(0.7) != 0.7 || p.Gain(1) != 1 || p.Channel(0, 1) != 1 || p.Bends() || p.Shades() || p.Lateral() || p.Focal() != 1 {
		t.Error("a nil profile changes something")
	}
}

// Every model against lensfun's own modifier (the library of the system), over
// the whole picture: to a fiftieth of a pixel and a thousandth of the light.
func TestAgainstLensfun(t *testing.T) {
	for _, c := range []struct {
		q    Query
		w, h int
		what string
	}{
		{Query{Make: "Canon", Model: "Canon EOS 5D Mark II", Lens: "Canon EF 16-35mm f/2.8L II USM", FocalMM: 17, FNumber: 5.6}, 5616, 3744, "ptlens"},
		{Query{Make: "Canon", Model: "Canon EOS 5D Mark II", Lens: "Canon EF 70-200mm f/4L USM", FocalMM: 70, FNumber: 4}, 3000, 2000, "poly3"},
		{Query{Make: "Nikon Corporation", Model: "Nikon D3", Lens: "Nikon AF-S Zoom-Nikkor 17-35mm f/2.8D IF-ED", FocalMM: 17, FNumber: 8}, 4256, 2832, "lateral colour"},
		// A full-frame lens on a smaller sensor.
		{Query{Make: "Canon", Model: "Canon EOS 450D", Lens: "Canon EF 16-35mm f/2.8L II USM", FocalMM: 20, FNumber: 8}, 4272, 2848, "crop"},
		{Query{Make: "Canon", Model: "Canon EOS 450D", Lens: "Canon EF-S 10-22mm f/3.5-4.5 USM", FocalMM: 10, FNumber: 8}, 2848, 4272, "portrait"},
	} {
		p, note := Find(c.q)
		if p == nil {
			t.Errorf("%s: %s", c.what, note)
			continue
		}
		t.Log(note)
		m, err := reference.New(c.q.Make, c.q.Model, c.q.Lens, c.q.FocalMM, c.q.FNumber, 3, c.w, c.h)
		if err != nil {
			t.Fatal(err)
		}
		half := math.Hypot(float64(c.w), float64(c.h)) / 2
		var worst, shade float64
		for i := range 21 {
			for j := range 15 {
				x, y := float64(c.w)*float64(i)/20-0.5, float64(c.h)*float64(j)/14-0.5
				dx, dy := x-float64(c.w-1)/2-p.CentreX*half, y-float64(c.h-1)/2-p.CentreY*half
				r := math.Hypot(dx, dy) / half
				rd := p.Distort(r)
				ref := m.Source(x, y)
				for ch := range 3 {
					k := 1.0
					if r > 0 {
						k = rd / r * p.Channel(ch, rd)
					}
					ex, ey := x-dx+k*dx-ref[ch][0], y-dy+k*dy-ref[ch][1]
					worst = max(worst, math.Hypot(ex, ey))
				}
				shade = max(shade, math.Abs(p.Gain(r)/m.Gain(x, y)-1))
			}
		}
		t.Logf("%s: worst %.4f px, gain %.5f", c.what, worst, shade)
		if worst > 0.02*float64(max(c.w, c.h))/1000 {
			t.Errorf("%s: %.3f px off lensfun's own place", c.what, worst)
		}
		if shade > 0.002 {
			t.Errorf("%s: gain %.4f off lensfun's own", c.what, shade)
		}
	}
}

func TestUnknown(t *testing.T) {
	for _, c := range []struct {
		q    Query
		says string
	}{
		{Query{Make: "Lindenfeld", Model: "LF-1", Lens: "LF 14-24 mm", FocalMM: 14}, "does not know the camera"},
		{Query{Make: "Canon", Model: "Canon EOS 5D Mark II", Lens: "LF 11-13mm f/9", FocalMM: 12}, "does not know the lens"},
		{Query{Make: "Canon", Model: "Canon EOS 5D Mark II", FocalMM: 12}, "does not know the lens"},
		{Query{Make: "Canon", Model: "Canon EOS 5D Mark II", Lens: "Canon EF 16-35mm f/2.8L II USM"}, "focal length"},
		{Query{Make: "Canon", Model: "Canon EOS 5D Mark II", Lens: "Canon EF 16-35mm f/2.8L II USM", FocalMM: 100}, "does not know the lens"},
		{Query{}, "focal length"},
	} {
		p, note := Find(c.q)
		if p != nil || !strings.Contains(note, c.says) {
			t.Errorf("%+v: %v, %q; want no profile and %q", c.q, p, note, c.says)
		}
	}
}

func BenchmarkDistort(b *testing.B) {
	p := New("", "")
	p.Distortion = Brown(-0.055, 0.006, 0, 0.65)
	var sum float64
	for i := 0; b.Loop(); i++ {
		sum += p.Distort(float64(i&1023) / 1024)
	}
	_ = sum
}
