// Package warp resamples a colour picture once, through any smooth map.
//
// Every geometric step of the house (lens distortion, turning, straightening,
// cropping, scaling) only describes where an output pixel comes from; the steps
// are composed into one [Map] and the pixels are interpolated a single time.
//
// Radiance needs care. A window's edge can be a step of 1 to 1000, and a sharp
// kernel rings by several per cent of the step: in linear light that's a bright
// or black line many times stronger than the room itself. So pixels are
// interpolated as logarithms of radiance ([Encode]), where the same step is a
// factor of ten and ringing is a share of that, and what is left of it is bound
// to a twelfth of an EV beyond the four nearest pixels.
// Slight contrast, which is what texture is made of, passes unclipped.
//
// The kernel is Lanczos-3 (Duchon, J. Appl. Meteorol. 18, 1979), widened where
// the map shrinks so that nothing aliases.
package warp

import (
	"context"
	"fmt"
	"math"
	"slices"

	"mullion/internal/raster"
)

// Map says where an output pixel comes from. Coordinates are pixels with centres
// at +0.5. The functions must be smooth over a few dozen pixels and safe to call
// from several goroutines.
type Map struct {
	// At returns the place in the source of the place (x, y) of the output.
	At func(x, y float64) (sx, sy float64)
	// Channel moves a place of the source to where channel c (0 red, 1 green,
	// 2 blue) has it: lateral colour. Nil when the channels coincide.
	Channel func(c int, sx, sy float64) (float64, float64)
	// Gain multiplies the radiance that comes from (sx, sy): vignetting. Nil for 1.
	Gain func(sx, sy float64) float64
}

// Scaled returns the map for an output of w2 x h2 pixels that shows the same as m
// does at w x h.
func (m Map) Scaled(w, h, w2, h2 int) Map {
	fx, fy := float64(w)/float64(w2), float64(h)/float64(h2)
	at := m.At
	m.At = func(x, y float64) (float64, float64) { return at(x*fx, y*fy) }
	return m
}

// tileW x tileH output pixels at most are made from one block of the source that
// fits the processor's second-level cache. Wide tiles read long stretches of
// each row, which is what memory is fast at.
const (
	tileW = 512
	tileH = 64
)

// tileSize returns the size of tiles for a map of the given scale: where one
// output pixel covers several, blocks would outgrow the cache. The width is a
// multiple of every grid step.
func tileSize(scale float64) (w, h int) {
	s := max(1, int(scale))
	return max(128, tileW/s&^31), max(24, tileH/s)
}

// Apply returns the w x h picture whose pixels come from src through m. src is
// linear radiance in any unit, 0 or more (values a little below 0, as noise
// gives, are fine); so is the result, which never leaves the source's range by
// more than a few per cent. Places outside src take the nearest border pixel. A
// map that changes nothing gives an exact copy. The errors are the context's
// and that of an empty picture.
func Apply(ctx context.Context, src *raster.RGB, m Map, w, h int) (*raster.RGB, error) {
	if src.W() < 1 || src.H() < 1 || w < 1 || h < 1 {
		return nil, fmt.Errorf("warp: from %d x %d to %d x %d pixels: nothing to resample", src.W(), src.H(), w, h)
	}
	g, err := newGrid(ctx, m, w, h)
	if err != nil {
		return nil, err
	}
	if k := int(g.scale() / 2); k >= 2 {
		small, err := blocks(ctx, src, k)
		if err != nil {
			return nil, err
		}
		defer raster.PutRGB(small)
		src, m = small, m.coarser(float64(k))
		if g, err = newGrid(ctx, m, w, h); err != nil {
			return nil, err
		}
		return apply(ctx, src, g, w, h, true)
	}
	if src.W() == w && src.H() == h && g.identity() {
		return src.Clone(), ctx.Err()
	}
	return apply(ctx, src, g, w, h, g.scale() > shrinks)
}

func apply(ctx context.Context, src *raster.RGB, g *grid, w, h int, linear bool) (*raster.RGB, error) {
	j := &job{src: src, dst: raster.GetRGB(w, h), grid: g, kernels: newKernels(), pedestal: pedestal(src), linear: linear}
	tw, th := tileSize(g.scale())
	columns := (w + tw - 1) / tw
	rows := (h + th - 1) / th
	err := raster.BandsOf(ctx, columns*rows, 1, func(a, b int) {
		t := tiles.Get().(*tile)
		defer tiles.Put(t)
		for i := a; i < b; i++ {
			x, y := i%columns*tw, i/columns*th
			t.run(j, x, y, min(tw, w-x), min(th, h-y))
		}
	})
	if err != nil {
		raster.PutRGB(j.dst)
		return nil, err
	}
	return j.dst, nil
}

// job is one call of Apply.
type job struct {
	src, dst *raster.RGB
	grid     *grid
	kernels  *kernels
	pedestal float32
	linear   bool // the picture shrinks: average light, not its logarithm
}

// pedestal is the radiance below which Encode turns from logarithmic to linear:
// a 64th of what the darker quarter of the picture has at most (in green), so
// that noise in deep shadow is not stretched.
func pedestal(src *raster.RGB) float32 {
	p := src[1]
	var some []float32
	for y := p.H / 128; y < p.H; y += max(1, p.H/64) {
		row := p.Row(y)
		for x := p.W / 128; x < p.W; x += max(1, p.W/64) {
			if v := row[x]; v > 0 && v < math.MaxFloat32 {
				some = append(some, v)
			}
		}
	}
	if len(some) == 0 {
		return 1
	}
	slices.Sort(some)
	return max(1e-30, some[len(some)/4]/64)
}
