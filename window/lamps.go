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

const (
	shadeShare = 0.03 // of the picture: the largest
	shadeCool  = 0.35 // log2(red/blue): a lamp is no cooler than the room that it lights, but for the colour of its walls
	shadeTwin  = 0.85 // of its pixels have a twin beyond the axis
	shadeEven  = 0.75 // of the variance of its light is the same on both sides
	shadeGlow  = 0.16 // EV^2: a flat white says nothing
)

// isShade says whether a region looks like a lit shade that stands upright: a body of
// revolution, so that both its outline and its light are the same to the left of its axis as to
// the right. The outside isn't, but for a flat sky, which has no light and shade to compare.
func (s *scene) isShade(g *group) bool {
	if g.share > shadeShare || g.warmth < -shadeCool {
		return false
	}
	in := make(map[int32]bool, len(g.pix))
	sum := 0
	for _, i := range g.pix {
		in[i] = true
		sum += int(i) % s.w
	}
	axis := int(2*float64(sum)/float64(len(g.pix)) + 0.5) // twice its place
	for a := axis - 2; a <= axis+2; a++ {
		var n, sum, squares, apart float64
		for _, i := range g.pix {
			x := int(i) % s.w
			j := i + int32(a-2*x)
			if m := a - x; m < 0 || m >= s.w || !in[j] {
				continue
			}
			v, d := float64(s.log.Pix[i])-s.room, float64(s.log.Pix[i]-s.log.Pix[j])
			n, sum, squares, apart = n+1, sum+v, squares+v*v, apart+d*d
		}
		if n < shadeTwin*float64(len(g.pix)) {
			continue
		}
		v := squares/n - sum*sum/(n*n)
		if v > shadeGlow && 1-apart/n/2/v > shadeEven {
			return true
		}
	}
	return false
}
