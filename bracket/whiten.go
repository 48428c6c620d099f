package bracket

import (
	"context"
	"errors"
	"slices"

	"mullion/colour"
	"mullion/internal/raster"
)

// Whiten mends what clipped, in place, after interpolation and before white
// balance. The image is camera RGB in the unit of clip, the value at which every
// channel of the darkest frame clips; neutral is the camera RGB of a white surface
// under the view's light, of any scale.
//
// Where all channels clip the light was at least as strong as the channel that
// clips last allows: the pixel becomes the light's colour at that strength. A
// channel that clips alone is raised to what the others say about that colour, never
// lowered. Both set in smoothly below clipping, and around areas that clip whole
// pixels go over to it, since interpolation has mixed clipped photosites into them.
// The light's colour is that of places close by which are bright and don't clip, and
// the neutral's where there are none (see hue). The method is our own.
func Whiten(ctx context.Context, rgb *raster.RGB, clip float32, neutral colour.Vec3) error {
	return whiten(ctx, rgb, clip, neutral, false)
}

// WhitenRendered is Whiten for a rendered file's balanced colours. Near clipping the
// camera has faded them, so that surroundings tell nothing of what clipped: white is
// white.
func WhitenRendered(ctx context.Context, rgb *raster.RGB, clip float32) error {
	return whiten(ctx, rgb, clip, colour.Vec3{1, 1, 1}, true)
}

func whiten(ctx context.Context, rgb *raster.RGB, clip float32, neutral colour.Vec3, rendered bool) error {
	if !(neutral[0] > 0 && neutral[1] > 0 && neutral[2] > 0) {
		return errors.New("bracket: whitening needs a neutral whose three channels are positive")
	}
	if !(clip > 0) {
		return errors.New("bracket: whitening needs a positive clipping value")
	}
	top := max(neutral[0], neutral[1], neutral[2])
	var n [3]float32
	for c := range n {
		n[c] = float32(neutral[c] / top)
	}
	strips := make([]strip, (rgb.H()+stripRows-1)/stripRows)
	err := raster.BandsOf(ctx, len(strips), 1, func(i, _ int) { strips[i] = clippedWhole(ctx, rgb, i*stripRows, clip) })
	if err == nil && slices.ContainsFunc(strips, func(s strip) bool { return s.whole != nil }) {
		var light *hue
		if !rendered {
			light, err = newHue(ctx, rgb, clip, n)
		}
		if err == nil {
			err = raster.BandsOf(ctx, len(strips), 1, func(i, _ int) { strips[i].whiten(rgb, i*stripRows, clip, n, light) })
			light.release()
		}
	}
	for _, s := range strips {
		raster.Put(s.whole)
	}
	return err
}

// Where a channel begins to count as clipped, and where it is, as shares of clip.
const (
	clipStart = 0.90
	clipEnd   = 0.985
)

// clippedness is 0 below clipStart and 1 from clipEnd on.
func clippedness(v, inv float32) float32 {
	t := (v*inv - clipStart) * (1 / (clipEnd - clipStart))
	if t <= 0 {
		return 0
	}
	if t >= 1 {
		return 1
	}
	return t * t * (3 - 2*t)
}

// stripRows is the height of a strip. Little of a picture clips, and what doesn't is
// only glanced at.
const stripRows = 128

// strip is the part of some rows that something clipped reaches, from column x and row y
// of the picture on, and how much all channels clip in the surroundings of each pixel,
// 0 to 1. whole is nil where nothing clips.
type strip struct {
	x, y  int
	whole *raster.Plane
}

// What clips is spread by two pixels, the reach of interpolation, with a soft edge.
const (
	spreadBy   = 2
	softenedBy = 1.2
	touches    = spreadBy + 5 // how far that goes: the blur is cut at 3.5 of its sigma
)

// clippedWhole looks at the rows of the strip from y0 on and at those that reach into it.
func clippedWhole(ctx context.Context, rgb *raster.RGB, y0 int, clip float32) strip {
	w, h := rgb.W(), rgb.H()
	top, bottom := max(0, y0-touches), min(h, y0+stripRows+touches)
	x0, x1 := w, 0
	for y := top; y < bottom; y++ {
		a, b := brightest(rgb, y, clip*clipStart*0.999)
		x0, x1 = min(x0, a), max(x1, b)
	}
	if x0 >= x1 {
		return strip{}
	}
	x0, x1 = max(0, x0-touches), min(w, x1+touches)
	s := strip{x0, top, raster.Get(x1-x0, bottom-top)}
	inv := 1 / clip
	for y := range s.whole.H {
		out := s.whole.Row(y)
		r, g, b := rgb[0].Row(top + y)[x0:x1], rgb[1].Row(top + y)[x0:x1], rgb[2].Row(top + y)[x0:x1]
		for x := range out {
			m := r[x]
			if g[x] < m {
				m = g[x]
			}
			if b[x] < m {
				m = b[x]
			}
			// Two channels are enough to make a false colour of the third.
			mid := r[x] + g[x] + b[x] - m - max(r[x], g[x], b[x])
			out[x] = max(clippedness(m, inv), 0.6*clippedness(mid, inv))
		}
	}
	if dilate(ctx, s.whole, spreadBy) == nil { // else the caller stops, too
		_ = raster.Gauss(ctx, s.whole, s.whole, softenedBy)
	}
	return s
}

// brightest is where a row begins and ends to have a channel above v.
func brightest(rgb *raster.RGB, y int, v float32) (x0, x1 int) {
	r := rgb[0].Row(y)
	g, b := rgb[1].Row(y)[:len(r)], rgb[2].Row(y)[:len(r)]
	x0 = len(r)
	for x := range r {
		if r[x] > v || g[x] > v || b[x] > v {
			x0 = min(x0, x)
			x1 = x + 1
		}
	}
	return x0, x1
}

// whiten mends the strip's own rows, from y0 on.
func (s strip) whiten(rgb *raster.RGB, y0 int, clip float32, n [3]float32, light *hue) {
	if s.whole == nil {
		return
	}
	x1 := s.x + s.whole.W
	for y := y0; y < min(rgb.H(), y0+stripRows); y++ {
		whitenRow(rgb[0].Row(y)[s.x:x1], rgb[1].Row(y)[s.x:x1], rgb[2].Row(y)[s.x:x1], s.whole.Row(y-s.y), clip, n, light.along(s.x, y))
	}
}

// dilate replaces every sample by the largest within r.
func dilate(ctx context.Context, p *raster.Plane, r int) error {
	negate(p)
	err := erode(ctx, p, r)
	negate(p)
	return err
}

func negate(p *raster.Plane) {
	for y := range p.H {
		row := p.Row(y)
		for x, v := range row {
			row[x] = -v
		}
	}
}

// whitenRow mends a row. light says how the light at x differs from the neutral; nil
// where nothing does.
func whitenRow(r, g, b, whole []float32, clip float32, neutral [3]float32, light func(x int) [3]float32) {
	inv := 1 / clip
	n := neutral
	for x, near := range whole {
		v := [3]float32{r[x], g[x], b[x]}
		if near <= 0 && max(v[0], v[1], v[2]) < clipStart*clip {
			continue
		}
		if light != nil {
			k := light(x)
			n = [3]float32{neutral[0] * k[0], neutral[1] * k[1], neutral[2] * k[2]}
		}
		u := [3]float32{v[0] / n[0], v[1] / n[1], v[2] / n[2]}
		a := [3]float32{clippedness(v[0], inv), clippedness(v[1], inv), clippedness(v[2], inv)}
		u = raise(u, a, clip/min(n[0], n[1], n[2])) // where the last channel clips
		// Near areas that clip whole the colour becomes the light's.
		if near > 0 {
			white := (u[0] + u[1] + u[2]) * (1. / 3)
			if light == nil {
				white = max(u[0], u[1], u[2])
			}
			for c := range u {
				u[c] += near * (white - u[c])
			}
		}
		r[x], g[x], b[x] = u[0]*n[0], u[1]*n[1], u[2]*n[2]
	}
}

// raise lifts clipped channels, balanced so that neutral is equal in all three, to
// what the unclipped ones say; where none is left, to most.
func raise(u, a [3]float32, most float32) [3]float32 {
	all := min(a[0], a[1], a[2])
	var sw, su float32
	for c := range u {
		w := 1 - a[c] + 1e-3
		sw += w
		su += w * u[c]
	}
	est := su/sw*(1-all) + most*all
	for c := range u {
		if est > u[c] {
			u[c] += a[c] * (est - u[c])
		}
	}
	return u
}

// erode replaces every sample by the least within r.
func erode(ctx context.Context, p *raster.Plane, r int) error {
	tmp := raster.Get(p.W, p.H)
	defer raster.Put(tmp)
	if err := raster.Bands(ctx, p.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			in, out := p.Row(y), tmp.Row(y)
			for x := range out {
				v := in[x]
				for _, q := range in[max(0, x-r):min(len(in), x+r+1)] {
					if q < v {
						v = q
					}
				}
				out[x] = v
			}
		}
	}); err != nil {
		return err
	}
	return raster.Bands(ctx, p.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			out := p.Row(y)
			copy(out, tmp.Row(y))
			for j := max(0, y-r); j <= min(p.H-1, y+r); j++ {
				for x, v := range tmp.Row(j) {
					if v < out[x] {
						out[x] = v
					}
				}
			}
		}
	})
}
