package finish

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"

	"mullion/deliver"
	"mullion/internal/raster"
	"mullion/shoot"
)

// ThumbEdge is the long edge in pixels of the small pictures that pages show.
const ThumbEdge = 640

// Quality of pictures that are only looked at, on the scale of the IJG's tables.
const (
	lookQuality = 90
	fullQuality = 94
)

// LookKey names what a view looks like: it changes with the frames, the decisions and
// the edits, and with which views share its room, since those agree on light and levels.
// all are the views of its shoot. The room's name itself changes nothing.
func LookKey(v shoot.View, all []shoot.View) string {
	key, err := shoot.Key(v.Frames, struct {
		D shoot.Decisions
		E []shoot.Edit
		R []string
	}{lightOnly(v.Decisions), v.Edits, mates(v, all)}, nil, engine+keptFormat)
	if err != nil {
		return "" // decisions that can't be written were never read
	}
	return key[:32]
}

// mates are the other views of a view's room, by their frames.
func mates(v shoot.View, all []shoot.View) []string {
	var out []string
	for _, o := range all {
		if o.ID == v.ID || roomOf(v) == "" || roomOf(o) != roomOf(v) {
			continue
		}
		for _, f := range o.Frames {
			out = append(out, f.SHA256)
		}
	}
	slices.Sort(out)
	return out
}

// all are the views of the shoot as they stand.
func (p *Previews) all() []shoot.View {
	d, err := shoot.Read(p.dir)
	if err != nil {
		return nil // whoever needs them finds the same and says so
	}
	return d.Views
}

// lightOnly leaves out what doesn't change the picture.
func lightOnly(d shoot.Decisions) shoot.Decisions {
	d.LeaveOut = false
	return d
}

func thumbPath(cache string, v shoot.View, all []shoot.View) string {
	return filepath.Join(cache, "looks", LookKey(v, all)+".jpg")
}

// Cached returns a view's small picture from the cache, or nil.
func (p *Previews) Cached(v shoot.View) []byte {
	b, err := os.ReadFile(thumbPath(filepath.Join(p.dir, "cache"), v, p.all()))
	if err != nil || len(b) == 0 {
		return nil
	}
	return b
}

// Thumb returns a view's small picture as a JPEG file, from the cache where a run or an
// earlier look left it.
func (p *Previews) Thumb(ctx context.Context, v shoot.View) ([]byte, error) {
	path := thumbPath(filepath.Join(p.dir, "cache"), v, p.all())
	if b := p.Cached(v); b != nil {
		return b, nil
	}
	live, err := p.Make(ctx, v)
	if err != nil {
		return nil, err
	}
	defer raster.PutRGB(live.RGB)
	return keepThumb(ctx, live.RGB, path)
}

// keepThumb codes a finished picture small and leaves it in the cache.
func keepThumb(ctx context.Context, rgb *raster.RGB, path string) ([]byte, error) {
	small, err := deliver.Small(ctx, rgb, ThumbEdge)
	if err != nil {
		return nil, err
	}
	defer raster.PutRGB(small)
	b, err := deliver.Screen(ctx, small, float64(rgb.W())/float64(small.W()), lookQuality)
	if err != nil {
		return nil, err
	}
	_ = putFile(path, b) // a cache that can't be written is no fault
	return b, nil
}

// KeepThumb leaves the small picture of a view in the cache; rgb is its live picture.
func (p *Previews) KeepThumb(ctx context.Context, v shoot.View, rgb *raster.RGB) {
	if p.Cached(v) == nil {
		_, _ = keepThumb(ctx, rgb, thumbPath(filepath.Join(p.dir, "cache"), v, p.all()))
	}
}

// putFile writes a file of the cache whole or not at all.
func putFile(path string, b []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".partial-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(b)
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
