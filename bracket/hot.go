package bracket

import (
	"context"
	"fmt"
	"slices"
	"sync"

	"mullion/finding"
	"mullion/internal/raster"
	"mullion/rawfile"
)

// mendHot finds photosites that stand alone and replaces them by the median of
// their neighbours of the same colour. Light that falls on one photosite falls on
// the next ones of the other colours too, since no lens draws finer than that; an
// excess (or a lack) that none of them shares is the site's own. That the merge saw
// it in every frame tells it from noise.
func (m *merger) mendHot(ctx context.Context) error {
	p := m.out.Mosaic
	type site struct {
		x, y int
		v    float32
	}
	var mu sync.Mutex
	var found []site
	err := raster.Bands(ctx, p.H, func(y0, y1 int) {
		for y := max(2, y0); y < min(p.H-2, y1); y++ {
			row, up, down := p.Row(y), p.Row(y-2), p.Row(y+2)
			for x := 2; x < len(row)-2; x++ {
				v := row[x]
				hi := 1.3 * (row[x-2] + row[x+2])
				lo := 0.35 * (row[x-2] + row[x+2])
				if (v <= hi || v <= 1.3*(up[x]+down[x])) && (v >= lo || v >= 0.35*(up[x]+down[x])) {
					continue
				}
				if w, ok := m.alone(p, x, y); ok {
					mu.Lock()
					found = append(found, site{x, y, w})
					mu.Unlock()
				}
			}
		}
	})
	if err != nil {
		return err
	}
	for _, s := range found {
		p.Row(s.y)[s.x] = s.v
	}
	m.noteHot(len(found))
	return nil
}

func (m *merger) noteHot(n int) {
	if n == 0 {
		return
	}
	what := fmt.Sprintf("%d photosites of the sensor are hot or dead; they were", n)
	if n == 1 {
		what = "1 photosite of the sensor is hot or dead; it was"
	}
	m.note("hot-photosites", finding.Note, float64(n), "photosites", "%s filled from the neighbours. Nothing to do.", what)
}

// alone tells whether a photosite differs from its same-coloured neighbours in a
// way that the photosites between do not share, and what to put there.
func (m *merger) alone(p *raster.Plane, x, y int) (float32, bool) {
	mid, hot, ok := lone(p.At, m.out.Noise.VarAt, x, y)
	return mid, ok && m.everywhere(x, y, mid, hot)
}

// lone is alone for samples at any place, whose variance by value is given: the median of
// the neighbours, and whether the site is hot rather than dead.
func lone(at func(x, y int) float32, variance func(v float32) float32, x, y int) (mid float32, hot, ok bool) {
	v := at(x, y)
	same := ring(at, x, y, 2)
	mid = (same[3] + same[4]) / 2
	sd := sqrt(variance(max(mid, 0)))
	diff := v - mid
	if abs(diff) < 10*sd || (diff > 0 && (v < 2.2*mid || v < 1.5*same[7])) || (diff < 0 && v > 0.4*same[0]) {
		return 0, false, false
	}
	// Leaves and grain: the neighbours differ among themselves as much.
	if same[6]-same[1] > 0.4*abs(diff) {
		return 0, false, false
	}
	// What the neighbours of the other colours show, against their own like.
	for dy := -1; dy <= 1; dy++ {
		for dx := -1; dx <= 1; dx++ {
			if (dx == 0) == (dy == 0) {
				continue
			}
			own := ring(at, x+dx, y+dy, 2)
			n := at(x+dx, y+dy)
			base := (own[3] + own[4]) / 2
			if abs(n-base) > 0.03*abs(diff)*max(0.2, min(1, base/max(mid, 1e-9))) && abs(n-base) > 3*sqrt(variance(max(base, 0))) {
				return 0, false, false
			}
		}
	}
	return mid, diff > 0, true
}

// everywhere checks a suspect in the frames: the excess must be there in each that
// would show it.
func (m *merger) everywhere(x, y int, mid float32, hot bool) bool {
	var asked, agreed int
	for _, s := range m.shots {
		f := s.frame.Mosaic
		n := normal(f, x, y)
		want := float64(mid / s.gain)
		if want > 0.9 {
			continue
		}
		sd := s.noise[f.CFA[y&1][x&1]]
		d := float64(n) - want
		if !hot {
			d = -d
		}
		// A frame too dark to show it has no vote.
		if e := d * d; e > 25*sd.at(want) {
			agreed++
			asked++
		} else if want*want > 100*sd.at(want) {
			asked++
		}
	}
	return agreed > 0 && agreed*2 > asked
}

func normal(f *rawfile.Mosaic, x, y int) float32 {
	b := f.Black[y&1][x&1]
	return (float32(f.Pix[y*f.W+x]) - b) / (f.White - b)
}

// ring returns the eight samples around (x, y) at distance d, in rising order.
func ring(at func(x, y int) float32, x, y, d int) [8]float32 {
	r := [8]float32{at(x-d, y-d), at(x, y-d), at(x+d, y-d), at(x-d, y),
		at(x+d, y), at(x-d, y+d), at(x, y+d), at(x+d, y+d)}
	slices.Sort(r[:])
	return r
}
