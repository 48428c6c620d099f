package whitebalance

import (
	"context"
	"fmt"
	"math"

	"mullion/internal/raster"
)

// Apply takes the light out of img in place: linear BT.2020 scene colour of the
// measured view, at any size of the same framing and in the same unit. window is
// the coverage 0..1 of what is seen through glass, of the size of img, or nil;
// there daylight's balance is taken, in proportion to the coverage. The
// luminance of a white surface stays what it was.
//
// The field of light is spread from its small size by straight interpolation
// where it is smooth. Where it jumps, a pixel takes more from those of its four
// neighbours in the field that it resembles (joint bilateral upsampling, Kopf et
// al., ACM Trans. Graph. 26:3, 2007), so no colour leaks over the edge.
func (e *Estimate) Apply(ctx context.Context, img *raster.RGB, window *raster.Plane) error {
	if img == nil || img.W() == 0 || img.H() == 0 {
		return nil
	}
	if window != nil && (window.W != img.W() || window.H != img.H()) {
		return fmt.Errorf("whitebalance: a window map of %d x %d for a picture of %d x %d", window.W, window.H, img.W(), img.H())
	}
	g := e.gains
	if g == nil {
		g = e.newGains()
		err := raster.BandsOf(ctx, len(g.node), 1024, func(from, to int) { g.make(from, to, e) })
		if err != nil {
			return err
		}
	}
	spans := g.spans(img.W())
	return raster.Bands(ctx, img.H(), func(y0, y1 int) {
		cells, of := make([]cell, g.w-1), -1 // between two rows of the field
		for y := y0; y < y1; y++ {
			r, gr, b := img[0].Row(y), img[1].Row(y), img[2].Row(y)
			fy := clamp((float64(y)+0.5)*float64(g.h)/float64(img.H())-0.5, float64(g.h-1))
			j := min(int(fy), g.h-2)
			if j != of {
				of = j
				for i := range cells {
					cells[i] = g.cell(i, j)
				}
			}
			for _, s := range spans {
				c := &cells[s.cell]
				rr, gg, bb := r[s.from:s.to], gr[s.from:s.to], b[s.from:s.to]
				var glass []float32
				if window != nil {
					glass = seen(window.Row(y)[s.from:s.to])
				}
				switch {
				case glass != nil:
					c.scaleGlass(rr, gg, bb, glass, float32(fy)-float32(j), s, g.glass)
				case c.jump:
					c.scaleJump(rr, gg, bb, float32(fy)-float32(j), s)
				default:
					c.scale(rr, gg, bb, float32(fy)-float32(j), s)
				}
			}
		}
	})
}

// seen returns the coverage, or nil when all of it is zero.
func seen(glass []float32) []float32 {
	for _, v := range glass {
		if v > 0 {
			return glass
		}
	}
	return nil
}

// gains is the field of light turned into factors for R, G and B, with the
// picture's own colour beside them to tell what a pixel resembles.
type gains struct {
	w, h  int
	node  []node
	glass [3]float32
}

type node struct {
	gain  [3]float32
	guide [3]float32 // the picture at reduced size, linear R, G, B
}

// span is a run of pixels between two columns of the field: pixel from+i lies at
// x0 + i*dx between them.
type span struct {
	cell, from, to int
	x0, dx         float32
}

func (g *gains) spans(n int) []span {
	dx := float64(g.w) / float64(n)
	var out []span
	for x := range n {
		p := clamp((float64(x)+0.5)*dx-0.5, float64(g.w-1))
		i := min(int(p), g.w-2)
		// At the border the field is constant: its own span with no slope.
		flat := (float64(x)+0.5)*dx-0.5 < 0 || (float64(x)+0.5)*dx-0.5 > float64(g.w-1)
		if k := len(out) - 1; k >= 0 && out[k].cell == i && (out[k].dx == 0) == flat {
			out[k].to = x + 1
			continue
		}
		s := span{i, x, x + 1, float32(p - float64(i)), float32(dx)}
		if flat {
			s.dx = 0
		}
		out = append(out, s)
	}
	return out
}

func clamp(x, hi float64) float64 { return math.Max(0, math.Min(hi, x)) }

// newGains is room for the factors. A field of one sample is spread to 2 x 2, so that
// every pixel lies in a cell.
func (e *Estimate) newGains() *gains {
	g := &gains{w: max(2, e.field.w), h: max(2, e.field.h), glass: gainsOf(chromaOf(e.Window))}
	g.node = make([]node, g.w*g.h)
	return g
}

// make makes the factors of some nodes.
func (g *gains) make(from, to int, e *Estimate) {
	f := e.field
	for i := from; i < to; i++ {
		k := min(i, len(f.plane[0].Pix)-1)
		c := chroma{float64(f.plane[0].Pix[k]), float64(f.plane[1].Pix[k])}
		g.node[i].gain = gainsOf(e.removed(c))
		if f.guide != nil {
			g.node[i].guide = f.guide[k]
		}
	}
}

// removed is the light taken out where the light is c. What makes it warmer than the
// base is taken out by Strength; what makes it cooler wholly, as blue on a wall is
// never wanted.
func (e *Estimate) removed(c chroma) chroma {
	if d := c.minus(e.base); d[1] < 0 {
		c = e.base.plus(d.times(e.Strength))
	}
	if e.rendered {
		return fromRendered(c, e.trust) // D65 is the origin
	}
	return c
}

// gainsOf are the factors that make a white of chroma c grey at its luminance.
func gainsOf(c chroma) [3]float32 {
	r, b := math.Exp(c[0]), math.Exp(c[1])
	l := lumR*r + lumG + lumB*b
	return [3]float32{float32(l / r), float32(l), float32(l / b)}
}
