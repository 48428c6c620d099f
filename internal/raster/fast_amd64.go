package raster

import "golang.org/x/sys/cpu"

// fast may be set to false by tests.
var fast = cpu.X86.HasAVX2

// Each of these does what it can of a row and returns how much.

func fastWeigh(dst []float32, rows [][]float32, k []float32) int {
	n := whole(len(dst), 32)
	if n == 0 || len(k) == 0 {
		return 0
	}
	for _, r := range rows[:len(k)] {
		_ = r[n-1]
	}
	weighAVX2(&dst[0], &rows[0], &k[0], len(k), n)
	return n
}

func fastMean5(dst, a, b, c, d, e []float32) int {
	n := whole(len(dst), 8)
	if n > 0 {
		_, _, _, _, _ = a[n-1], b[n-1], c[n-1], d[n-1], e[n-1]
		mean5AVX2(&dst[0], &a[0], &b[0], &c[0], &d[0], &e[0], n)
	}
	return n
}

func fastMean3(dst, a, b, c []float32) int {
	n := whole(len(dst), 8)
	if n > 0 {
		_, _, _ = a[n-1], b[n-1], c[n-1]
		mean3AVX2(&dst[0], &a[0], &b[0], &c[0], n)
	}
	return n
}

func fastMean2(dst, a, b []float32) int {
	n := whole(len(dst), 8)
	if n > 0 {
		_, _ = a[n-1], b[n-1]
		mean2AVX2(&dst[0], &a[0], &b[0], n)
	}
	return n
}

func fastHalve(dst, src []float32) int {
	n := whole(min(len(dst), len(src)/2-2), 8)
	if n > 0 {
		halveAVX2(&dst[0], &src[0], n)
	}
	return n
}

func fastDouble(dst, src []float32) int {
	n := whole(len(src)-2, 8)
	if n > 0 {
		_ = dst[2*n-1]
		doubleAVX2(&dst[0], &src[0], n)
	}
	return n
}

func fastSlide(dst, sum, in, out []float32, scale float32) int {
	n := whole(len(dst), 8)
	if n > 0 {
		_, _, _ = sum[n-1], in[n-1], out[n-1]
		slideAVX2(&dst[0], &sum[0], &in[0], &out[0], scale, n)
	}
	return n
}

// whole is how many of n samples make whole vectors.
func whole(n, vector int) int {
	if !fast || n < vector {
		return 0
	}
	return n - n%vector
}
