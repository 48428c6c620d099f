package raster

import "slices"

// Ranks says which number stands where in ascending order. Numbers are only parted into
// many boxes by their size; a box is sorted when it is asked for.
type Ranks struct {
	v      []float32 // box after box
	start  []int32   // where each begins, and the end
	sorted []bool
	lo     float32
	steps  float32 // boxes to a unit
}

// NewRanks parts finite numbers into boxes of 1/steps from lo to hi; what lies beyond is in
// the first and the last. v is not kept. Release gives the memory back.
func NewRanks(v []float32, lo, hi, steps float32) *Ranks {
	n := int((hi-lo)*steps) + 1
	r := &Ranks{v: take(max(1, len(v)))[:len(v)], start: make([]int32, n+1), sorted: make([]bool, n), lo: lo, steps: steps}
	for _, x := range v {
		r.start[r.box(x)+1]++
	}
	for i := range n {
		r.start[i+1] += r.start[i]
	}
	next := slices.Clone(r.start)
	for _, x := range v {
		k := &next[r.box(x)]
		r.v[*k] = x
		*k++
	}
	return r
}

// box goes up with x, or stays.
func (r *Ranks) box(x float32) int {
	x = (x - r.lo) * r.steps
	if !(x > 0) {
		return 0
	}
	return min(int(x), len(r.sorted)-1)
}

// Len is how many numbers there are.
func (r *Ranks) Len() int { return len(r.v) }

// Release gives the memory back.
func (r *Ranks) Release() { give(r.v) }

// At is the number before which k others stand.
func (r *Ranks) At(k int) float32 {
	b, found := slices.BinarySearch(r.start, int32(k))
	if !found {
		return r.in(b - 1)[k-int(r.start[b-1])]
	}
	for r.start[b+1] == r.start[b] { // empty boxes begin there too
		b++
	}
	return r.in(b)[0]
}

// Below is how many are smaller than x.
func (r *Ranks) Below(x float32) int {
	b := r.box(x)
	k, _ := slices.BinarySearch(r.in(b), x)
	return int(r.start[b]) + k
}

// in is a box in order.
func (r *Ranks) in(b int) []float32 {
	v := r.v[r.start[b]:r.start[b+1]]
	if !r.sorted[b] {
		Sort(v)
		r.sorted[b] = true
	}
	return v
}
