package raster

import (
	"slices"
	"testing"
)

// Exif 2.32, tag 0112: 6 says that the stored row 0 is the right-hand side as seen
// and the stored column 0 the top, and so on.
func TestUpright(t *testing.T) {
	p := New(3, 2)
	copy(p.Pix, []float32{1, 2, 3, 4, 5, 6})
	for orientation, want := range map[int][]float32{
		0: {1, 2, 3, 4, 5, 6},
		1: {1, 2, 3, 4, 5, 6},
		2: {3, 2, 1, 6, 5, 4},
		3: {6, 5, 4, 3, 2, 1},
		4: {4, 5, 6, 1, 2, 3},
		5: {1, 4, 2, 5, 3, 6},
		6: {4, 1, 5, 2, 6, 3},
		7: {6, 3, 5, 2, 4, 1},
		8: {3, 6, 2, 5, 1, 4},
	} {
		if got := Upright(p, orientation); !slices.Equal(got.Pix[:6], want) {
			t.Errorf("orientation %d: %v, want %v", orientation, got.Pix[:6], want)
		}
	}
}
