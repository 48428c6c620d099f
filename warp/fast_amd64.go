package warp

import "golang.org/x/sys/cpu"

var fast = cpu.X86.HasAVX2 && cpu.X86.HasFMA

// fastEncode encodes the samples that make whole vectors and returns how many.
func fastEncode(dst, src []float32, pedestal float32) int {
	n := len(dst) &^ 7
	if !fast || n == 0 {
		return 0
	}
	_ = src[n-1]
	encodeAVX2(&dst[0], &src[0], n, pedestal)
	return n
}

// fastDecode is the same for decodeRow.
func fastDecode(dst []float32, pedestal float32) int {
	n := len(dst) &^ 7
	if !fast || n == 0 {
		return 0
	}
	decodeAVX2(&dst[0], n, pedestal)
	return n
}

// fast6 is row6; false when the processor can't.
func fast6(out, block []float32, stride int, places []place, k *kernel) bool {
	if !fast || len(out) == 0 {
		return false
	}
	_ = places[len(out)-1]
	row6AVX2(&out[0], &block[0], stride, &places[0].at, &k.wide8[0], len(out), overshoot)
	return true
}

// fast24 is sumN for kernels of up to 24 taps; false when the processor can't.
func fast24(out, block []float32, stride int, places []place, kx, ky *kernel) bool {
	if !fast || len(out) == 0 || kx.n > 24 || ky.n > 24 {
		return false
	}
	_ = places[len(out)-1]
	row := row24AVX2
	switch {
	case kx.n <= 8:
		row = row8AVX2
	case kx.n <= 16:
		row = row16AVX2
	}
	row(&out[0], &block[0], stride, &places[0].at, &kx.wide24[0], &ky.wide24[0], ky.n, len(out))
	return true
}

// fastExtremes is extremes for windows 2 or 4 to 8 wide; false for others and when
// the processor can't.
func fastExtremes(lo, hi, block []float32, stride int, places []place, w, h int) bool {
	if !fast || len(lo) == 0 || w != 2 && w < 4 || w > 8 {
		return false
	}
	_, _ = hi[len(lo)-1], places[len(lo)-1]
	if w == 2 {
		extremes2AVX2(&lo[0], &hi[0], &block[0], stride, &places[0].at, h, len(lo))
	} else {
		extremesAVX2(&lo[0], &hi[0], &block[0], stride, &places[0].at, w-4, h, len(lo))
	}
	return true
}

// fastBound bounds the values that make whole vectors by the overshoot and returns how
// many.
func fastBound(out, lo, hi []float32) int {
	n := len(out) &^ 7
	if !fast || n == 0 {
		return 0
	}
	_, _ = lo[n-1], hi[n-1]
	boundAVX2(&out[0], &lo[0], &hi[0], n, overshoot)
	return n
}
