package whitebalance

import (
	"cmp"
	"math/rand/v2"
	"slices"
	"testing"
)

func TestBySteps(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	links := make([]link, 5000)
	for i := range links {
		links[i] = link{float32(r.IntN(400)) * r.Float32() / 400, int32(i), int32(i + 1)}
		if i%7 == 0 {
			links[i].step = float32(i%70) / 70
		}
	}
	want := slices.Clone(links)
	slices.SortStableFunc(want, func(p, q link) int { return cmp.Compare(p.step, q.step) })
	if bySteps(links); !slices.Equal(links, want) {
		t.Error("the links are not in order of their steps")
	}
}
