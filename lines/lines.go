// Package lines finds straight line segments in a picture.
//
// A segment is a run of pixels whose brightness edges all point the same way.
// Regions of such pixels are grown from the strongest edges, a rectangle is laid
// around each, and the rectangle counts as a segment when so many aligned pixels
// would not happen by chance in an image of noise: less than once in a whole
// picture. That test needs no threshold to tune.
//
// The method is the line segment detector of Grompone von Gioi, Jakubowicz,
// Morel and Randall (IEEE PAMI 32(4), 2010; Image Processing On Line 2, 2012),
// written from the papers. Found segments are then refined on the unscaled
// picture: the edge's sub-pixel position is measured in cuts across the segment
// and a line is fitted through the cuts, which gives the direction a standard
// error and the bend a value. Straightening a picture lives on both.
package lines

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// Segment is a straight edge. Coordinates are pixels with pixel centres at +0.5;
// going from 1 to 2, the brighter side lies on the right (in a picture whose y
// points down).
type Segment struct {
	X1, Y1, X2, Y2 float64
	Width          float64 // width of the edge's rectangle in pixels
	Strength       float64 // -log10 of the number of false alarms: above 0 is meaningful
	Sigma          float64 // standard error of the direction in radians; 0 when not refined
	Bend           float64 // sagitta in pixels, positive towards the right of 1-2; 0 when not refined
	BendSigma      float64 // standard error of Bend; 0 when it could not be measured
}

// Length is the distance between the end points in pixels.
func (s Segment) Length() float64 { return math.Hypot(s.X2-s.X1, s.Y2-s.Y1) }

// Options are the detector's parameters. The zero value means the papers' own.
type Options struct {
	// Scale is the size of the image the regions are grown in, relative to the
	// plane; 0 means 0.8. At 1 the plane is used as it is.
	Scale float64
	// Quantum bounds the error of a sample from quantisation and noise, in the
	// units of the plane; 0 means 2/255, for values from 0 to 1. Weaker
	// gradients have no direction and are not looked at.
	Quantum float64
	// MinLength drops shorter segments, in pixels; 0 keeps all.
	MinLength float64
	// Raw leaves out the sub-pixel refinement.
	Raw bool
}

const (
	angleTolerance = 22.5 * math.Pi / 180
	densityLimit   = 0.7
	bins           = 1024
)

// Detect returns the segments of p, strongest gradients first. Values should be
// perceptual or logarithmic, roughly 0 to 1, so that an edge in shadow counts
// like one in light. An image of pure noise gives about one false segment.
// The only error is the context's.
func Detect(ctx context.Context, p *raster.Plane, opt Options) ([]Segment, error) {
	if opt.Scale <= 0 {
		opt.Scale = 0.8
	}
	if opt.Quantum <= 0 {
		opt.Quantum = 2. / 255
	}
	if p.W < 8 || p.H < 8 {
		return nil, ctx.Err()
	}
	q, err := scaled(ctx, p, opt.Scale)
	if err != nil {
		return nil, err
	}
	f, err := levelLines(ctx, q, opt.Quantum/math.Sin(angleTolerance))
	if q != p {
		raster.Put(q)
	}
	if err != nil {
		return nil, err
	}
	found, err := newGrower(f).segments(ctx)
	if err != nil {
		return nil, err
	}
	// A gradient sits on the corner of its four pixels, one pixel from the
	// plane's corner, and the small image covers the same area as the plane.
	sx, sy := float64(p.W)/float64(q.W), float64(p.H)/float64(q.H)
	out := found[:0]
	for _, s := range found {
		s.X1, s.X2 = (s.X1+1)*sx, (s.X2+1)*sx
		s.Y1, s.Y2 = (s.Y1+1)*sy, (s.Y2+1)*sy
		s.Width *= (sx + sy) / 2
		if s.Length() >= opt.MinLength {
			out = append(out, s)
		}
	}
	if opt.Raw {
		return out, ctx.Err()
	}
	return refineAll(ctx, p, out)
}
