package simcam_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image/jpeg"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/rawfile"
	"mullion/simcam"
)

// wall is a small view: a grey ramp with a bright rectangle, w x h.
func wall(w, h int) simcam.View {
	return simcam.View{Name: "wall", FocalMM: 16, Light: colour.Vec3{1, .8, .5}, Scenes: []simcam.Scene{
		func(context.Context) (*raster.RGB, error) {
			m := raster.NewRGB(w, h)
			for i, p := range m {
				for y := range h {
					row := p.Row(y)
					for x := range row {
						row[x] = (.2 + float32(x)/float32(w)) * (1 - .2*float32(i))
						if x > w/2 && x < w*3/4 && y < h/3 {
							row[x] = 30
						}
					}
				}
			}
			return m, nil
		},
	}}
}

// Both kinds of DNG come back from LibRaw sample by sample, with their
// calibration and what the camera wrote.
func TestLibRawReadsOurDNG(t *testing.T) {
	for _, uncompressed := range []bool{false, true} {
		for _, size := range [][2]int{{300, 200}, {200, 300}} {
			s := simcam.Defaults()
			raws, err := simcam.LF1().Bracket(t.Context(), wall(size[0], size[1]), s)
			if err != nil {
				t.Fatal(err)
			}
			if len(raws) != 5 {
				t.Fatalf("%d frames", len(raws))
			}
			for i, r := range raws {
				if want := []float64{0, -2, 2, -4, 4}[i]; r.Frame.Step != want {
					t.Errorf("frame %d is step %v, want %v", i, r.Frame.Step, want)
				}
				checkDecoded(t, r, uncompressed)
			}
		}
	}
}

func checkDecoded(t *testing.T, r *simcam.Raw, uncompressed bool) {
	t.Helper()
	var b bytes.Buffer
	if err := r.WriteDNG(&b, uncompressed); err != nil {
		t.Fatal(err)
	}
	f, err := rawfile.DecodeBytes(t.Context(), "frame.DNG", b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	m := f.Mosaic
	if m == nil || m.W != 300 || m.H != 200 || m.CFA != [2][2]uint8{{0, 1}, {1, 2}} {
		t.Fatalf("decoded mosaic: %+v", m)
	}
	if !slices.Equal(m.Pix, r.Pix) {
		t.Error("the counts came back otherwise")
	}
	if m.Black != [2][2]float32{{512, 512}, {512, 512}} || m.White > 16383 {
		t.Errorf("black %v, white %v", m.Black, m.White)
	}
	S, O := r.Camera.NoiseProfile(float64(r.Frame.ISO))
	if !m.HasNoise || math.Abs(m.Noise[1].S/S-1) > 1e-6 || math.Abs(m.Noise[1].O/O-1) > 1e-6 {
		t.Errorf("noise %v (%v), want %v and %v", m.Noise, m.HasNoise, S, O)
	}
	if math.Abs(f.Info.Seconds/r.Frame.Shutter.Seconds()-1) > 1e-6 || f.Info.ISO != 160 {
		t.Errorf("%v s at ISO %v, want %v s", f.Info.Seconds, f.Info.ISO, r.Frame.Shutter.Seconds())
	}
	if d := f.Info.Time.Sub(r.Frame.Time); d < -1e6 || d > 1e6 {
		t.Errorf("taken at %v, want %v", f.Info.Time, r.Frame.Time)
	}
	if want := map[bool]int{true: 6, false: 1}[r.Frame.Portrait]; f.Info.Orientation != want {
		t.Errorf("orientation %d, want %d", f.Info.Orientation, want)
	}
	if f.Camera.CCT2 == 0 && !sameMatrix(f.Camera.Matrix1, r.Camera.Matrix) {
		t.Errorf("matrix %v", f.Camera.Matrix1)
	}
	for i, v := range f.Camera.Neutral {
		if math.Abs(v/f.Camera.Neutral[1]/r.Frame.Neutral[i]-1) > 1e-5 {
			t.Errorf("neutral %v, want %v", f.Camera.Neutral, r.Frame.Neutral)
		}
	}
}

func sameMatrix(a, b colour.Mat3) bool {
	for i := range a {
		for j := range a[i] {
			if math.Abs(a[i][j]-b[i][j]) > 5e-4 { // LibRaw's D65 differs in the fourth digit
				return false
			}
		}
	}
	return true
}

// exiftool is an independent reader of both kinds of file: it must find every
// figure and have nothing to complain about.
func TestExiftoolReadsOurFiles(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed: the files' tags are not checked by an independent reader")
	}
	dir := t.TempDir()
	s := simcam.Defaults()
	s.JPEG = true
	shots, err := simcam.LF1().Shoot(t.Context(), dir, []simcam.View{wall(200, 300)}, s, nil)
	if err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(dir, filepath.FromSlash(simcam.Folder))
	out, err := exec.Command(tool, "-json", "-n", "-G1", "-a", "-all", "-validate", folder).Output()
	if err != nil {
		t.Fatal(err)
	}
	var files []map[string]any
	if err := json.Unmarshal(out, &files); err != nil {
		t.Fatal(err)
	}
	if len(files) != 10 {
		t.Fatalf("exiftool found %d files", len(files))
	}
	for i, f := range files {
		name := f["System:FileName"].(string)
		shot := shots[slices.IndexFunc(shots, func(s simcam.Shot) bool { return s.File[:8] == name[:8] })]
		for k, v := range f {
			if k == "ExifTool:Error" || k == "ExifTool:Warning" || k == "ExifTool:Validate" && v != "0 0 0" {
				t.Errorf("%s: %s %v", name, k, v)
			}
		}
		num, den := shot.Frame.Shutter.Mark()
		want := map[string]any{
			"IFD0:Make": "Larkfield", "IFD0:Model": "LF-1", "IFD0:Orientation": 6.,
			"ExifIFD:ExposureTime": float64(num) / float64(den), "ExifIFD:FNumber": 8., "ExifIFD:ISO": 160.,
			"ExifIFD:ExposureCompensation": shot.Frame.Step, "ExifIFD:FocalLength": 16.,
			"ExifIFD:DateTimeOriginal":        shot.Frame.Time.Format("2006:01:02 15:04:05"),
			"ExifIFD:SubSecTimeOriginal":      shot.Frame.Time.Format(".000")[1:],
			"ExifIFD:OffsetTimeOriginal":      "-05:00",
			"ExifIFD:FocalLengthIn35mmFormat": 16., "ExifIFD:LensModel": "LF 14-24mm f/4", "ExifIFD:ExposureMode": 2.,
		}
		if filepath.Ext(name) == ".DNG" {
			n := shot.Frame.Neutral
			want["IFD0:AsShotNeutral"] = fmt.Sprintf("%.6f 1 %.6f", n[0], n[2])
			want["IFD0:ColorMatrix1"] = "0.7234 -0.2103 -0.0681 -0.4472 1.2347 0.2356 -0.0713 0.1648 0.5921"
			want["IFD0:CalibrationIlluminant1"] = 21.
			want["SubIFD:BlackLevel"], want["SubIFD:WhiteLevel"] = 512., 16383.
			want["SubIFD:ImageWidth"], want["SubIFD:ImageHeight"] = 300., 200.
			want["SubIFD:ActiveArea"] = "0 0 200 300"
			want["SubIFD:CFAPattern2"] = "0 1 1 2"
		}
		for k, v := range want {
			if !sameTag(f[k], v) {
				t.Errorf("file %d %s: %s is %v, want %v", i, name, k, f[k], v)
			}
		}
	}
}

// sameTag compares what exiftool prints, where a text of digits may come as a
// number and a number is rounded.
func sameTag(got, want any) bool {
	g, isNumber := got.(float64)
	if w, ok := want.(float64); ok && isNumber {
		return math.Abs(g-w) <= 1e-6*max(1, math.Abs(w))
	}
	if isNumber {
		return fmt.Sprintf("%03.0f", g) == want
	}
	var a, b [3]float64
	n, _ := fmt.Sscan(fmt.Sprint(got), &a[0], &a[1], &a[2])
	if m, _ := fmt.Sscan(fmt.Sprint(want), &b[0], &b[1], &b[2]); n == 3 && m == 3 {
		return math.Abs(a[0]-b[0])+math.Abs(a[1]-b[1])+math.Abs(a[2]-b[2]) < 1e-5
	}
	return got == want
}

// The camera JPEG shows the scene: its brightness follows the exposure and its
// grey wall under the true balance is grey.
func TestCameraJPEG(t *testing.T) {
	s := simcam.Defaults()
	s.EV, s.Balance = []float64{-2, 0}, simcam.BalanceTruth
	v := wall(300, 200)
	v.Light = colour.Vec3{1, .8, .6} // what wall is painted with
	raws, err := simcam.LF1().Bracket(t.Context(), v, s)
	if err != nil {
		t.Fatal(err)
	}
	var level [2]float64
	for i, r := range raws {
		var b bytes.Buffer
		if err := r.WriteJPEG(t.Context(), &b); err != nil {
			t.Fatal(err)
		}
		img, err := jpeg.Decode(&b)
		if err != nil {
			t.Fatal(err)
		}
		if img.Bounds().Dx() != 300 || img.Bounds().Dy() != 200 {
			t.Fatalf("JPEG of %v", img.Bounds())
		}
		var sum [3]float64
		for y := 120; y < 180; y++ {
			for x := 40; x < 140; x++ {
				r, g, b, _ := img.At(x, y).RGBA()
				sum[0], sum[1], sum[2] = sum[0]+float64(r>>8), sum[1]+float64(g>>8), sum[2]+float64(b>>8)
			}
		}
		for j := range sum {
			if math.Abs(sum[j]-sum[1])/6000 > 2 {
				t.Errorf("frame %d: the wall is %v", i, sum)
			}
		}
		level[i] = sum[1] / 6000
	}
	if level[0] < 60 || level[0] > 200 || level[1] > level[0]-30 {
		t.Errorf("levels %v: the metered frame is not a plain picture or the other not darker", level)
	}
}

func TestShootIsRepeatable(t *testing.T) {
	card := func() map[string]string {
		dir := t.TempDir()
		s := simcam.Defaults()
		s.EV, s.JPEG = []float64{-2, 0, 2}, true
		done := 0
		shots, err := simcam.LF1().Shoot(t.Context(), dir, []simcam.View{wall(60, 40), wall(40, 60)}, s,
			func(n, total int, view string) {
				if done++; n != done || total != 6 || view != "wall" {
					t.Errorf("progress %d of %d, %s", n, total, view)
				}
			})
		if err != nil {
			t.Fatal(err)
		}
		if done != 6 || len(shots) != 6 {
			t.Fatalf("%d frames told, %d returned", done, len(shots))
		}
		files := map[string]string{}
		for i, s := range shots {
			if s.File != simcam.FileName(i+1, "DNG") {
				t.Errorf("shot %d is %s", i, s.File)
			}
			if i > 0 && s.Frame.Time.Sub(shots[i-1].Frame.Time) < 180e6 {
				t.Errorf("%s was taken too soon after the frame before", s.File)
			}
			for _, ending := range []string{"DNG", "JPG"} {
				b, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(simcam.Folder), simcam.FileName(i+1, ending)))
				if err != nil {
					t.Fatal(err)
				}
				files[s.File+ending] = string(b)
			}
		}
		if a, b := shots[2].Frame.Time, shots[3].Frame.Time; b.Sub(a) < 38e9 {
			t.Errorf("two views within %v", b.Sub(a))
		}
		return files
	}
	a, b := card(), card()
	for name := range a {
		if a[name] != b[name] {
			t.Errorf("%s differs between two runs", name)
		}
	}
}

func TestShootStopsAndRefuses(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	s := simcam.Defaults()
	views := []simcam.View{wall(300, 200), wall(300, 200), wall(300, 200)}
	_, err := simcam.LF1().Shoot(ctx, t.TempDir(), views, s, func(int, int, string) { cancel() })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled card gave %v", err)
	}
	broken := wall(30, 20)
	want := errors.New("no such room")
	broken.Scenes = []simcam.Scene{func(context.Context) (*raster.RGB, error) { return nil, want }}
	if _, err := simcam.LF1().Shoot(t.Context(), t.TempDir(), []simcam.View{broken}, s, nil); !errors.Is(err, want) {
		t.Errorf("a missing scene gave %v", err)
	}
	for name, spoil := range map[string]func(*simcam.Settings){
		"no steps":    func(s *simcam.Settings) { s.EV = nil },
		"ISO 0":       func(s *simcam.Settings) { s.ISO = 0 },
		"f/0":         func(s *simcam.Settings) { s.FNumber = 0 },
		"three moves": func(s *simcam.Settings) { s.Moves = make([]simcam.Move, 3) },
	} {
		s := simcam.Defaults()
		spoil(&s)
		if _, err := simcam.LF1().Bracket(t.Context(), wall(30, 20), s); err == nil {
			t.Errorf("%s was accepted", name)
		}
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := simcam.LF1().Shoot(t.Context(), file, views, s, nil); err == nil {
		t.Error("a card was written into a file")
	}
}

// Manual frames carry no compensation, which the grouping of brackets has to
// live with.
func TestManualCarriesNoBias(t *testing.T) {
	s := simcam.Defaults()
	s.Manual, s.InOrder = true, true
	raws, err := simcam.LF1().Bracket(t.Context(), wall(60, 40), s)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range raws {
		if r.Frame.Step != s.EV[i] {
			t.Errorf("frame %d is step %v", i, r.Frame.Step)
		}
		var b bytes.Buffer
		if err := r.WriteDNG(&b, false); err != nil {
			t.Fatal(err)
		}
		f, err := rawfile.DecodeBytes(t.Context(), "manual.DNG", b.Bytes())
		if err != nil {
			t.Fatal(err)
		}
		if f.Info.HasBias {
			t.Errorf("frame %d says its compensation: %v", i, f.Info.Bias)
		}
	}
}
