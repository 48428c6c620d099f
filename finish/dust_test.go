package finish

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"mullion/internal/raster"
	"mullion/rawfile"
	"mullion/record"
	"mullion/removal/dust"
	"mullion/shoot"
	"mullion/simcam"
)

// TestDustIsMendedOverTheShoot photographs six rooms with a dusty sensor, and once
// more with a clean one: the shadows go, nothing is mended where there is no dust, and
// the record tells.
func TestDustIsMendedOverTheShoot(t *testing.T) {
	set := simcam.Defaults()
	set.Scale, set.EV = 1, []float64{0}
	names := []string{"entry", "kitchenwide", "guest", "dining"}
	views := scenes(t, names...)
	grains := []simcam.Speck{{X: .5, Y: .05, R: .003, Depth: .12}, {X: .8, Y: .1, R: .003, Depth: .15}}
	card := func(dusty bool) string {
		dir := t.TempDir()
		body := simcam.LF1()
		if dusty {
			body.Dust = grains
		}
		if _, err := body.Shoot(t.Context(), dir, views, set, nil); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	if spots := spotsOn(t, card(false)); len(spots) != 0 {
		t.Errorf("a clean sensor has dust: %+v", spots)
	}
	dir, dirty := filepath.Join(t.TempDir(), "dirty"), card(true)
	for _, g := range grains {
		found := false
		for _, s := range spotsOn(t, dirty) {
			want := -math.Log2(1 - g.Depth)
			found = found || math.Hypot(s.X-g.X, s.Y-g.Y) < .001 && math.Abs(s.Depth()-want) < .2*want
		}
		if !found {
			t.Errorf("the grain at %g,%g was not found as deep as it is", g.X, g.Y)
		}
	}
	job := Job{Card: dirty, Shoot: dir, Keys: t.TempDir(), Version: "test"}
	r := run(t, job)
	sound(t, r, len(names))
	for _, v := range r.Views {
		said := false
		for _, f := range v.Findings {
			said = said || f.Code == "dust-mended" && f.Value == float64(v.Dust)
		}
		if v.Dust != len(grains) || !said {
			t.Errorf("%s: %d of %d shadows were mended, said so: %v", v.ID, v.Dust, len(grains), said)
		}
	}
	v, err := record.Verify(t.Context(), filepath.Join(dir, "deliveries", "listing"), dir)
	if err != nil || !v.OK() || v.Record.Dusty() != len(names) {
		t.Errorf("the record has dust in %d pictures: %+v, %v", v.Record.Dusty(), v.Faults, err)
	}
	again := run(t, job)
	for _, v := range again.Views {
		if !v.Kept {
			t.Errorf("%s was made again though nothing changed", v.ID)
		}
	}
	// The evidence can be made again, to the same key.
	if err := os.RemoveAll(filepath.Join(dir, "cache", "soundings")); err != nil {
		t.Fatal(err)
	}
	for _, v := range run(t, job).Views {
		if !v.Kept {
			t.Errorf("%s was made again though the evidence is the same", v.ID)
		}
	}
	// Views that are not delivered still tell what they saw.
	change(t, dir, func(s *shoot.Shoot) error {
		return s.Update(t.Context(), func(d *shoot.Doc) error {
			for i := range d.Views[2:] {
				d.Views[2+i].Decisions.LeaveOut = true
			}
			return nil
		})
	})
	for _, v := range run(t, job).Views {
		if v.Dust != len(grains) {
			t.Errorf("%s: with two views left out %d of %d shadows were mended", v.ID, v.Dust, len(grains))
		}
	}
}

// spotsOn is the dust on a card's only camera, one frame a view.
func spotsOn(t *testing.T, card string) []dust.Spot {
	t.Helper()
	var views []*dust.Evidence
	files, err := filepath.Glob(filepath.Join(card, "DCIM", "*", "*.DNG"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, f := range files {
		frame, err := rawfile.Decode(t.Context(), f)
		if err != nil {
			t.Fatal(err)
		}
		light, clip, err := halfSize(t.Context(), frame)
		if err != nil {
			t.Fatal(err)
		}
		e, err := dust.Look(t.Context(), light, clip, "")
		if err != nil {
			t.Fatal(err)
		}
		views = append(views, e)
		raster.PutRGB(light)
		frame.Release()
	}
	return dust.Solve(views)[""]
}

// TestHalfSizeKeepsLight bins a real frame's mosaic and finds the light it was given.
func TestHalfSizeKeepsLight(t *testing.T) {
	set := simcam.Defaults()
	set.Scale, set.EV = .3, []float64{0}
	_, paths := photograph(t, t.TempDir(), set, scenes(t, "bath")...)
	f, err := rawfile.Decode(t.Context(), paths[0])
	if err != nil {
		t.Fatal(err)
	}
	defer f.Release()
	light, clip, err := halfSize(t.Context(), f)
	if err != nil || light.W() != f.Mosaic.W/2 || light.H() != f.Mosaic.H/2 || clip != 1 {
		t.Fatalf("%d x %d of %d x %d, %v", light.W(), light.H(), f.Mosaic.W, f.Mosaic.H, err)
	}
	m := f.Mosaic
	for y := range light.H() {
		for x := range light.W() {
			var green float64
			for j := range 2 {
				for i := range 2 {
					if m.CFA[j][i] == 1 {
						green += (float64(m.Pix[(2*y+j)*m.W+2*x+i]) - float64(m.Black[j][i])) / float64(m.White-m.Black[j][i]) / 2
					}
				}
			}
			if d := math.Abs(float64(light[1].Row(y)[x]) - green); d > 1e-3 {
				t.Fatalf("%d,%d: green is off by %g", x, y, d)
			}
		}
	}
}
