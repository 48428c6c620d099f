package window

import "mullion/internal/raster"

// findLamps marks lamps and their shades, which may hang before a window: warm
// bright regions that are smooth inside or round. Warm things in the garden, a
// brick wall in the sun, have texture and corners.
func (s *scene) findLamps() {
	warm := make([]bool, s.w*s.h)
	for i, l := range s.log.Pix {
		warm[i] = float64(l) > s.room+brightEV && float64(s.warm.Pix[i]) > s.tint+maxWarmth
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
