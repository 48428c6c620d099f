package bracket

import (
	"testing"

	"mullion/internal/raster"
)

// Hot and dead photosites, made by adding dark current to single sites of every
// frame in proportion to its time, are found and mended; nothing else is.
func TestHotSites(t *testing.T) {
	k := take(t, taking{scenes: []*raster.RGB{scene(t, "A-guest")}, truth: true})
	ref := k.frames[4].Info.Seconds
	type site struct{ x, y int }
	var sites []site
	for i := range 40 {
		sites = append(sites, site{40 + (i*397)%1700, 40 + (i*631)%1100})
	}
	for _, f := range k.frames {
		for i, s := range sites {
			p := &f.Mosaic.Pix[s.y*f.Mosaic.W+s.x]
			if i%4 == 3 {
				*p = 512
				continue
			}
			*p = uint16(min(16383, float64(*p)+12000*f.Info.Seconds/ref*8))
		}
	}
	r, err := Merge(bg, k.frames, Options{Reference: -1})
	if err != nil {
		t.Fatal(err)
	}
	mended := 0
	for _, s := range sites {
		v, w := r.Mosaic.Row(s.y)[s.x], k.truth.Row(s.y)[s.x]
		if v < 1.35*w && v > w/1.35 {
			mended++
		}
	}
	t.Logf("%d of %d mended; %v", mended, len(sites), r.Findings)
	if mended < 34 {
		t.Errorf("%d of %d mended", mended, len(sites))
	}
}
