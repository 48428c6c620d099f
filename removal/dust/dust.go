// Package dust finds dust on a camera's sensor from the views of one shoot and takes
// its shadow out of them.
//
// A grain on the cover glass lies some tenths of a millimetre before the pixels, so
// it is a soft, round, slightly dark spot, at the same place of the sensor in every
// view. Whatever is really in the room is elsewhere in the next view. So a spot
// counts only where several views show it against a smooth surrounding, and no view
// that is smooth there lacks it. It is mended by dividing by the shadow's measured
// profile: what the shadow fell on stays.
//
// Nobody published numbers for this in a form to test against; the thresholds are
// common practice, no source, and the tests make their own dust.
package dust

import (
	"context"
	"math"
	"slices"
	"sync"

	"mullion/internal/raster"
)

// Spot is one grain's shadow. Places and sizes are shares of the picture's width, so
// that they hold for any size of the same sensor.
type Spot struct {
	X, Y   float64 // of the middle, from the left and the top
	Radius float64 // beyond it nothing is darkened
	// Shade is log2 of what is left of the light at evenly spaced distances from 0 to
	// Radius; never positive.
	Shade []float64
	Views int // that show it
}

// Depth is how much light the middle of the spot lacks, in EV, positive.
func (s Spot) Depth() float64 { return -s.Shade[0] }

const (
	edge     = 1500 // long side of the planes that are searched
	fewest   = 3    // views that must show a spot
	smooth   = 0.05 // EV: roughness of a surrounding that can tell
	faintest = 0.025
	most     = 60 // more spots than any sensor in use has: something else is wrong
)

// Finder collects views taken with one camera at one aperture.
type Finder struct {
	mu     sync.Mutex
	planes []*raster.Plane // logarithms, reduced
}

// Add takes a view: light is linear, not straightened and not turned, as the sensor
// lies. All views must have the same ratio; one that has not is passed over.
func (f *Finder) Add(ctx context.Context, light *raster.Plane) error {
	scale := min(1, float64(edge)/float64(max(light.W, light.H)))
	w, h := int(math.Round(float64(light.W)*scale)), int(math.Round(float64(light.H)*scale))
	p, err := raster.Shrink(ctx, light, w, h)
	if err != nil {
		return err
	}
	for i, v := range p.Pix {
		p.Pix[i] = raster.Log2(max(v, 1e-9))
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if len(f.planes) > 0 && (f.planes[0].W != w || f.planes[0].H != h) {
		return nil
	}
	f.planes = append(f.planes, p)
	return nil
}

// radii are the inner radii of the rings that candidates are compared with, in
// pixels of the reduced planes; a spot is up to half as large.
var radii = [...]int{4, 8, 14}

// Spots returns the dust that the views added so far agree on, deepest first.
func (f *Finder) Spots(ctx context.Context) ([]Spot, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if len(f.planes) < fewest {
		return nil, nil
	}
	w, h := f.planes[0].W, f.planes[0].H
	var found []candidate
	for _, r := range radii {
		t := newTally(w, h)
		for _, p := range f.planes {
			if err := t.add(ctx, p, r); err != nil {
				return nil, err
			}
		}
		found = append(found, t.peaks(r)...)
	}
	slices.SortFunc(found, func(a, b candidate) int { // strongest first, places decide ties
		switch {
		case a.mean != b.mean && a.mean < b.mean:
			return -1
		case a.mean != b.mean:
			return 1
		}
		return (a.y*w + a.x) - (b.y*w + b.x)
	})
	var spots []Spot
	var kept []candidate
	for _, c := range found {
		if slices.ContainsFunc(kept, func(k candidate) bool {
			return math.Hypot(float64(k.x-c.x), float64(k.y-c.y)) < float64(max(k.r, c.r))
		}) {
			continue
		}
		if s, ok := f.measure(c); ok {
			kept = append(kept, c)
			spots = append(spots, s)
		}
	}
	if len(spots) > most {
		spots = nil
	}
	return spots, ctx.Err()
}
