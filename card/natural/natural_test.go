package natural

import (
	"slices"
	"testing"
)

func TestCompare(t *testing.T) {
	want := []string{
		"100A/LF_9.DNG", "100A/LF_10.DNG", "100a/lf_11.dng", "100AB/LF_1.DNG", "101A/LF_1.DNG",
		"IMG_2", "IMG_02", "IMG_002x", "Küche 2", "Küche 10",
	}
	slices.SortFunc(want[5:7], Compare) // equal numbers: the plain order decides
	for i := range want {
		for j := range want {
			c := Compare(want[i], want[j])
			if (c < 0) != (i < j) || (c > 0) != (i > j) {
				t.Errorf("Compare(%q, %q) = %d", want[i], want[j], c)
			}
		}
	}
}
