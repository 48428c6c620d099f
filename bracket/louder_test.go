package bracket

import (
	"math"
	"slices"
	"testing"

	"mullion/internal/raster"
)

// A bright card moves before a wall that is lit from one side. Where it was seen one frame stands alone;
// there the noise is as loud as the merge says, and elsewhere as Noise says.
func TestLouder(t *testing.T) {
	const w, h = 640, 400
	var scenes []*raster.RGB
	for i := range 5 {
		m := raster.NewRGB(w, h)
		for y := range h {
			for x := range w {
				v := float32(0.05 * math.Exp2(6*float64(x/40*40)/w))
				if (x/40+y/40)%2 == 0 { // something to align by
					v *= 1.5
				}
				if x > 220+25*i && x < 280+25*i && y > 130 && y < 230 {
					v = 1.2
				}
				for c := range m {
					m[c].Row(y)[x] = v
				}
			}
		}
		scenes = append(scenes, m)
	}
	k := take(t, taking{scenes: scenes})
	r, err := Merge(bg, k.frames, Options{Reference: -1})
	if err != nil {
		t.Fatal(err)
	}
	if r.Louder == nil || r.Mosaic == nil {
		t.Fatalf("nothing moved, or everything: %v %+v", r.Findings, r.Frames)
	}
	// Absolute differences to the next but one, over the prediction; the card's edges are
	// few, so that the median does not see them.
	var loud, plain, quiet []float32
	for y := 4; y < h-4; y++ {
		row := r.Mosaic.Row(y)
		for x := 4; x < w-6; x++ {
			v, d := float64(row[x]+row[x+2])/2, math.Abs(float64(row[x]-row[x+2]))
			s := float64(r.Louder.At(x, y))
			uneven := k.cam.PRNU * v // the sensor's own texture, which is no noise
			variance := float64(r.Noise.VarAt(float32(v)))
			expect := func(s float64) float32 {
				return float32(d / 0.6745 / math.Sqrt(2*(variance*s*s+uneven*uneven)))
			}
			switch {
			case s > 1.5:
				loud, plain = append(loud, expect(s)), append(plain, expect(1))
			case s == 1:
				quiet = append(quiet, expect(1))
			}
		}
	}
	n := len(loud)
	if n < 5000 {
		t.Fatalf("%d photosites are louder", n)
	}
	// Without the frames that agree they would be 35,800.
	if n > 31000 {
		t.Errorf("%d photosites come from one frame alone", n)
	}
	for _, v := range [][]float32{loud, plain, quiet} {
		slices.Sort(v)
	}
	l, p, q := loud[n/2], plain[n/2], quiet[len(quiet)/2]
	t.Logf("noise over prediction: %.2f where it stands still, %.2f where it moved (%d; %.2f without the scale)", q, l, n, p)
	if l < .85*q || l > 1.15*q || q < .85 || q > 1.2 || p < 1.5 { // the pattern's soft edges are in both
		t.Errorf("noise over prediction: %.2f where it stands still, %.2f where it moved, %.2f without the scale", q, l, p)
	}
}
