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
	return int(math.Ceil(share * float64(w))), int(math.Ceil(share * float64(h)))
}
