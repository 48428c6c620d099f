package finish

import (
	"math"

	"mullion/deliver"
)

// A picture that is only delivered small is straight away resampled to not much
// more than that: everything after the resampling costs by the pixel. It stays
// larger than its deliveries by margin, because tones are made before the last
// reduction: a pixel that straddles a window's edge takes its mean after both
// sides have been brought into the picture's range, which leaves the edge smooth.
// It never falls below leastEdge, the size that windows and lights are surely
// found at.
const (
	margin    = 1.5
	leastEdge = 2400
	// worthwhile is the share of the whole size above which the whole is made.
	worthwhile = 0.75
)

// large reports whether a view may be worked on at several sizes: frame is that of its
// upright frame.
func large(frame [2]int) bool { return float64(max(frame[0], frame[1])) > leastEdge/worthwhile }

// needed returns the size at which a picture of w x h pixels is worked on for the
// given sheets, the whole size when there are none.
func needed(sheets []deliver.Sheet, w, h int) (int, int) {
	largest := 0.0
	for _, s := range sheets {
		largest = max(largest, s.Pixels.Share(w, h))
	}
	share := max(margin*largest, leastEdge/float64(max(w, h)))
	if len(sheets) == 0 || share > worthwhile {
		return w, h
	}
	return fitting(sheets, w, h, share)
}

// fitting is a size of at least a share of w x h from which every sheet's file gets the
// size that it would get from the whole, to the pixel.
func fitting(sheets []deliver.Sheet, w, h int, share float64) (int, int) {
	first := int(math.Ceil(share * float64(w)))
	proportional := func(x int) int { return int(math.Round(float64(x) * float64(h) / float64(w))) }
	for x := first; x < first+4; x++ {
		for _, more := range [3]int{0, -1, 1} {
			if y := proportional(x) + more; sameSizes(sheets, w, h, x, y) {
				return x, y
			}
		}
	}
	return first, proportional(first)
}

func sameSizes(sheets []deliver.Sheet, w, h, x, y int) bool {
	for _, s := range sheets {
		a, b := s.Pixels.Size(w, h)
		if c, d := s.Pixels.Size(x, y); a != c || b != d {
			return false
		}
	}
	return true
}
