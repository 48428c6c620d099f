package simcam

import (
	"math"

	"mullion/internal/raster"
)

// quantile returns the q-quantile of the samples, interpolated between ranks
// (definition 7 of Hyndman & Fan, The American Statistician 50, 1996). Negative
// samples count as zero.
func quantile(p *raster.Plane, q float64) float64 {
	at := q * float64(p.W*p.H-1)
	lo := math.Floor(at)
	a := float64(ranked(p, int(lo)))
	if lo == at {
		return a
	}
	b := float64(ranked(p, int(lo)+1))
	return a + (at-lo)*(b-a)
}

// ranked returns the sample of the given rank. The bits of a positive float32
// sort like the number, so two counting passes over half the bits each find it.
func ranked(p *raster.Plane, rank int) float32 {
	count := make([]int, 1<<16)
	for y := range p.H {
		for _, v := range p.Row(y) {
			count[sortable(v)>>16]++
		}
	}
	high, rank := pick(count, rank)
	clear(count)
	for y := range p.H {
		for _, v := range p.Row(y) {
			if b := sortable(v); b>>16 == high {
				count[b&0xffff]++
			}
		}
	}
	low, _ := pick(count, rank)
	return math.Float32frombits(high<<16 | low)
}

func sortable(v float32) uint32 {
	if v > 0 {
		return math.Float32bits(v)
	}
	return 0
}

// pick returns the bucket that holds the sample of the given rank, and its rank
// within the bucket.
func pick(count []int, rank int) (bucket uint32, within int) {
	for i, n := range count {
		if rank < n {
			return uint32(i), rank
		}
		rank -= n
	}
	return uint32(len(count) - 1), 0
}
