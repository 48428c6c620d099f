package finish

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"mullion/demo"
	"mullion/internal/raster"
	"mullion/shoot"
	"mullion/warp"
)

// house runs the whole job on the whole demo card, once for all tests that look at
// its outcome.
func house(t *testing.T) *Report {
	t.Helper()
	card, shoot := filepath.Join(made.root, "card"), filepath.Join(made.root, "shoot")
	made.house.Do(func() {
		if err := demo.Write(t.Context(), card, demo.Options{}, nil); err != nil {
			t.Fatal(err)
		}
		before := tree(t, card)
		made.report = run(t, Job{Card: card, Shoot: shoot, Rooms: []string{"entry", "living room"}, Version: "test"})
		untouched(t, card, before)
	})
	if made.report == nil {
		t.Fatal("the run of the demo house failed; see the test that did it")
	}
	return made.report
}

// Eight views of five frames each, in the order they were shot, and how the camera
// was held: within half a degree of the truth, which its lens, that no profile
// knows, must not spoil.
func TestPoseAgainstTruth(t *testing.T) {
	r := house(t)
	sound(t, r, len(demo.Views()))
	var worstPitch, worstRoll float64
	for i, truth := range demo.Views() {
		v := r.Views[i]
		if len(v.Frames) != 5 {
			t.Errorf("%s has %d frames", v.ID, len(v.Frames))
		}
		for k, f := range v.Frames {
			if want := fmt.Sprintf("LF1_%04d.DNG", 5*i+1+[]int{3, 1, 0, 2, 4}[k]); filepath.Base(f.File) != want || !f.Used {
				t.Errorf("%s: frame %d is %s (used %v), want %s", v.ID, k, f.File, f.Used, want)
			}
			if want := []float64{-4, -2, 0, 2, 4}[k]; math.Abs(f.EV-want) > .02 {
				t.Errorf("%s: %s has %+.3f EV, want %+.0f", v.ID, f.File, f.EV, want)
			}
			if d := math.Hypot(f.ShiftPx[0], f.ShiftPx[1]); d > .1 || math.Abs(f.RotationDeg) > .01 {
				t.Errorf("%s: %s moved %.2f px and %.3f deg on its tripod", v.ID, f.File, d, f.RotationDeg)
			}
		}
		dPitch, dRoll := v.Plumb.PitchDeg-truth.Camera.Pitch, v.Plumb.RollDeg-truth.Camera.Roll
		t.Logf("%-11s pitch %+.3f (off by %+.3f), roll %+.3f (off by %+.3f), left over %.2f, confidence %.2f, kept %.3f",
			truth.Name, v.Plumb.PitchDeg, dPitch, v.Plumb.RollDeg, dRoll, v.Plumb.ResidualDeg, v.Plumb.Confidence, v.Plumb.CropKept)
		worstPitch, worstRoll = max(worstPitch, math.Abs(dPitch)), max(worstRoll, math.Abs(dRoll))
		plumb := math.Hypot(truth.Camera.Pitch, truth.Camera.Roll) < .1
		if v.Plumb.Corrected == plumb {
			t.Errorf("%s: corrected %v, though the camera stood plumb: %v", truth.Name, v.Plumb.Corrected, plumb)
		}
	}
	t.Logf("worst: pitch %.3f deg, roll %.3f deg", worstPitch, worstRoll)
	if worstPitch > .5 || worstRoll > .5 {
		t.Errorf("pitch off by up to %.3f, roll by %.3f; the bar is 0.5 deg", worstPitch, worstRoll)
	}
}

// The report has the names that other programs read, and numbers are numbers.
func TestReportNames(t *testing.T) {
	path := filepath.Join(t.TempDir(), "report.json")
	if err := house(t).Write(t.Context(), path); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var top map[string]any
	if err := json.Unmarshal(b, &top); err != nil {
		t.Fatal(err)
	}
	has(t, "report", top, "version:s views:l")
	for _, v := range list(top["views"]) {
		has(t, "view", v, "id:s frames:l range_ev:n light:o plumb:o findings:l files:l seconds:o")
		has(t, "light", v["light"], "kelvin:n duv:n second_kelvin:n")
		has(t, "plumb", v["plumb"], "pitch_deg:n roll_deg:n yaw_deg:n residual_deg:n confidence:n corrected:b crop_kept:n")
		for _, f := range list(v["frames"]) {
			has(t, "frame", f, "file:s seconds:n iso:n fnumber:n ev:n shift_px:l rotation_deg:n used:b")
			if xy, ok := f["shift_px"].([]any); !ok || len(xy) != 2 {
				t.Errorf("shift_px is %v", f["shift_px"])
			} else if _, ok := xy[0].(float64); !ok {
				t.Errorf("shift_px holds %T", xy[0])
			}
		}
		for _, f := range list(v["findings"]) {
			has(t, "finding", f, "code:s severity:s message:s value:n unit:s")
			if s := f["severity"]; !slices.Contains([]any{"reshoot", "look", "note"}, s) {
				t.Errorf("severity %v", s)
			}
		}
		for _, f := range list(v["files"]) {
			has(t, "file", f, "path:s delivery:s width:n height:n bytes:n quality:n")
		}
		spent, _ := v["seconds"].(map[string]any)
		if len(spent) < 5 {
			t.Errorf("seconds of %d stations only: %v", len(spent), spent)
		}
		for station, s := range spent {
			if n, ok := s.(float64); !ok || n < 0 {
				t.Errorf("station %s took %v", station, s)
			}
		}
	}
}

// has fails the test unless an object holds every name with its kind: s string, n
// number, b true or false, l list, o object.
func has(t *testing.T, what string, object any, names string) {
	t.Helper()
	o, ok := object.(map[string]any)
	if !ok {
		t.Errorf("%s is %T", what, object)
		return
	}
	for _, field := range strings.Fields(names) {
		name, kind, _ := strings.Cut(field, ":")
		v, ok := o[name]
		if !ok {
			t.Errorf("%s has no %q", what, name)
			continue
		}
		_, s := v.(string)
		_, n := v.(float64)
		_, b := v.(bool)
		_, l := v.([]any)
		_, m := v.(map[string]any)
		if !map[string]bool{"s": s, "n": n, "b": b, "l": l, "o": m}[kind] {
			t.Errorf("%s: %q is %T", what, name, v)
		}
	}
}

func list(v any) []map[string]any {
	var out []map[string]any
	l, _ := v.([]any)
	for _, e := range l {
		m, _ := e.(map[string]any)
		out = append(out, m)
	}
	return out
}

// delivered reads the picture of a view and the map that made it, derived again from
// the same frames.
func delivered(t *testing.T, r *Report, i int) (*image.YCbCr, *picture) {
	t.Helper()
	v := r.Views[i]
	b, err := os.ReadFile(v.Files[0].Path)
	if err != nil {
		t.Fatal(err)
	}
	m, err := jpeg.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	var paths []string
	for _, f := range v.Frames {
		paths = append(paths, filepath.Join(made.root, "shoot", filepath.FromSlash(f.File)))
	}
	p := &picture{}
	if p.scene, err = Merge(t.Context(), paths, nil); err != nil {
		t.Fatal(err)
	}
	p.around = told(t, filepath.Join(made.root, "shoot"), v.ID)
	if err := p.straighten(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if got := p.plumbReport(); got != v.Plumb {
		t.Errorf("%s: the same frames gave another pose: %+v, then %+v", v.ID, v.Plumb, got)
	}
	if s := m.Bounds().Size(); s.X != p.plan.W || s.Y != p.plan.H {
		t.Fatalf("%s: the picture is %v, the plan %d x %d", v.ID, s, p.plan.W, p.plan.H)
	}
	return m.(*image.YCbCr), p
}

// told is what the neighbours of a view of a finished shoot say of it.
func told(t *testing.T, dir, view string) neighbours {
	t.Helper()
	s, err := shoot.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	l := &line{job: &Job{}, shoot: s, spool: newSpool(s.Cache())}
	if err := l.sound(t.Context()); err != nil {
		t.Fatal(err)
	}
	around, err := together(t.Context(), s.Doc().Views, l.soundings)
	if err != nil {
		t.Fatal(err)
	}
	return around[view]
}

// through takes three planes of a view's truth through the picture's geometry.
func through(t *testing.T, p *picture, truth *raster.RGB) *raster.RGB {
	t.Helper()
	out, err := warp.Apply(t.Context(), truth, p.plan.Map, p.plan.W, p.plan.H)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Windows keep their detail: under 1 % of what is seen through glass may be at full
// white in the delivered picture. The walls' level is told, and held to a bright
// room's range, where the truth about surfaces is at hand.
func TestWindowsAndWallsOfDelivered(t *testing.T) {
	r := house(t)
	for i, v := range demo.Views() {
		if v.Mask == "" || v.Name != "living" && v.Name != "kitchen" && v.Name != "bath" {
			continue
		}
		mask, err := v.WindowMask()
		if err != nil {
			t.Fatal(err)
		}
		img, p := delivered(t, r, i)
		mask = through(t, p, &raster.RGB{mask, mask, mask})[0]
		white, any, all := 0, 0, 0
		for k, m := range mask.Pix {
			if m < .99 {
				continue
			}
			c, _ := img.At(k%mask.W, k/mask.W).(interface{ RGBA() (r, g, b, a uint32) })
			cr, cg, cb, _ := c.RGBA()
			all++
			if cr>>8 == 255 && cg>>8 == 255 && cb>>8 == 255 {
				white++
			}
			if cr>>8 == 255 || cg>>8 == 255 || cb>>8 == 255 {
				any++
			}
		}
		share := float64(any) / float64(all)
		t.Logf("%s: %d window pixels, %.3f %% white, %.3f %% with a channel at 255", v.Name, all, 100*float64(white)/float64(all), 100*share)
		if all < 1000 || float64(white) > .01*float64(all) {
			t.Errorf("%s: %d of %d window pixels are at 255; the bar is 1 %%", v.Name, white, all)
		}
		walls(t, v.Name, img, p)
	}
}

// walls tells the code level of white walls and ceilings: surfaces whose
// reflectance is known to be high and without a hue.
func walls(t *testing.T, view string, img *image.YCbCr, p *picture) {
	dir := os.Getenv("MULLION_TESTDATA")
	if dir == "" {
		t.Log("MULLION_TESTDATA is not set: nothing is known about the walls")
		return
	}
	f, err := os.Open(filepath.Join(dir, "demo-house", "A-"+view+"-albedo.png"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	b := m.Bounds()
	albedo := raster.NewRGB(b.Dx(), b.Dy())
	for y := range b.Dy() {
		for x := range b.Dx() {
			cr, cg, cb, _ := m.At(x, y).RGBA()
			for c, v := range [3]uint32{cr, cg, cb} {
				albedo[c].Row(y)[x] = float32(v>>8) / 255
			}
		}
	}
	albedo = through(t, p, albedo)
	var codes []uint8
	for k := range albedo[0].Pix {
		lo := min(albedo[0].Pix[k], albedo[1].Pix[k], albedo[2].Pix[k])
		hi := max(albedo[0].Pix[k], albedo[1].Pix[k], albedo[2].Pix[k])
		if lo > .84 && hi < .97 && hi-lo < .03 { // reflectance 0.67 to 0.93, coded by sRGB
			codes = append(codes, img.Y[img.YOffset(k%albedo.W(), k/albedo.W())])
		}
	}
	if len(codes) < 1000 {
		t.Logf("%s: no white walls", view)
		return
	}
	slices.Sort(codes)
	at := func(q int) float64 { return float64(codes[q*(len(codes)-1)/100]) / 2.55 }
	t.Logf("%s: white surfaces (%d pixels) at %.0f %% of code, quartiles %.0f and %.0f", view, len(codes), at(50), at(25), at(75))
	if at(50) < 65 || at(50) > 92 {
		t.Errorf("%s: white surfaces at %.0f %% of code; a bright room has 65 to 92 (the aim is 75 to 85)", view, at(50))
	}
}
