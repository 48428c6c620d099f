package window

// A lit shade that stands upright is a body of revolution around a lamp: both its outline and
// its light are the same to the left of its axis as to the right, and along the axis its light
// grows without a jump to where the lamp is and falls again. Its sides are as straight as a
// window's, and in a room that is lit by its like it isn't warm. A view can be even too, a sky
// over trees, but it jumps from one to the other.
const (
	shadeShare = 0.03 // of the picture: the largest
	shadeCool  = 0.35 // log2(red/blue): a lamp is no cooler than the room that it lights, but for the colour of its walls
	shadeTwin  = 0.85 // of its pixels have a twin beyond the axis
	shadeEven  = 0.75 // of the variance of its light is the same on both sides
	shadeLong  = 0.6  // of its height is without a jump
	shadeJump  = 0.3  // EV from one row to the next
	shadeGlow  = 0.5  // EV from where it is brightest to both ends
	shadeRows  = 12   // rows: what is lower isn't judged
)

func (s *scene) isShade(g *group) bool {
	return g.share <= shadeShare && g.warmth >= -shadeCool && g.y1-g.y0 >= shadeRows && s.glows(g) && s.isEven(g)
}

// glows says whether the light along a region's axis has one gradual rise and fall.
func (s *scene) glows(g *group) bool {
	rows := make([][]float32, g.y1-g.y0)
	for _, i := range g.pix {
		y := int(i)/s.w - g.y0
		rows[y] = append(rows[y], s.log.Pix[i])
	}
	light := make([]float64, len(rows))
	for y, v := range rows {
		light[y] = median(v)
	}
	for from := 0; from < len(light); {
		to, top := from+1, light[from]
		for to < len(light) && len(rows[to]) > 0 && max(light[to]-light[to-1], light[to-1]-light[to]) < shadeJump {
			top = max(top, light[to])
			to++
		}
		if float64(to-from) >= shadeLong*float64(len(light)) {
			return top-max(light[from], light[to-1]) > shadeGlow
		}
		from = to
	}
	return false
}

// isEven says whether a region is the same to the left and to the right of an upright axis.
func (s *scene) isEven(g *group) bool {
	in := make(map[int32]bool, len(g.pix))
	x := 0
	for _, i := range g.pix {
		in[i] = true
		x += int(i) % s.w
	}
	axis := int(2*float64(x)/float64(len(g.pix)) + 0.5) // twice its place
	for a := axis - 2; a <= axis+2; a++ {
		var n, sum, squares, apart float64
		for _, i := range g.pix {
			x := int(i) % s.w
			j := i + int32(a-2*x)
			if a-x < 0 || a-x >= s.w || !in[j] {
				continue
			}
			v, d := float64(s.log.Pix[i])-s.room, float64(s.log.Pix[i]-s.log.Pix[j])
			n, sum, squares, apart = n+1, sum+v, squares+v*v, apart+d*d
		}
		if n >= shadeTwin*float64(len(g.pix)) && apart/2 < (1-shadeEven)*(squares-sum*sum/n) {
			return true
		}
	}
	return false
}
