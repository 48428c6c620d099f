package window

import "mullion/internal/raster"

// The green of a lamp, EV above the mean of red and blue, is bounded by its warmth: 0.45
// at a warmth of 2.4 for a black body of 2700 K, 0.82 at 4.3 for one of 1900 K (the
// Planckian locus after Kim et al., in BT.2020). A lawn has 0.8 at a warmth of 0.8.
func mayBeLamp(warm, green float32) bool { return green < 0.15+0.35*max(0, warm) }

// findLamps marks lamps and their shades, which may hang before a window: warm
// bright regions that are smooth inside or round. Warm things in the garden, a
// brick wall in the sun, have texture and corners; a lawn is green.
func (s *scene) findLamps() {
	warm := make([]bool, s.w*s.h)
	for i, l := range s.log.Pix {
		warm[i] = float64(l) > s.room+brightEV && float64(s.warm.Pix[i]) > s.tint+maxWarmth && mayBeLamp(s.warm.Pix[i], s.leaf.Pix[i])
	}
	s.lamp = make([]bool, len(warm))
	for _, c := range components(warm, warm, s.w, s.h) {
		if len(c) < 12 {
			continue
		}
		g := &group{pix: c}
		s.measure(g)
		if g.texture > 0.06 && g.round < 0.8 || g.solid < 0.7 {
			continue
		}
		for _, i := range c {
			s.lamp[i] = true
		}
	}
}

// lampPlane is 1 on lamps. The caller puts it back.
func (s *scene) lampPlane() *raster.Plane {
	p := raster.Get(s.w, s.h)
	for i, on := range s.lamp {
		p.Pix[i] = 0
		if on {
			p.Pix[i] = 1
		}
	}
	return p
}
