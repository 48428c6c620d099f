package window

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// scene is the picture at reduced size: log2 luminance and a warm-cool axis.
type scene struct {
	w, h int
	log  *raster.Plane // log2 of BT.2020 luminance
	warm *raster.Plane // log2(red / blue)
	leaf *raster.Plane // log2(green) above the mean of log2(red) and log2(blue)
	top  float64       // log2 of the largest luminance, where clipping would be
	room float64       // the room's level: log2 luminance
	tint float64       // the room's median warmth
	lamp []bool        // lamps and shades, set by candidates
	lost *raster.Plane // how little was measured, 0 to 1; nil when unknown
}

func (s *scene) release() { raster.Put(s.log, s.warm, s.leaf, s.lost) }

// floor keeps the logarithm of black finite, 24 stops under the unit.
const floor = 1. / (1 << 24)

func reduce(ctx context.Context, img *raster.RGB, lost func() (*raster.Plane, error)) (*scene, error) {
	w, h := fit(img.W(), img.H(), longSide)
	var small raster.RGB
	for c := range small {
		p, err := raster.Shrink(ctx, img[c], w, h)
		if err != nil {
			return nil, err
		}
		small[c] = p
	}
	s := &scene{w: w, h: h, log: small[1], warm: small[0], leaf: small[2]}
	tops := make([]float32, h)
	err := raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			tops[y] = s.levelRow(y)
		}
	})
	if err != nil {
		return nil, err
	}
	s.top = float64(slices.Max(tops))
	done := make(chan struct{})
	go func() { // one core's work
		s.findRoom()
		close(done)
	}()
	clipped, err := lost()
	if err == nil && clipped != nil {
		if clipped.W != img.W() || clipped.H != img.H() {
			err = ErrLost
		} else {
			s.lost, err = raster.Shrink(ctx, clipped, w, h)
		}
	}
	<-done
	if err != nil {
		return nil, err
	}
	return s, nil
}

// levelRow turns a row of red, green and blue, which lie in warm, log and leaf, into what
// these are to hold. It returns the largest luminance.
func (s *scene) levelRow(y int) (top float32) {
	red, green, blue := s.warm.Row(y), s.log.Row(y), s.leaf.Row(y)
	red, blue = red[:len(green)], blue[:len(green)]
	top = float32(math.Inf(-1))
	for x, g := range green {
		r, b := max(red[x], floor), max(blue[x], floor)
		l := log2(0.2627*r + 0.6780*g + 0.0593*b)
		lr, lb := log2(r), log2(b)
		green[x], red[x], blue[x] = l, lr-lb, log2(max(g, floor))-(lr+lb)/2
		if l > top {
			top = l
		}
	}
	return top
}

// findRoom finds the room's level and its warmth.
func (s *scene) findRoom() {
	s.room = roomLevel(s.log.Pix)
	tints := make([]float32, 0, len(s.log.Pix))
	for i, l := range s.log.Pix {
		if d := float64(l) - s.room; d > -1 && d < 1.5 {
			tints = append(tints, s.warm.Pix[i])
		}
	}
	s.tint = median(tints)
}

// fit scales w x h down to a long side of at most n.
func fit(w, h, n int) (int, int) {
	long := max(w, h)
	if long <= n {
		return w, h
	}
	f := float64(n) / float64(long)
	return max(1, int(float64(w)*f+0.5)), max(1, int(float64(h)*f+0.5))
}

// roomLevel is the median of what is not far above the median. Where the
// brightness falls into two camps parted by more than three stops, as with a
// wall of glass, the room is the lower camp.
func roomLevel(log []float32) float64 {
	v := slices.Clone(log)
	raster.Sort(v)
	n := len(v)
	if cut, ok := twoCamps(v); ok {
		return float64(v[cut/2])
	}
	for range 4 {
		limit := v[n/2] + 2.5
		k, _ := slices.BinarySearch(v, limit)
		if k == n {
			break
		}
		n = k
	}
	return float64(v[n/2])
}

// twoCamps splits sorted values where the variance between the two parts is
// largest (Otsu 1979) and says whether the parts are far apart and both large.
func twoCamps(v []float32) (int, bool) {
	var all float64
	for _, x := range v {
		all += float64(x)
	}
	n := float64(len(v))
	var sum, best float64
	var cut int
	var gap float64
	for i := 0; i < len(v)-1; i++ {
		sum += float64(v[i])
		k := float64(i + 1)
		d := (all-sum)/(n-k) - sum/k
		if between := k * (n - k) * d * d; between > best {
			best, cut, gap = between, i+1, d
		}
	}
	share := float64(cut) / n
	return cut, gap > 3 && share > 0.15 && share < 0.75
}

func median(v []float32) float64 { return quantile(v, 0.5) }

// quantile reorders v. NaN must not be among it.
func quantile(v []float32, q float64) float64 {
	if len(v) == 0 {
		return 0
	}
	return float64(pick(v, int(q*float64(len(v)-1))))
}

// pick is the k-th smallest of v, found by parting v around one of its values again and
// again (Hoare 1961); it reorders v.
func pick(v []float32, k int) float32 {
	for len(v) > 1 {
		p := v[len(v)/2]
		i, j := 0, len(v)-1
		for i <= j {
			for v[i] < p {
				i++
			}
			for v[j] > p {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			v = v[:j+1]
		case k >= i:
			v, k = v[i:], k-i
		default:
			return v[k]
		}
	}
	return v[0]
}
