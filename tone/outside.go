package tone

import (
	"context"

	"mullion/internal/raster"
)

// The range of the view is drawn together so that it fits between the walls and
// white: differences between one part of it and another (a sunlit window, a
// shaded one; sky, garden) more than texture.
const (
	evenBright = 0.55
	evenDark   = 0.35
	evenFine   = 0.15
	evenSigma  = 0.012         // of the long side: what is wider is no texture
	glareFloor = float32(0.4)  // EV above the wall
	glassFrom  = float32(0.97) // coverage: what shows less of the outside may be a sill in the sun
	shadeStart = float32(-0.5) // EV above the wall: where the shadows of the view are drawn in
	shadeKept  = float32(0.45)
)

// The histogram of the view outside: bins a 16th of a stop wide.
const (
	histSteps = 16
	histFrom  = -24
	histBins  = 48 * histSteps
)

// lookOut measures what is seen through the windows: its mean, its histogram, and
// its local mean, which is the blur of coverage x level over the blur of coverage,
// so that the room never weighs in.
func (s *scene) lookOut(ctx context.Context) error {
	s.wide = raster.Get(s.w, s.h)
	s.hist = make([]float64, histBins)
	den := s.win.Clone()
	defer raster.Put(den)
	if err := s.count(ctx); err != nil {
		return err
	}
	width := evenSigma * float64(max(s.w, s.h))
	for _, p := range [2]*raster.Plane{s.wide, den} {
		if err := raster.Gauss(ctx, p, p, width); err != nil {
			return err
		}
	}
	return raster.Bands(ctx, s.h, func(y0, y1 int) {
		wide := s.wide.Pix[y0*s.w : y1*s.w]
		for i, d := range den.Pix[y0*s.w : y1*s.w] {
			wide[i] /= max(d, 1e-6)
		}
	})
}

// count finds the mean and the histogram of the view outside, and writes coverage x level
// to wide. Each band's sums are its own, so that they are the same on any number of cores.
func (s *scene) count(ctx context.Context) error {
	const rows = 64
	type sums struct {
		level, share float64
		hist         [histBins]int32
	}
	bands := make([]*sums, (s.h+rows-1)/rows)
	err := raster.BandsOf(ctx, s.h, rows, func(y0, y1 int) {
		b := &sums{}
		bands[y0/rows] = b
		log, wide := s.log.Pix[y0*s.w:y1*s.w], s.wide.Pix[y0*s.w:y1*s.w]
		for i, m := range s.win.Pix[y0*s.w : y1*s.w] {
			if m == 0 {
				wide[i] = 0
				continue
			}
			l := log[i]
			wide[i] = m * l
			b.level += float64(m * l)
			b.share += float64(m)
			if m > 0.7 {
				b.hist[max(0, min(histBins-1, int((l-histFrom)*histSteps)))]++
			}
		}
	})
	if err != nil {
		return err
	}
	var share float64
	for _, b := range bands {
		s.mean += b.level
		share += b.share
		for i, n := range b.hist {
			s.hist[i] += float64(n)
		}
	}
	s.mean /= max(share, 1e-9)
	return nil
}

// expose returns log2 luminance above the wall with both lights set: log + room -
// glow in the room, log + room + window - evening out in the windows.
func (s *scene) expose(ctx context.Context, roomEV, windowEV float64) (*raster.Plane, error) {
	lit := raster.Get(s.w, s.h)
	return lit, raster.Bands(ctx, s.h, func(y0, y1 int) {
		for i := y0 * s.w; i < y1*s.w; i++ {
			l := s.log.Pix[i]
			v := l + float32(roomEV)
			dim := glow(l, s.base.Pix[i], float32(roomEV))
			if s.win != nil && s.win.Pix[i] > 0 {
				v = s.through(v, l, s.win.Pix[i], s.wide.Pix[i], float32(windowEV))
				dim *= 1 - s.win.Pix[i]
			}
			lit.Pix[i] = v + dim
		}
	})
}

// through is open, the level of a place under the room's light, as it is seen where
// m of the place shows the outside.
func (s *scene) through(open, log, m, wide, windowEV float32) float32 {
	far := wide - float32(s.mean)
	even := float32(evenDark)
	if far > 0 {
		even = evenBright
	}
	v := open + m*(windowEV-evenFine*(log-wide)-even*far)
	// A sunlit sill taken for part of the view, and the view's own shadows, stay
	// light.
	if v < shadeStart {
		v = max(v, min(open, shadeStart+(v-shadeStart)*shadeKept))
	}
	// Glare around a window is half covered: it may come down towards the walls,
	// not below them.
	if floor := min(open, glareFloor); m < glassFrom && v < floor {
		v += (floor - v) * min(1, (glassFrom-m)*12)
	}
	return v
}
