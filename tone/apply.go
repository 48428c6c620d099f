package tone

import (
	"context"
	"math/bits"

	"mullion/internal/raster"
)

// BT.2020 to BT.709 primaries, both D65 (inverse of BT.2087-0 table 1).
const (
	rr, rg, rb = 1.660491, -0.587641, -0.072850
	gr, gg, gb = -0.124550, 1.132900, -0.008349
	br, bg, bb = -0.018151, -0.100579, 1.118730
)

// apply gives every pixel of src its gain, 2^(a L + b), and its place in the
// screen's gamut, in one pass. dst may be src.
func apply(ctx context.Context, dst, src *raster.RGB, a, b *raster.Plane) error {
	cols, rows := newLerp(a.W, src.W()), newLerp(a.H, src.H())
	return raster.Bands(ctx, src.H(), func(y0, y1 int) {
		ra, rb := make([]float32, a.W), make([]float32, a.W)
		fa, fb := make([]float32, src.W()), make([]float32, src.W())
		beyond := make([]byte, src.W()/8)
		for y := y0; y < y1; y++ {
			rows.blend(ra, a, y)
			rows.blend(rb, b, y)
			cols.stretch(fa, ra)
			cols.stretch(fb, rb)
			for c := range dst {
				if d, s := dst[c].Row(y), src[c].Row(y); &d[0] != &s[0] {
					copy(d, s)
				}
			}
			applyRow(dst[0].Row(y), dst[1].Row(y), dst[2].Row(y), fa, fb, beyond)
		}
	})
}

// whiteKnee is where, in log2 under display white, brightness begins to bend so
// that texture laid over the curve's shoulder never clips.
const whiteKnee = 0.12

// Under a local contrast of keepSlope, chroma is reduced by fade of what is
// missing.
const (
	keepSlope = 0.7
	fade      = 0.35
)

// applyRow exists twice: in Go, which says what it computes and serves every processor,
// and in AVX2 (rows_amd64.s, written by internal/avo), which leaves what is near or
// beyond the gamut's edge to Go. Both give the same to the last bit. beyond is scratch,
// a byte for every eight pixels.
func applyRow(r, g, b, fa, fb []float32, beyond []byte) {
	n := fastApply(r, g, b, fa, fb, beyond)
	for i, m := range beyond[:n/8] {
		for ; m != 0; m &= m - 1 {
			x := 8*i + bits.TrailingZeros8(m)
			r[x], g[x], b[x] = intoGamut(r[x], g[x], b[x])
		}
	}
	applyRowGo(r[n:], g[n:], b[n:], fa[n:], fb[n:])
}

//go:generate sh -c "cd ../internal/avo && go run ./tone -out ../../tone/rows_amd64.s -stubs ../../tone/rows_amd64.go -pkg tone"

func applyRowGo(r, g, b, fa, fb []float32) {
	g, b, fa, fb = g[:len(r)], b[:len(r)], fa[:len(r)], fb[:len(r)]
	for x := range r {
		r0, g0, b0 := r[x], g[x], b[x]
		y := 0.2627*r0 + 0.6780*g0 + 0.0593*b0
		l := log2(y)
		o := l + fa[x]*l + fb[x]
		if o > -whiteKnee {
			o = -whiteKnee * exp2((-1.442695/whiteKnee)*(o+whiteKnee))
		}
		k := exp2(o - l)
		r0, g0, b0 = r0*k, g0*k, b0*k
		Y := y * k
		R := rr*r0 + rg*g0 + rb*b0
		G := gr*r0 + gg*g0 + gb*b0
		B := br*r0 + bg*g0 + bb*b0
		// Where contrast has been taken away, colours look stronger than they did.
		if c := fa[x] + 1; c < keepSlope {
			sat := 1 - (keepSlope-max(0, c))*fade
			R, G, B = Y+(R-Y)*sat, Y+(G-Y)*sat, Y+(B-Y)*sat
		}
		// Near or beyond the edge of the gamut? The knee is near.
		lo, hi := (1-chromaKnee)*Y, Y+chromaKnee*(peak-Y)
		if R < lo || G < lo || B < lo || R > hi || G > hi || B > hi || Y != Y {
			R, G, B = intoGamut(R, G, B)
		}
		r[x], g[x], b[x] = R, G, B
	}
}

// lerp holds the source sample and the weight of its successor for each of n
// positions.
type lerp struct {
	at   []int32
	frac []float32
}

func newLerp(from, to int) lerp {
	l := lerp{make([]int32, to), make([]float32, to)}
	for i := range to {
		x := (float64(i)+0.5)*float64(from)/float64(to) - 0.5
		x = max(0, min(float64(from-1), x))
		k := min(int(x), max(0, from-2))
		l.at[i], l.frac[i] = int32(k), float32(x-float64(k))
	}
	return l
}

func (l lerp) blend(dst []float32, p *raster.Plane, y int) {
	k, f := int(l.at[y]), l.frac[y]
	a, b := p.Row(k)[:len(dst)], p.Row(min(p.H-1, k+1))[:len(dst)]
	for x := range dst {
		dst[x] = a[x] + (b[x]-a[x])*f
	}
}

func (l lerp) stretch(dst, src []float32) {
	if len(src) == 1 {
		for x := range dst {
			dst[x] = src[0]
		}
		return
	}
	at, frac := l.at[:len(dst)], l.frac[:len(dst)]
	for x := range dst {
		k := at[x]
		s := src[k : k+2 : k+2]
		dst[x] = s[0] + (s[1]-s[0])*frac[x]
	}
}
