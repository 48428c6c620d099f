package rawfile

import (
	"bytes"
	"context"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/metadata"
)

// Thumb returns a small grey picture of the frame at path, for telling views apart
// and for quick checks: code values 0..1 of the luma, not turned, its longer edge
// at most longEdge. A raw file gives the camera's preview where that is at least
// half as large, else its mosaic binned 2 x 2. It is fast, not exact: a preview has
// whatever look the camera gave it.
func Thumb(ctx context.Context, path string, longEdge int) (*raster.Plane, error) {
	longEdge = max(longEdge, 8)
	var p *raster.Plane
	err := withFile(ctx, path, func(h here) error {
		kind, err := metadata.Sniff(path, bytes.NewReader(h.data), int64(len(h.data)))
		if err != nil {
			return err
		}
		if kind == metadata.KindJPEG || metadata.IsRawName(path) {
			p, err = h.thumb(ctx, kind, longEdge)
			return err
		}
		f, err := h.frame(ctx)
		if err != nil {
			return err
		}
		defer f.Release()
		p, err = frameThumb(ctx, f, longEdge)
		return err
	})
	return p, err
}

// thumbOf makes the small picture in the process that decodes.
func thumbOf(ctx context.Context, path string, kind metadata.Kind, data []byte, edge int) (*raster.Plane, error) {
	if kind == metadata.KindJPEG {
		return jpegThumb(ctx, path, data, edge)
	}
	if p := previewThumb(ctx, data, edge); p != nil {
		return p, nil
	}
	f, err := decodeHere(ctx, path, data)
	if err != nil {
		return nil, err
	}
	defer f.Release()
	return frameThumb(ctx, f, edge)
}

// jpegThumb decodes at the smallest of TurboJPEG's scales that is large enough.
func jpegThumb(ctx context.Context, path string, data []byte, edge int) (*raster.Plane, error) {
	t, err := newTurbo()
	if err != nil {
		return nil, err
	}
	defer t.close()
	h, err := t.header(data)
	if err != nil {
		return nil, damaged(path, err.Error(), err)
	}
	if err := jpegUsable(path, h, data); err != nil {
		return nil, err
	}
	w, hh := t.scaled(h, edge)
	buf := make([]byte, w*hh)
	if err := t.decode(data, buf, w, hh, true); err != nil {
		return nil, damaged(path, err.Error(), err)
	}
	p := raster.Get(w, hh)
	for i, v := range buf {
		p.Pix[i] = unit8[v]
	}
	return shrinkTo(ctx, p, edge)
}

// previewThumb uses the preview inside a raw file, nil when there is none of at
// least half the size.
func previewThumb(ctx context.Context, data []byte, edge int) *raster.Plane {
	l, err := openLibrary(data)
	if err != nil {
		return nil
	}
	defer l.close()
	pix, w, h, isJPEG := l.preview()
	if isJPEG {
		if p, err := jpegThumb(ctx, "preview", pix, edge); err == nil && max(p.W, p.H) >= edge/2 {
			return p
		}
		return nil
	}
	if pix == nil || max(w, h) < edge/2 {
		return nil
	}
	p := raster.Get(w, h)
	for i := range p.Pix {
		r, g, b := pix[3*i], pix[3*i+1], pix[3*i+2]
		p.Pix[i] = luma(unit8[r], unit8[g], unit8[b])
	}
	p, err = shrinkTo(ctx, p, edge)
	if err != nil {
		return nil
	}
	return p
}

// luma is the weighting of ITU-R BT.601 that JPEG uses.
func luma(r, g, b float32) float32 { return 0.299*r + 0.587*g + 0.114*b }

// frameThumb makes the picture from decoded pixels.
func frameThumb(ctx context.Context, f *Frame, edge int) (*raster.Plane, error) {
	var p *raster.Plane
	switch {
	case f.Mosaic != nil:
		p = f.Mosaic.binned()
	default:
		rgb := f.RGB
		if f.Coded != nil {
			rgb = f.Coded.RGB
		}
		p = raster.Get(rgb.W(), rgb.H())
		for y := range p.H {
			r, g, b, out := rgb[0].Row(y), rgb[1].Row(y), rgb[2].Row(y), p.Row(y)
			for x := range out {
				out[x] = luma(r[x], g[x], b[x])
			}
		}
	}
	p, err := shrinkTo(ctx, p, edge)
	if err == nil && f.Coded == nil {
		for i, v := range p.Pix {
			p.Pix[i] = float32(colour.EncodeSRGB(float64(max(0, min(v, 1)))))
		}
	}
	return p, err
}

// binned averages the greens of each 2 x 2 cell, 0..1 between black and white.
func (m *Mosaic) binned() *raster.Plane {
	p := raster.Get(m.W/2, m.H/2)
	x1, x2 := 0, 1
	if m.CFA[0][0] != 1 {
		x1, x2 = 1, 0
	}
	b1, b2 := m.Black[0][x1], m.Black[1][x2]
	k1, k2 := 0.5/(m.White-b1), 0.5/(m.White-b2)
	for y := range p.H {
		r1, r2 := m.Pix[2*y*m.W:(2*y+1)*m.W], m.Pix[(2*y+1)*m.W:(2*y+2)*m.W]
		out := p.Row(y)
		for x := range out {
			out[x] = (float32(r1[2*x+x1])-b1)*k1 + (float32(r2[2*x+x2])-b2)*k2
		}
	}
	return p
}

// shrinkTo brings the longer edge down to edge; it never enlarges.
func shrinkTo(ctx context.Context, p *raster.Plane, edge int) (*raster.Plane, error) {
	long := max(p.W, p.H)
	if long <= edge {
		return p, nil
	}
	w := max(1, (p.W*edge+long/2)/long)
	h := max(1, (p.H*edge+long/2)/long)
	q, err := raster.Shrink(ctx, p, w, h)
	raster.Put(p)
	return q, err
}
