package bracket

import (
	"context"
	"math"
	"slices"
	"sync"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// In a bracket from the hand the scene moves over the sensor and its hot photosites
// don't: what stands alone at the same place of the sensor in two frames that saw
// different things there is the sensor's own. The sites are mended in every frame before
// it is interpolated, which would make a cross of each.

// sites are places of the sensor, row by row.
type sites []place

type place struct{ x, y int }

// hotMoved finds the sites of a bracket that moved.
func (m *merger) hotMoved(ctx context.Context) error {
	if m.still || m.ref.frame.Kind != rawfile.KindMosaic || len(m.shots) < 2 {
		return ctx.Err()
	}
	seen := map[place][]int{} // the shots in which a place stands alone
	for i, s := range m.shots {
		if i < len(m.shots)-3 { // the longest exposures show the most
			continue
		}
		found, err := s.lonely(ctx)
		if err != nil {
			return err
		}
		for _, p := range found {
			seen[p] = append(seen[p], i)
		}
	}
	for p, shots := range seen {
		if m.passed(p, shots) {
			m.hot = append(m.hot, p)
		}
	}
	slices.SortFunc(m.hot, func(a, b place) int {
		if a.y != b.y {
			return a.y - b.y
		}
		return a.x - b.x
	})
	m.noteHot(len(m.hot))
	return nil
}

// passed is true when two of the shots saw different things at a place: the scene moved
// by more than a photosite's neighbourhood between them.
func (m *merger) passed(p place, shots []int) bool {
	const least = 3 // pixels
	var at [][2]float64
	for _, i := range shots {
		x, y := float64(p.x)/float64(m.step), float64(p.y)/float64(m.step)
		u, v := m.shots[i].warp.at(x, y)
		at = append(at, [2]float64{(u - x) * float64(m.step), (v - y) * float64(m.step)})
	}
	for i := range at {
		for j := range i {
			if math.Hypot(at[i][0]-at[j][0], at[i][1]-at[j][1]) >= least {
				return true
			}
		}
	}
	return false
}

// lonely lists the photosites of a frame that stand alone.
func (s *shot) lonely(ctx context.Context) (sites, error) {
	f := s.frame.Mosaic
	at := func(x, y int) float32 { return normal(f, x, y) }
	var mu sync.Mutex
	var all sites
	err := raster.Bands(ctx, f.H, func(y0, y1 int) {
		for y := max(4, y0); y < min(f.H-4, y1); y++ {
			row := f.Pix[y*f.W : (y+1)*f.W]
			up, down := f.Pix[(y-2)*f.W:], f.Pix[(y+2)*f.W:]
			for k := range 2 {
				n := s.noise[f.CFA[y&1][k]]
				black := f.Black[y&1][k]
				span := f.White - black
				floor := span * float32(10*math.Sqrt(n.at(0)))
				variance := func(v float32) float32 { return float32(n.at(float64(v))) }
				for x := 4 + k; x < f.W-4; x += 2 {
					v := float32(row[x]) - black
					a := float32(row[x-2]) + float32(row[x+2]) - 2*black
					b := float32(up[x]) + float32(down[x]) - 2*black
					hot := v > floor && v > 1.3*a && v > 1.3*b
					if !hot && !(a > 2*floor && v < 0.35*a && v < 0.35*b) {
						continue
					}
					if _, _, ok := lone(at, variance, x, y); ok {
						mu.Lock()
						all = append(all, place{x, y})
						mu.Unlock()
					}
				}
			}
		}
	})
	return all, err
}

// mend replaces the sites in a part of a normalised mosaic by the median of their
// neighbours of the same colour.
func (h sites) mend(p *raster.Plane, at rect) {
	from, _ := slices.BinarySearchFunc(h, at.y0, func(p place, y int) int { return p.y - y })
	for _, s := range h[from:] {
		if s.y >= at.y1 {
			return
		}
		x, y := s.x-at.x0, s.y-at.y0
		if x < 2 || y < 2 || x >= p.W-2 || y >= p.H-2 {
			continue
		}
		same := ring(p.At, x, y, 2)
		p.Row(y)[x] = (same[3] + same[4]) / 2
	}
}
