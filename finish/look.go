package finish

import (
	"context"
	"encoding/json"
	"errors"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"

	"mullion/colour"
	"mullion/deliver"
	"mullion/internal/raster"
	"mullion/plumb"
	"mullion/shoot"
	"mullion/warp"
)

// ThumbEdge is the long edge in pixels of the small pictures that pages show.
const ThumbEdge = 640

// Quality of pictures that are only looked at, on the scale of the IJG's tables.
const (
	lookQuality = 90
	fullQuality = 94
)

// LookKey names what a view looks like: it changes with the frames, the decisions and
// the edits, and with nothing else.
func LookKey(v shoot.View) string {
	key, err := shoot.Key(v.Frames, struct {
		D shoot.Decisions
		E []shoot.Edit
		R string
	}{lightOnly(v.Decisions), v.Edits, roomOf(v)}, nil, engine+keptFormat)
	if err != nil {
		return "" // decisions that can't be written were never read
	}
	return key[:32]
}

// lightOnly leaves out what doesn't change the picture.
func lightOnly(d shoot.Decisions) shoot.Decisions {
	d.LeaveOut = false
	return d
}

func thumbPath(cache string, v shoot.View) string {
	return filepath.Join(cache, "looks", LookKey(v)+".jpg")
}

// Cached returns a view's small picture from the cache, or nil.
func (p *Previews) Cached(v shoot.View) []byte {
	b, err := os.ReadFile(thumbPath(filepath.Join(p.dir, "cache"), v))
	if err != nil || len(b) == 0 {
		return nil
	}
	return b
}

// Thumb returns a view's small picture as a JPEG file, from the cache where a run or an
// earlier look left it.
func (p *Previews) Thumb(ctx context.Context, v shoot.View) ([]byte, error) {
	path := thumbPath(filepath.Join(p.dir, "cache"), v)
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
		_, _ = keepThumb(ctx, rgb, thumbPath(filepath.Join(p.dir, "cache"), v))
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

// Exposure returns frame n of a view as its camera would show it, but in the geometry
// of the finished picture, so that the two can be compared place by place: a JPEG file
// of [PreviewEdge]. The camera's own balance is used and nothing is lifted.
func (p *Previews) Exposure(ctx context.Context, v shoot.View, n int) ([]byte, error) {
	if n < 0 || n >= len(v.Frames) {
		return nil, errors.New("there is no such frame in this view")
	}
	one := shoot.View{Frames: v.Frames[n : n+1], Decisions: shoot.Decisions{Level: v.Decisions.Level}}
	path := filepath.Join(p.dir, "cache", "exposures", LookKey(one)+".jpg")
	if b, err := os.ReadFile(path); err == nil && len(b) > 0 {
		return b, nil
	}
	plan, k, err := p.planOf(ctx, v)
	if err != nil {
		return nil, err
	}
	scene, err := Merge(ctx, []string{p.path(v.Frames[n].Path)}, nil)
	if err != nil {
		return nil, err
	}
	defer raster.PutRGB(scene.RGB)
	if scene.RGB.W() != k.W || scene.RGB.H() != k.H {
		return nil, errors.New("this frame has another size than the view")
	}
	w, h := within(plan.W, plan.H, PreviewEdge)
	rgb, err := warp.Apply(ctx, scene.RGB, plan.MapFor(w, h), w, h)
	if err != nil {
		return nil, err
	}
	defer raster.PutRGB(rgb)
	if err := scene.plain(ctx, rgb); err != nil {
		return nil, err
	}
	b, err := deliver.Screen(ctx, rgb, float64(plan.W)/float64(w), lookQuality)
	if err == nil {
		_ = putFile(path, b)
	}
	return b, err
}

// plain takes radiance of one frame to sRGB primaries: clipping is white, the light of
// the camera's setting is grey.
func (s *Scene) plain(ctx context.Context, rgb *raster.RGB) error {
	m := colour.BT2020ToSRGB
	if s.Light.X > 0 {
		f := factors(colour.D65, s.Light)
		for i := range 3 {
			for j := range 3 {
				m[i][j] *= float64(f[j])
			}
		}
	}
	scale := 1.0
	if s.ceiling.clip > 0 {
		scale = 1 / float64(s.ceiling.clip)
	}
	for i := range 3 {
		for j := range 3 {
			m[i][j] *= scale
		}
	}
	return transform(ctx, rgb, m, 0)
}

// planOf is the geometry of a view's finished picture.
func (p *Previews) planOf(ctx context.Context, v shoot.View) (plumb.Geometry, *reduced, error) {
	l := p.of(v)
	l.mu.Lock()
	defer l.mu.Unlock()
	s, err := p.ready(ctx, l, v)
	if err != nil {
		return plumb.Geometry{}, nil, err
	}
	return s.full, l.kept, nil
}

// Full returns the finished picture of a view at full size as a JPEG file, made from
// its frames as a run makes it. It takes as long as that.
func (p *Previews) Full(ctx context.Context, v shoot.View) ([]byte, error) {
	path := filepath.Join(p.dir, "cache", "full", LookKey(v)+".jpg")
	if b, err := os.ReadFile(path); err == nil && len(b) > 0 {
		return b, nil
	}
	if _, _, err := p.planOf(ctx, v); err != nil { // from here on the radiance is kept
		return nil, err
	}
	k, err := p.load(ctx, v)
	if err != nil {
		return nil, err
	}
	defer raster.PutRGB(k.rgb)
	pic := k.picture()
	if pic.scene, err = Merge(ctx, p.paths(v), nil); err != nil {
		return nil, err
	}
	if err := pic.mendDust(ctx, k.Around.Dust); err != nil {
		return nil, err
	}
	src := pic.scene.RGB
	pic.hold(v.Decisions.Level)
	pic.plan = pic.pose.Plan(k.Frame[0], k.Frame[1], plumb.PlanOptions{Orientation: k.Info.Orientation})
	pic.rgb, err = warp.Apply(ctx, src, pic.plan.Map, pic.plan.W, pic.plan.H)
	raster.PutRGB(src)
	if err != nil {
		return nil, err
	}
	defer pic.release()
	if err := pic.show(ctx, k, v.Decisions); err != nil {
		return nil, err
	}
	if err := pic.edit(ctx, v.Edits, p.path); err != nil {
		return nil, err
	}
	b, err := deliver.Screen(ctx, pic.rgb, 1, fullQuality)
	if err == nil {
		_ = putFile(path, b)
	}
	return b, err
}

// Account is what the last run that finished a view said about it, as far as the
// shoot's cache still has it.
func Account(dir string, v shoot.View) (ViewReport, bool) {
	for _, name := range slices.Sorted(maps.Keys(v.Done)) {
		if r, ok := AccountOf(dir, v.Done[name].Key); ok {
			return r, true
		}
	}
	return ViewReport{}, false
}

// place is where a place of the picture, in shares of its width and height, lies in the
// upright frame that edits are measured in, in pixels.
func (s *straight) place(k *reduced, x, y float64) (float64, float64) {
	sx, sy := s.full.Map.At(x*float64(s.full.W), y*float64(s.full.H))
	return seenAt(k.Info.Orientation, sx, sy, float64(k.Frame[0]), float64(k.Frame[1]))
}

// Places carries places of a view's picture, in shares of its width and height, to the
// upright frame that edits are measured in. scale is how many pixels of that frame one
// width of the picture is.
func (p *Previews) Places(ctx context.Context, v shoot.View, at [][2]float64) (places [][2]float64, frame [2]int, scale float64, err error) {
	l := p.of(v)
	l.mu.Lock()
	defer l.mu.Unlock()
	s, err := p.ready(ctx, l, v)
	if err != nil {
		return nil, frame, 0, err
	}
	for _, q := range at {
		x, y := s.place(l.kept, q[0], q[1])
		places = append(places, [2]float64{x, y})
	}
	x0, y0 := s.place(l.kept, .25, .5)
	x1, y1 := s.place(l.kept, .75, .5)
	return places, l.kept.Frame, 2 * math.Hypot(x1-x0, y1-y0), nil
}

// Upright is the decision that makes lines vertical which a person drew in the picture
// along upright edges: x1, y1, x2, y2 in shares of its width and height.
func (p *Previews) Upright(ctx context.Context, v shoot.View, drawn [][4]float64) (shoot.Level, error) {
	l := p.of(v)
	l.mu.Lock()
	defer l.mu.Unlock()
	s, err := p.ready(ctx, l, v)
	if err != nil {
		return shoot.Level{}, err
	}
	var lines [][4]float64
	for _, d := range drawn {
		x1, y1 := s.place(l.kept, d[0], d[1])
		x2, y2 := s.place(l.kept, d[2], d[3])
		lines = append(lines, [4]float64{x1, y1, x2, y2})
	}
	pose := s.pic.pose
	pitch, roll, err := pose.Drawn(l.kept.Frame[0], l.kept.Frame[1], lines)
	if err != nil {
		return shoot.Level{}, err
	}
	level := shoot.Level{PitchDeg: round(pitch, 3), RollDeg: round(roll, 3)}
	if pose.Straight {
		level.YawDeg = round(pose.YawDeg, 3)
	}
	return level, nil
}

// AccountOf is what the run that made a delivered file said about its view; key is that
// of the file's [shoot.Done].
func AccountOf(dir, key string) (ViewReport, bool) {
	b, err := os.ReadFile(accountPath(filepath.Join(dir, "cache"), key))
	var r ViewReport
	return r, err == nil && json.Unmarshal(b, &r) == nil
}
