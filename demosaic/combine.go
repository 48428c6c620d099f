package demosaic

import "mullion/internal/raster"

// The directional average runs over five photosites on one side, nearest first.
// The weights fall off because a near difference tells more than a far one.
const (
	near0, near1, near2, near3, near4 = 0.36, 0.28, 0.18, 0.11, 0.07
)

// differences settles green minus the photosite's own colour at red and blue
// photosites: the four sides' averages, each weighed by the inverse square of how
// restless the differences are there.
func (b *band) differences() {
	h, w := b.mosaic.H, b.mosaic.W
	for y := 7; y < h-7; y++ {
		hd := b.horiz.Row(y)[:w]
		sh := b.smoothH.Row(y)[:w]
		su, sd := b.smoothV.Row(y - 2)[:w], b.smoothV.Row(y + 2)[:w]
		var v [9][]float32
		for i := range v {
			v[i] = b.vert.Row(y + i - 4)[:w]
		}
		out := b.diff.Row(y)[:w]
		first := 7 + (7+1-b.greenFirst(y))&1 // the first column that is not green
		for x := first; x < w-7; x += 2 {
			north := near0*v[4][x] + near1*v[3][x] + near2*v[2][x] + near3*v[1][x] + near4*v[0][x]
			south := near0*v[4][x] + near1*v[5][x] + near2*v[6][x] + near3*v[7][x] + near4*v[8][x]
			west := near0*hd[x] + near1*hd[x-1] + near2*hd[x-2] + near3*hd[x-3] + near4*hd[x-4]
			east := near0*hd[x] + near1*hd[x+1] + near2*hd[x+2] + near3*hd[x+3] + near4*hd[x+4]
			wn, ws := weight(su[x]), weight(sd[x])
			ww, we := weight(sh[x-2]), weight(sh[x+2])
			out[x] = (wn*north + ws*south + ww*west + we*east) / (wn + ws + ww + we)
		}
	}
}

// weight is the inverse square of a sum of gradients; the small constant keeps a
// perfectly flat side finite.
func weight(s float32) float32 { return 1 / (s*s + 1e-10) }

// write builds the three colours of the band's rows and takes them back to the own
// domain of the mosaic they come from.
func (b *band) write(out *raster.RGB, from *raster.Plane, flat Flatten) {
	w := b.mosaic.W
	red, blue := raster.Get(w, b.mosaic.H), raster.Get(w, b.mosaic.H)
	defer raster.Put(red, blue)
	for y := margin - 1; y < b.mosaic.H-margin+1; y++ {
		b.opposite(red.Row(y), y, 0)
		b.opposite(blue.Row(y), y, 2)
	}
	for y := b.y0; y < b.y1; y++ {
		b.writeRow(out, red, blue, y)
		for c := range out {
			first := 2
			for x, own := range b.cfa[y&1] {
				if int(own) == c {
					first = x
				}
			}
			flat.back(out[c].Row(y), from.Row(y), first)
		}
	}
}

// opposite fills a row with green minus the given colour at red and blue
// photosites: known at the colour's own, and at the other's found from the twelve
// nearest by the filter of the 2010 paper.
func (b *band) opposite(dst []float32, y int, colour uint8) {
	w := b.mosaic.W
	gy := (b.top + y) & 1
	first := (b.greenFirst(y) + 1) & 1 // padded parity of the row's red or blue
	own := b.cfa[gy][(first-margin)&1]
	d0 := b.diff.Row(y)[:w]
	dst = dst[:w]
	from := 8 + (8+first)&1
	if own == colour {
		for x := from; x < w-8; x += 2 {
			dst[x] = d0[x]
		}
		return
	}
	m3, m1 := b.diff.Row(y - 3)[:w], b.diff.Row(y - 1)[:w]
	p1, p3 := b.diff.Row(y + 1)[:w], b.diff.Row(y + 3)[:w]
	for x := from + 2; x < w-10; x += 2 { // column -1 of the mosaic to column W
		dst[x] = (10./32)*(m1[x-1]+m1[x+1]+p1[x-1]+p1[x+1]) -
			(1./32)*(m3[x-1]+m3[x+1]+p3[x-1]+p3[x+1]+m1[x-3]+m1[x+3]+p1[x-3]+p1[x+3])
	}
}

func (b *band) writeRow(out *raster.RGB, red, blue *raster.Plane, y int) {
	py := y - b.top
	m := b.mosaic.Row(py)[margin : margin+b.w]
	d := b.diff.Row(py)[margin : margin+b.w]
	r, g, bl := out[0].Row(y), out[1].Row(y), out[2].Row(y)
	rows := func(p *raster.Plane) (up, mid, down []float32) {
		return p.Row(py - 1)[margin-1:], p.Row(py)[margin-1:], p.Row(py + 1)[margin-1:]
	}
	ru, rm, rd := rows(red)
	bu, bm, bd := rows(blue)
	parity := (b.greenFirst(py) + margin) & 1 // column parity of green in this row
	for x := range m {
		if x&1 == parity {
			g[x] = m[x]
			r[x] = m[x] - 0.25*(ru[x+1]+rd[x+1]+rm[x]+rm[x+2])
			bl[x] = m[x] - 0.25*(bu[x+1]+bd[x+1]+bm[x]+bm[x+2])
			continue
		}
		green := m[x] + d[x]
		g[x] = green
		r[x] = green - rm[x+1]
		bl[x] = green - bm[x+1]
	}
}
