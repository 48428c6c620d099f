package finish

import (
	"context"
	"path/filepath"
	"strings"
	"sync"

	"mullion/internal/raster"
	"mullion/shoot"
	"mullion/tone"
)

// PreviewEdge is the long edge in pixels of a live picture.
const PreviewEdge = 1600

// Previews makes live pictures of the views of one shoot with the stations that make
// the finished ones. Of every view it keeps the reduced radiance, in memory as far as
// its bytes allow and in the shoot's cache, and the work of each station until a
// decision changes it. It is safe for use by several goroutines.
type Previews struct {
	dir   string
	limit int64

	mu   sync.Mutex
	live map[string]*live
	tick int64

	closer closer

	asked  string // what around was solved for
	around map[string]neighbours
}

// NewPreviews serves the shoot in the folder dir and holds about limit bytes.
func NewPreviews(dir string, limit int64) *Previews {
	return &Previews{dir: dir, limit: limit, live: map[string]*live{}}
}

// Preview is a live picture. Its planes belong to the caller, who may put them back.
type Preview struct {
	RGB    *raster.RGB   // as a finished picture: linear light, sRGB primaries, 0..1
	Glass  *raster.Plane // how far each pixel shows the outside, 0..1; nil without windows
	Report ViewReport    // without files
	W, H   int           // of the finished picture at full size
	Frame  [2]int        // of the upright frame, which places of edits are measured in
	Dust   []Place       // where dust was mended
	// Room and Window are the lights that count as white.
	Room, Window Kelvins
	Level        shoot.Level // the camera's attitude that was corrected
}

// Kelvins names a light: as measured and as decided.
type Kelvins struct{ Measured, MeasuredDuv, Kelvin, Duv float64 }

// live is one view at work.
type live struct {
	used  int64
	bytes int64

	mu       sync.Mutex
	kept     *reduced
	straight *straight
	balanced *balanced
	draft    *draft
	small    *raster.RGB // the kept radiance for drafts of a level
	tilted   *tilted
}

// Make makes the picture of a view by its decisions and edits. The first time it
// merges the frames unless a run left the radiance in the cache.
func (p *Previews) Make(ctx context.Context, v shoot.View) (*Preview, error) {
	l := p.of(v)
	l.mu.Lock()
	defer l.mu.Unlock()
	pic, s, err := p.render(ctx, l, v)
	if err != nil {
		return nil, err
	}
	if err := pic.edit(ctx, v.Edits, p.path); err != nil {
		raster.PutRGB(pic.rgb)
		return nil, err
	}
	raster.PutRGB(pic.twin)
	out := &Preview{RGB: pic.rgb, Report: pic.report(v), Frame: pic.frame, Dust: s.spots(l.kept)}
	out.W, out.H = s.full.W, s.full.H
	if s.outside != nil && len(s.outside.Regions) > 0 {
		from := s.outside.Coverage
		out.Glass = raster.Get(from.W, from.H)
		err := raster.Bands(ctx, from.H, func(y0, y1 int) {
			for y := y0; y < y1; y++ {
				copy(out.Glass.Row(y), from.Row(y))
			}
		})
		if err != nil {
			raster.PutRGB(out.RGB)
			raster.Put(out.Glass)
			return nil, err
		}
	}
	out.Room, out.Window = pic.kelvins(v.Decisions)
	out.Level = s.corrected()
	return out, nil
}

// corrected is the attitude that was taken out: none where the measured one is left alone.
func (s *straight) corrected() shoot.Level {
	p := s.pic.pose
	level := shoot.Level{PitchDeg: p.PitchDeg, RollDeg: p.RollDeg}
	if p.Straight {
		level.YawDeg = p.YawDeg
	}
	if !s.full.Corrected && !s.byHand {
		return shoot.Level{}
	}
	return level
}

// render takes a view through the stations whose input has changed, up to the picture
// without edits.
func (p *Previews) render(ctx context.Context, l *live, v shoot.View) (*picture, *straight, error) {
	s, err := p.ready(ctx, l, v)
	if err != nil {
		return nil, nil, err
	}
	if err := l.whiten(ctx, s, v.Decisions); err != nil {
		return nil, nil, err
	}
	pic := *s.pic
	pic.clock = &Clock{}
	pic.findings = pic.findings[:len(pic.findings):len(pic.findings)]
	if err := l.balanced.render(ctx, &pic, v.Decisions); err != nil {
		return nil, nil, err
	}
	p.count(l)
	return &pic, s, nil
}

// ready has the straight radiance of a view for its level.
func (p *Previews) ready(ctx context.Context, l *live, v shoot.View) (*straight, error) {
	if l.kept == nil {
		k, err := p.load(ctx, v)
		if err != nil {
			return nil, err
		}
		l.kept = k
	}
	if s := l.straight; s != nil && s.stands(v.Decisions.Level) {
		return s, nil
	}
	s, err := l.kept.straighten(ctx, v.Decisions.Level)
	if err != nil {
		return nil, err
	}
	l.forget()
	l.straight = s
	return s, nil
}

func sameLevel(a, b shoot.Level) bool {
	return a.PitchDeg == b.PitchDeg && a.RollDeg == b.RollDeg && a.YawDeg == b.YawDeg
}

// forget gives back what was made of the straight radiance, and that itself.
func (l *live) forget() {
	if l.straight != nil {
		l.balanced.release(l.straight.pic.rgb)
		l.draft.release()
		l.tilted.release()
		l.straight.release()
	}
	l.straight, l.balanced, l.draft, l.tilted = nil, nil, nil, nil
}

// whiten has the balanced radiance for what was decided about warmth.
func (l *live) whiten(ctx context.Context, s *straight, d shoot.Decisions) error {
	if l.balanced != nil {
		return l.balanced.warm(ctx, s.pic, s.outside, d)
	}
	b, err := balanceFor(ctx, s.pic, s.outside, d, tone.Full)
	l.balanced = b
	return err
}

// of is a view's live part, the most recently used now.
func (p *Previews) of(v shoot.View) *live {
	key := v.ID + " " + strings.Join(mates(v, p.all()), " ")
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, f := range v.Frames {
		key += " " + f.SHA256
	}
	l := p.live[key]
	if l == nil {
		l = &live{}
		p.live[key] = l
	}
	p.tick++
	l.used = p.tick
	return l
}

// count says how much a view holds and lets go of those not used for longest.
func (p *Previews) count(l *live) {
	var n int64
	for _, m := range []*raster.RGB{l.kept.rgb, l.straight.pic.rgb, l.balanced.rgb} {
		n += 16 * int64(m.W()) * int64(m.H()) // three planes, and a fourth for what was found in them
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	l.bytes = n
	for {
		var sum int64
		var oldest string
		for key, o := range p.live {
			sum += o.bytes
			if o != l && o.bytes > 0 && (oldest == "" || o.used < p.live[oldest].used) {
				oldest = key
			}
		}
		if sum <= p.limit || oldest == "" {
			return
		}
		p.live[oldest].letGo()
		delete(p.live, oldest)
	}
}

// letGo gives the buffers of a view back, unless somebody is at work on it: then the
// collector has them when the work is done.
func (l *live) letGo() {
	if !l.mu.TryLock() {
		return
	}
	defer l.mu.Unlock()
	l.forget()
	if l.kept != nil {
		raster.PutRGB(l.kept.rgb, l.small)
		l.kept, l.small = nil, nil
	}
}

func (p *Previews) paths(v shoot.View) []string {
	var out []string
	for _, f := range v.Frames {
		out = append(out, p.path(f.Path))
	}
	return out
}

// path is where a path of the shoot lies.
func (p *Previews) path(name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(p.dir, filepath.FromSlash(name))
}
