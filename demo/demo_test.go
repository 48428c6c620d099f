package demo

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mullion/internal/raster"
	"mullion/rawfile"
	"mullion/simcam"
)

// The pose's angles and its axes must tell the same story, and the masks and
// outlines the same windows.
func TestTruthAgreesWithItself(t *testing.T) {
	if len(Views()) != 8 {
		t.Fatalf("%d views", len(Views()))
	}
	for _, v := range Views() {
		p := v.Camera
		pitch := math.Asin(p.Forward[2]) * 180 / math.Pi
		roll := math.Asin(p.Right[2]/math.Cos(p.Pitch*math.Pi/180)) * -180 / math.Pi
		if math.Abs(pitch-p.Pitch) > .01 || math.Abs(roll-p.Roll) > .01 {
			t.Errorf("%s: axes say pitch %.3f roll %.3f, angles %.3f and %.3f", v.Name, pitch, roll, p.Pitch, p.Roll)
		}
		if f := p.FocalMM / p.SensorMM[0] * float64(v.Width); math.Abs(f-p.FocalPx) > .01 {
			t.Errorf("%s: focal length %v px, want %v", v.Name, p.FocalPx, f)
		}
		m, err := v.WindowMask()
		if err != nil {
			t.Fatal(err)
		}
		var seen float64
		for _, x := range m.Pix {
			seen += float64(x)
		}
		if (seen > 0) != (len(v.Windows) > 0) || m.W != v.Width || m.H != v.Height {
			t.Errorf("%s: %d windows, mask of %v pixels", v.Name, len(v.Windows), seen)
		}
	}
	if _, err := Truth("cellar"); err == nil || !strings.Contains(err.Error(), "kitchenwide") {
		t.Errorf("a missing view gave %v", err)
	}
}

// Metered speeds, neutral of the mixed light and clipped share of two frames,
// computed by the independent implementation that package simcam's tests name.
func TestFramesAgainstReference(t *testing.T) {
	for _, c := range []struct {
		view    string
		k       simcam.Shutter
		r, b    float64
		clipped float64
	}{{"kitchen", -9, .566582, .476101, .04689}, {"shower", -10, .438273, .580511, .00865}} {
		v, err := Truth(c.view)
		if err != nil {
			t.Fatal(err)
		}
		s := simcam.Defaults()
		s.EV, s.Balance = []float64{0}, simcam.BalanceTruth
		raws, err := simcam.LF1().Bracket(t.Context(), v.Scene(), s)
		if err != nil {
			t.Fatal(err)
		}
		f, clipped := raws[0].Frame, 0
		for _, p := range raws[0].Pix {
			if p == 16383 {
				clipped++
			}
		}
		if f.Shutter != c.k || math.Abs(f.Neutral[0]-c.r) > 1e-4 || math.Abs(f.Neutral[2]-c.b) > 1e-4 {
			t.Errorf("%s: shutter %d neutral %v", c.view, f.Shutter, f.Neutral)
		}
		if got := float64(clipped) / float64(len(raws[0].Pix)); math.Abs(got-c.clipped) > 2e-4 {
			t.Errorf("%s: %.5f clipped, want %.5f", c.view, got, c.clipped)
		}
	}
}

func TestRadiance(t *testing.T) {
	v, err := Truth("living")
	if err != nil {
		t.Fatal(err)
	}
	var frames []*raster.RGB
	for _, i := range []int{0, 4} {
		m, err := v.Radiance(t.Context(), i)
		if err != nil {
			t.Fatal(err)
		}
		frames = append(frames, m)
	}
	moved := 0
	for i, g := range frames[0][1].Pix {
		if h := frames[1][1].Pix[i]; math.Abs(math.Log2(float64(g/h))) > .5 {
			moved++
		}
	}
	if share := float64(moved) / float64(v.Width*v.Height); share < .0005 || share > .05 {
		t.Errorf("the fan changes %.4f of the picture", share)
	}
	if _, err := v.Radiance(t.Context(), 5); err == nil {
		t.Error("a sixth frame was found")
	}
}

func TestWrite(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "card")
	o := Options{JPEG: true, Only: []string{"shower"}}
	for range 2 { // the second time over the first
		if err := Write(t.Context(), dir, o, nil); err != nil {
			t.Fatal(err)
		}
	}
	folder := filepath.Join(dir, "DCIM", "100LFELD")
	entries, err := os.ReadDir(folder)
	if err != nil || len(entries) != 10 {
		t.Fatalf("%d files, %v", len(entries), err)
	}
	f, err := rawfile.Decode(t.Context(), filepath.Join(folder, "LF1_0005.DNG"))
	if err != nil {
		t.Fatal(err)
	}
	if f.Info.Orientation != 6 || f.Mosaic == nil || f.Mosaic.W != 1800 || f.Info.Bias != 4 {
		t.Errorf("last frame: %+v", f.Info)
	}
	o.JPEG = false
	if err := Write(t.Context(), dir, o, nil); err != nil {
		t.Fatal(err)
	}
	if entries, _ := os.ReadDir(folder); len(entries) != 5 {
		t.Errorf("%d files after writing without JPEGs", len(entries))
	}
}

func TestWriteKeepsOtherFiles(t *testing.T) {
	dir := t.TempDir()
	mine := filepath.Join(dir, "mine.txt")
	if err := os.WriteFile(mine, []byte("mine"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := Write(t.Context(), dir, Options{}, nil); err == nil || !strings.Contains(err.Error(), "not a demo card") {
		t.Errorf("a full folder gave %v", err)
	}
	if err := Write(t.Context(), mine, Options{}, nil); err == nil {
		t.Error("a file was taken for a folder")
	}
	if entries, _ := os.ReadDir(dir); len(entries) != 1 {
		t.Errorf("something was written: %v", entries)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := Write(ctx, t.TempDir(), Options{}, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled card gave %v", err)
	}
}

func BenchmarkWrite(b *testing.B) {
	for b.Loop() {
		if err := Write(b.Context(), filepath.Join(b.TempDir(), "card"), Options{}, nil); err != nil {
			b.Fatal(err)
		}
	}
}
