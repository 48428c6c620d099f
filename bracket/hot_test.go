package bracket

import (
	"testing"

	"mullion/internal/raster"
	"mullion/simcam"
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

// In a bracket from the hand the sites stay where they are on the sensor and the scene
// moves: they are found in the frames and mended before each is interpolated. A lamp's
// reflection, as small, moves with the scene and stays.
func TestHotSitesByHand(t *testing.T) {
	moves := []simcam.Move{{X: 3.3, Y: -2.1, Turn: 0.12}, {X: -1.4, Y: 5.8, Turn: -0.05}, {}, {X: 6.2, Y: 4.7, Turn: 0.3}, {X: -9.5, Y: 2.2, Turn: -0.2}}
	sc := scene(t, "A-guest").Crop(200, 200, 1100, 800)
	glint := []place{}
	for i := range 12 {
		p := place{150 + 61*i, 120 + (i*137)%500}
		glint = append(glint, p)
		for c := range sc {
			sc[c].Row(p.y)[p.x] *= 12
		}
	}
	k := take(t, taking{scenes: []*raster.RGB{sc}, moves: moves, truth: true})
	clean, err := Merge(bg, k.frames, Options{Reference: 2, Interpolate: full})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range clean.Findings {
		if f.Code == "hot-photosites" && f.Value > 2 {
			t.Errorf("of a good sensor: %s", f.Message)
		}
	}
	ref := k.frames[4].Info.Seconds
	var hot []place
	for i := range 60 {
		hot = append(hot, place{40 + (i*397)%1000, 40 + (i*631)%700})
	}
	for _, f := range k.frames {
		for _, s := range hot {
			p := &f.Mosaic.Pix[s.y*f.Mosaic.W+s.x]
			*p = uint16(min(16383, float64(*p)+12000*f.Info.Seconds/ref*8))
		}
	}
	r, err := Merge(bg, k.frames, Options{Reference: 2, Interpolate: full})
	if err != nil {
		t.Fatal(err)
	}
	// Around every site, in the reference's place, the picture is as without it.
	mended := 0
	for _, s := range hot {
		ok := true
		for c := range r.RGB {
			for y := s.y - 1; y <= s.y+1; y++ {
				for x := s.x - 1; x <= s.x+1; x++ {
					v, w := r.RGB[c].Row(y)[x], clean.RGB[c].Row(y)[x]
					ok = ok && v < 1.15*w && v > w/1.15
				}
			}
		}
		if ok {
			mended++
		}
	}
	kept := 0
	for _, p := range glint {
		if v, w := r.RGB[1].Row(p.y)[p.x], clean.RGB[1].Row(p.y)[p.x]; v > 0.97*w {
			kept++
		}
	}
	t.Logf("%d of %d sites mended, %d of %d glints kept; %v", mended, len(hot), kept, len(glint), r.Findings)
	if mended < 50 || kept < len(glint) {
		t.Errorf("%d of %d sites mended, %d of %d glints kept", mended, len(hot), kept, len(glint))
	}
}
