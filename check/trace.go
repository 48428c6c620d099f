package check

import (
	"context"
	"math"

	"mullion/colour"
	"mullion/internal/raster"
)

// trace is what is kept of a view for the comparison with the others.
type trace struct {
	seen     bool
	tiny     []float32 // flattened, reduced picture of unit length
	blur     float64
	edge     int     // long edge of the full-size frames
	room     float64 // log2 luminance of the room in 100 cd/m2
	absolute bool
	exterior bool
	portrait bool
	rendered bool
	iso      float64

	kelvin, duv float64 // measured
	sure        float64
	setKelvin   float64 // what the camera was set to; 0 unknown
	dust        *specks
}

const tinyW, tinyH = 48, 32

func (v *seen) trace(ctx context.Context) (trace, error) {
	ref := v.frames[v.merged.Reference]
	t := trace{
		seen: true, blur: v.sharp.best, edge: max(ref.fullW, ref.fullH),
		absolute: v.merged.Absolute && !v.rendered, rendered: v.rendered,
		portrait: (v.info.Orientation >= 5) != (ref.fullH > ref.fullW), iso: v.info.ISO,
		kelvin: v.light.Kelvin, duv: v.light.Duv, sure: v.light.Confidence,
	}
	if v.windows != nil {
		t.room = v.windows.Room
	}
	t.exterior = v.ev100() >= exteriorEV
	if v.asShot != (colour.XY{}) {
		t.setKelvin, _ = colour.CCT(v.asShot)
	}
	var err error
	if t.tiny, err = v.tiny(ctx); err != nil {
		return t, err
	}
	t.dust, err = v.specks(ctx)
	return t, err
}

// tiny is the view's log luminance with its slow changes taken off, upright, as a
// vector of unit length.
func (v *seen) tiny(ctx context.Context) ([]float32, error) {
	up := raster.Upright(v.level, v.info.Orientation)
	defer raster.Put(up)
	w, h := tinyW, tinyH
	if up.H > up.W {
		w, h = h, w
	}
	p, err := raster.Shrink(ctx, up, w, h)
	if err != nil {
		return nil, err
	}
	defer raster.Put(p)
	soft := raster.Get(w, h)
	defer raster.Put(soft)
	if err := raster.Gauss(ctx, soft, p, 5); err != nil {
		return nil, err
	}
	out := make([]float32, w*h)
	var sum float64
	for y := range h {
		a, b := p.Row(y), soft.Row(y)
		for x := range a {
			d := max(-1.5, min(1.5, a[x]-b[x]))
			out[y*w+x] = d
			sum += float64(d * d)
		}
	}
	k := float32(1 / math.Sqrt(sum+1e-9))
	for i := range out {
		out[i] *= k
	}
	return out, nil
}

// alike is the correlation of two views' tiny pictures.
func alike(a, b *trace) float64 {
	if len(a.tiny) == 0 || len(a.tiny) != len(b.tiny) || a.portrait != b.portrait {
		return 0
	}
	sum := 0.
	for i, x := range a.tiny {
		sum += float64(x * b.tiny[i])
	}
	return sum
}

// mired is a million over kelvin, in which equal steps look equal.
func mired(kelvin float64) float64 { return 1e6 / math.Max(1000, kelvin) }
