package group

import (
	"context"
	"fmt"
	"image"
	_ "image/jpeg"
	_ "image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"mullion/card"
	"mullion/internal/raster"
	"mullion/metadata"
)

// shared is the folder of the bracket sets, or the test is skipped.
func shared(t testing.TB, sub string) string {
	t.Helper()
	dir := os.Getenv("MULLION_TESTDATA")
	if dir == "" {
		t.Skip("MULLION_TESTDATA does not name the folder with realdata and demo-house")
	}
	return filepath.Join(dir, sub)
}

// grey decodes a rendered file to code values of about 256 pixels a side.
func grey(ctx context.Context, name string) (*raster.Plane, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	img, _, err := image.Decode(f)
	if err != nil {
		return nil, err
	}
	b := img.Bounds()
	step := max(1, max(b.Dx(), b.Dy())/384)
	p := raster.New(b.Dx()/step, b.Dy()/step)
	for y := range p.H {
		row := p.Row(y)
		for x := range row {
			r, g, b, _ := img.At(b.Min.X+x*step, b.Min.Y+y*step).RGBA()
			row[x] = (0.2126*float32(r) + 0.7152*float32(g) + 0.0722*float32(b)) / 65535
		}
	}
	return raster.Shrink(ctx, p, max(1, p.W/2), max(1, p.H/2))
}

// pictures is a Thumb over rendered files that counts its calls.
type pictures struct {
	frames []Frame
	calls  atomic.Int64
}

func (p *pictures) thumb(ctx context.Context, i int) (*raster.Plane, error) {
	p.calls.Add(1)
	name := p.frames[i].Path
	if strings.HasSuffix(name, ".DNG") { // the camera's JPEG beside it shows the same
		name = strings.TrimSuffix(name, ".DNG") + ".JPG"
	}
	return grey(ctx, name)
}

// load reads a folder as the program does.
func load(t testing.TB, dir string) []Frame {
	t.Helper()
	files, _, err := card.Scan(context.Background(), dir)
	if err != nil {
		t.Fatal(err)
	}
	var frames []Frame
	for _, f := range files {
		info, err := metadata.Read(context.Background(), f.Path)
		if err != nil {
			t.Fatal(err)
		}
		frames = append(frames, Frame{f.Path, info})
	}
	return frames
}

func print(frames []Frame, views []View) string {
	var b strings.Builder
	for _, v := range views {
		fmt.Fprintf(&b, "%s (%.3f)", v.ID, v.Confidence)
		for n, i := range v.Frames {
			fmt.Fprintf(&b, " %s%+.1f", filepath.Base(frames[i].Path), v.EV[n])
		}
		fmt.Fprintf(&b, "\n   %s\n", strings.Join(v.Reasons, "\n   "))
		for _, n := range v.Notes {
			fmt.Fprintf(&b, "   %s: %s\n", n.Code, n.Message)
		}
	}
	return b.String()
}

// folders lists the folders that hold the bracket sets.
func folders(t testing.TB) []string {
	var dirs []string
	err := filepath.WalkDir(shared(t, "realdata/brackets"), func(path string, d os.DirEntry, err error) error {
		if err == nil && metadata.IsFrameName(path) && !slices.Contains(dirs, filepath.Dir(path)) {
			dirs = append(dirs, filepath.Dir(path))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return dirs
}

// Each of the real sets is one view, whatever its files say about themselves.
func TestRealSetsAreOneViewEach(t *testing.T) {
	for _, dir := range folders(t) {
		frames := load(t, dir)
		p := &pictures{frames: frames}
		views, err := Views(context.Background(), frames, p.thumb)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: %d pictures looked at\n%s", filepath.Base(dir), p.calls.Load(), print(frames, views))
		if len(views) != 1 || len(views[0].Frames) != len(frames) {
			t.Errorf("%s: %d views of %d frames", dir, len(views), len(frames))
		}
	}
}

// All sets as one card: a set's frames stay together and with no others.
func TestRealSetsTogether(t *testing.T) {
	var frames []Frame
	for _, dir := range folders(t) {
		frames = append(frames, load(t, dir)...)
	}
	p := &pictures{frames: frames}
	views, err := Views(context.Background(), frames, p.thumb)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range views {
		for _, i := range v.Frames {
			if a, b := filepath.Dir(frames[v.Frames[0]].Path), filepath.Dir(frames[i].Path); a != b {
				t.Errorf("%s has frames of %s and %s", v.ID, a, b)
			}
		}
	}
	if n := len(folders(t)); len(views) != n {
		t.Errorf("%d views of %d sets", len(views), n)
	}
}
