package removal

import (
	"math"
	"testing"

	"mullion/internal/raster"
)

// page draws rows of "writing": dark marks of about the size of letters, other ones
// for another seed, as many on every page.
func page(seed uint64) *raster.RGB {
	m := draw(400, 300, func(x, y int) float64 { return 0.7 })
	for line := range 12 {
		for letter := range 30 {
			r := random{seed + uint64(line*30+letter)<<8}
			for stroke := range 3 {
				x, y := 100+letter*6+int(r.next()%4), 80+line*10+int(r.next()%6)
				for k := range 3 {
					for c := range m {
						m[c].Row(y + k*(stroke%2))[x+k*((stroke+1)%2)] = 0.05
					}
				}
			}
		}
	}
	return m
}

func difference(a, b *raster.RGB) (rms, most float64) {
	for i := range a[1].Pix {
		d := math.Sqrt(float64(a[1].Pix[i])) - math.Sqrt(float64(b[1].Pix[i]))
		rms += d * d
		most = max(most, math.Abs(d))
	}
	return math.Sqrt(rms / (180 * 120)), most
}

func TestSoftenedTextIsGone(t *testing.T) {
	mask := raster.New(400, 300)
	Box{95, 75, 190, 130}.Paint(mask)
	a, b := page(1), page(99)
	before, _ := difference(a, b)
	if before < 0.1 {
		t.Fatalf("the two pages differ by %.3f only", before)
	}
	for _, m := range []*raster.RGB{a, b} {
		if n, err := Soften(ctx, m, mask); err != nil || n != 190*130 {
			t.Fatal(n, err)
		}
	}
	// A step of the rounding is 1/15: two texts may lie on both sides of it.
	if rms, most := difference(a, b); rms > 1./15 || most > 1.01/15 {
		t.Errorf("softened, two texts differ by %.4f, at most %.4f", rms, most)
	}
}

func TestSoftenWritesTheMaskOnly(t *testing.T) {
	mask := raster.New(300, 200)
	Box{100, 50, 60, 80}.Paint(mask)
	before := floorBoards(300, 200)
	got := before.Clone()
	if _, err := Soften(ctx, got, mask); err != nil {
		t.Fatal(err)
	}
	for y := range 200 {
		for x := range 300 {
			v := got[0].Row(y)[x]
			if mask.Row(y)[x] == 0 && v != before[0].Row(y)[x] {
				t.Fatalf("pixel %d,%d outside changed", x, y)
			}
			if mask.Row(y)[x] > 0 && (v < 0 || v > 1) {
				t.Fatalf("pixel %d,%d is %g", x, y, v)
			}
		}
	}
	whole := raster.New(300, 200)
	whole.Fill(1)
	if n, err := Soften(ctx, before.Clone(), whole); n != 300*200 || err != nil {
		t.Errorf("a mask of the whole picture: %d, %v", n, err)
	}
	if n, err := Soften(ctx, got, raster.New(300, 200)); n != 0 || err != nil {
		t.Errorf("an empty mask: %d, %v", n, err)
	}
}

// A softened region has its own hue: a wall near grey stays near grey however bright it
// is, a coloured thing keeps its colour, and what is left is the same at every size.
func TestSoftenKeepsTheHue(t *testing.T) {
	for _, tint := range [][3]float64{{1, 1, 1}, {1.02, 1, 0.97}, {0.97, 1, 1.03}, {1.3, 1, 0.6}, {0.5, 0.9, 1.4}} {
		for light := 0.05; light < 0.7; light += 0.013 {
			var before []float32
			for _, size := range []int{40, 80, 160} {
				got, mean := softMiddle(t, size, light, tint)
				for c := range got {
					// Beside its own lightness no channel is off by more than half a step of colour.
					l := (math.Sqrt(float64(got[1])) - math.Sqrt(mean[1]))
					d := math.Sqrt(float64(got[c])) - math.Sqrt(mean[c]) - l
					if math.Abs(d) > 0.75*softStep {
						t.Errorf("tint %v, light %.3f, size %d: channel %d is %+.4f off the mean's hue", tint, light, size, c, d)
					}
				}
				if max(math.Abs(tint[0]-1), math.Abs(tint[2]-1)) < .05 && (got[0] != got[1] || got[2] != got[1]) {
					t.Errorf("tint %v, light %.3f, size %d: what is nearly grey turns %v", tint, light, size, got)
				}
				if before != nil && (got[0] != before[0] || got[1] != before[1] || got[2] != before[2]) {
					t.Errorf("tint %v, light %.3f: %v at one size, %v at another", tint, light, before, got)
				}
				before = got[:]
			}
		}
	}
}

// softMiddle softens a striped box in the middle of a picture and returns the colour of
// its middle, and the mean of what had been in it.
func softMiddle(t *testing.T, size int, light float64, tint [3]float64) (got [3]float32, mean [3]float64) {
	t.Helper()
	m, mask := raster.NewRGB(size, size), raster.New(size, size)
	s := float64(size)
	Box{s / 4, s / 4, s / 2, s / 2}.Paint(mask)
	for c := range m {
		for y := range size {
			for x := range size {
				v := light * tint[c]
				if 20*x/size%2 == 1 {
					v /= 2
				}
				m[c].Row(y)[x] = float32(v)
				if mask.Row(y)[x] > 0 {
					mean[c] += v / float64(size*size/4)
				}
			}
		}
	}
	if _, err := Soften(ctx, m, mask); err != nil {
		t.Fatal(err)
	}
	for c := range got {
		got[c] = m[c].Row(size / 2)[size/2]
	}
	return got, mean
}
