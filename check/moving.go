package check

import (
	"context"
	"math"
	"slices"
)

// region is one place where something moved.
type region struct {
	share float64 // of the picture
	at    box
}

// How far two frames may differ although nothing moved, in log2: as one standard
// deviation. seed starts a region, grow continues it.
const (
	likeRaw      = .06 // evenness of the sites, flare, the shutter
	likeRendered = .14 // an unknown curve, compression
	stillEdge    = .12 // pixels
	movedEdge    = .35
	seedMotion   = 5.0
	growMotion   = 2.5
)

// measureMotion finds where frames that follow each other in exposure disagree.
func (v *seen) measureMotion(ctx context.Context) ([]region, error) {
	w, h := v.level.W, v.level.H
	seed, grow := make([]bool, w*h), make([]bool, w*h)
	if v.zoomed() {
		return nil, nil // everything did
	}
	for k := 0; k+1 < len(v.used); k++ {
		// All edges of a blurred frame differ from a sharp one's; that is said by itself.
		if max(v.sharp.frames[v.used[k]], v.sharp.frames[v.used[k+1]]) >= softerLook {
			continue
		}
		p, err := v.compare(ctx, v.used[k], v.used[k+1])
		if err != nil {
			return nil, err
		}
		tolerance := float32(likeRaw)
		if v.rendered {
			tolerance = likeRendered
		}
		p.mark(seed, grow, tolerance)
		v.flicker.look(p, v.frames[v.used[k]])
		p.release()
	}
	return v.moved(seed, grow, w, h), ctx.Err()
}

// mark sets the pixels whose 3 x 3 neighbourhood disagrees.
func (p *pair) mark(seed, grow []bool, tolerance float32) {
	w, h := p.diff.W, p.diff.H
	edge := float32(stillEdge)
	if p.moved {
		edge = movedEdge
	}
	for y := 1; y < h-1; y++ {
		for x := 1; x < w-1; x++ {
			var d, t, s float32
			n := float32(0)
			for v := y - 1; v <= y+1; v++ {
				dr, sr, tr := p.diff.Row(v), p.sigma.Row(v), p.steep.Row(v)
				for u := x - 1; u <= x+1; u++ {
					if dr[u] == blind {
						continue
					}
					d += dr[u]
					s += sr[u] * sr[u]
					t += tolerance + edge*tr[u]
					n++
				}
			}
			if n < 6 {
				continue
			}
			d, t, s = d/n, t/n, s/(n*n)
			if d < 0 {
				d = -d
			}
			if d <= growMotion*t {
				continue
			}
			z := d / float32(math.Sqrt(float64(s+t*t)))
			if z > growMotion {
				grow[y*w+x] = true
				if z > seedMotion {
					seed[y*w+x] = true
				}
			}
		}
	}
}

// moved joins what lies close together into regions, largest first.
func (v *seen) moved(seed, grow []bool, w, h int) []region {
	core := make([]bool, len(grow))
	for _, p := range patches(grow, w) {
		if !slices.ContainsFunc(p.pix, func(i int32) bool { return seed[i] }) || len(p.pix) < max(12, w*h/40000) {
			continue
		}
		if v.rendered && !thick(grow, w, p.pix) {
			continue // the seams that a camera's sharpening leaves along edges
		}
		for _, i := range p.pix {
			core[i] = true
		}
	}
	var out []region
	for _, p := range patches(grown(core, w, max(2, w/100)), w) {
		n := 0
		x0, y0, x1, y1 := w, h, 0, 0
		for _, i := range p.pix {
			if core[i] {
				n++
				x, y := int(i)%w, int(i)/w
				x0, x1, y0, y1 = min(x0, x), max(x1, x+1), min(y0, y), max(y1, y+1)
			}
		}
		out = append(out, region{float64(n) / float64(w*h), seenAt(v.info.Orientation, w, h, x0, y0, x1, y1)})
	}
	slices.SortFunc(out, func(a, b region) int {
		if a.share > b.share {
			return -1
		}
		return 1
	})
	return out
}

// thick reports whether a patch is somewhere five pixels wide both ways, more or less.
func thick(in []bool, w int, pix []int32) bool {
	h := len(in) / w
	return slices.ContainsFunc(pix, func(i int32) bool {
		x, y := int(i)%w, int(i)/w
		if x < 2 || y < 2 || x >= w-2 || y >= h-2 {
			return false
		}
		n := 0
		for v := y - 2; v <= y+2; v++ {
			for u := x - 2; u <= x+2; u++ {
				if in[v*w+u] {
					n++
				}
			}
		}
		return n >= 22
	})
}

// movedShare is the part of the picture that moved.
func (v *seen) movedShare() float64 {
	sum := 0.
	for _, r := range v.moving {
		sum += r.share
	}
	return sum
}
