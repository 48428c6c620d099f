package finish

import (
	"math"
	"testing"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/shoot"
	"mullion/whitebalance"
)

// A white wall under a light of 4000 K that is balanced for 5000 K and then taken for
// 4000 K by hand is grey again; behind glass the other light counts.
func TestWarmth(t *testing.T) {
	wall := white(colour.Light(4000, .002))
	p := &picture{light: &whitebalance.Estimate{Kelvin: 5000, Duv: .002, Window: colour.Daylight(6000)}, rgb: raster.NewRGB(4, 1)}
	balanced := white(colour.Light(5000, .002))
	for c := range p.rgb {
		for x := range 4 {
			p.rgb[c].Row(0)[x] = float32(wall[c] / balanced[c])
		}
	}
	glass := raster.New(4, 1)
	glass.Row(0)[3] = 1
	before := [3]float32{p.rgb[0].Row(0)[3], p.rgb[1].Row(0)[3], p.rgb[2].Row(0)[3]}
	w := warmthTo(p.roomLight(), 4000, .002)
	if w.Mired != -50 || w.Duv != 0 {
		t.Fatalf("from 5000 to 4000 K is %+v, want -50 mired (a million over each)", w)
	}
	if err := p.warm(t.Context(), p.rgb, glass, shoot.Decisions{RoomWarmth: &w}); err != nil {
		t.Fatal(err)
	}
	for c := range p.rgb {
		if got, want := p.rgb[c].Row(0)[0], p.rgb[1].Row(0)[0]; math.Abs(float64(got/want-1)) > 2e-3 {
			t.Errorf("channel %d of the wall is %.4f of green, want a grey", c, got/want)
		}
		if got := p.rgb[c].Row(0)[3]; math.Abs(float64(got/before[c]-1)) > 1e-5 {
			t.Errorf("channel %d behind the glass changed by %.5f, want no change", c, got/before[c])
		}
	}
}
