package dust

import (
	"cmp"
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// Evidence is what one view says about dust. It is made by [Look]; other programs may
// keep it, but its fields mean something to this package only.
type Evidence struct {
	// Group names what must be alike for two views to have the same shadows: the
	// camera and, as the size of a shadow goes with it, the aperture.
	Group string `json:"group"`
	W     int    `json:"w"` // of the reduced view, pixels
	H     int    `json:"h"`
	// Scene is a thumbnail, to know views of one composition: what is real is at the
	// same place in those. Log2 of light in sixteenths, 24 columns.
	Scene []int8 `json:"scene"`
	// Able has a bit for each cell of 8 x 8 pixels, row by row, and each radius: set
	// where the view is so plain that it would show a spot.
	Able  [len(radii)][]byte `json:"able"`
	Marks []Mark             `json:"marks"`
}

// Mark is a soft dark spot of one view, which may be dust.
type Mark struct {
	X     float32 `json:"x"` // pixels of the reduced view
	Y     float32 `json:"y"`
	R     int     `json:"r"`     // index of the radius
	Lack  int     `json:"lack"`  // in the middle, thousandths of an EV, negative
	Tint  int     `json:"tint"`  // how far red and blue differ in it, the same unit
	Shade []int   `json:"shade"` // at each whole distance, the same unit
}

const (
	cell      = 8
	sceneW    = 24
	mostMarks = 400 // a view with more is full of specks of its own
)

// Look takes what a view says about dust: light is linear, not straightened and not
// turned, as the sensor lies; what reaches clip in any colour tells nothing. One frame
// of a bracket is enough.
func Look(ctx context.Context, light *raster.RGB, clip float32, group string) (*Evidence, error) {
	s := &search{}
	if err := s.reduce(ctx, light, clip); err != nil {
		return nil, err
	}
	defer raster.Put(s.luma, s.red, s.blue, s.spoilt)
	e := &Evidence{Group: group, W: s.luma.W, H: s.luma.H, Scene: s.scene(), Marks: []Mark{}}
	for k := range radii {
		if err := s.at(ctx, k, e); err != nil {
			return nil, err
		}
	}
	slices.SortFunc(e.Marks, func(a, b Mark) int {
		return cmp.Or(cmp.Compare(a.Lack, b.Lack), cmp.Compare(a.Y, b.Y), cmp.Compare(a.X, b.X), cmp.Compare(a.R, b.R))
	})
	if len(e.Marks) > mostMarks { // it can't vouch for the absence of what was cut off
		e.Marks = e.Marks[:mostMarks]
		for k := range e.Able {
			clear(e.Able[k])
		}
	}
	return e, ctx.Err()
}

// search holds one view reduced, as logarithms of light.
type search struct {
	luma, red, blue *raster.Plane
	spoilt          *raster.Plane // 1 where something clipped
}

func (s *search) reduce(ctx context.Context, light *raster.RGB, clip float32) error {
	scale := min(1, float64(edge)/float64(max(light.W(), light.H())))
	w, h := int(math.Round(float64(light.W())*scale)), int(math.Round(float64(light.H())*scale))
	var small [3]*raster.Plane
	for c, p := range light {
		var err error
		if small[c], err = raster.Shrink(ctx, p, w, h); err != nil {
			return err
		}
	}
	s.luma, s.red, s.blue, s.spoilt = raster.Get(w, h), small[0], small[2], raster.Get(w, h)
	defer raster.Put(small[1])
	for y := range h {
		r, g, b, l, bad := small[0].Row(y), small[1].Row(y), small[2].Row(y), s.luma.Row(y), s.spoilt.Row(y)
		for x := range l {
			bad[x] = 0
			if max(r[x], g[x], b[x]) > 0.9*clip {
				bad[x] = 1
			}
			sum := r[x] + 2*g[x] + b[x]
			l[x] = raster.Log2(max(sum/4, 1e-9))
			r[x], b[x] = raster.Log2(max(r[x], 1e-9)), raster.Log2(max(b[x], 1e-9))
		}
	}
	return nil
}

// scene is the thumbnail.
func (s *search) scene() []int8 {
	h := max(1, sceneW*s.luma.H/s.luma.W)
	out := make([]int8, sceneW*h)
	for j := range h {
		for i := range sceneW {
			var sum, n float64
			for y := j * s.luma.H / h; y < max((j+1)*s.luma.H/h, j*s.luma.H/h+1); y++ {
				for x := i * s.luma.W / sceneW; x < (i+1)*s.luma.W/sceneW; x++ {
					sum += float64(s.luma.Row(y)[x])
					n++
				}
			}
			out[j*sceneW+i] = int8(max(-127, min(127, math.Round(16*sum/max(1, n)+64))))
		}
	}
	return out
}
