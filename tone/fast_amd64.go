package tone

import "golang.org/x/sys/cpu"

// fast may be set to false by tests.
var fast = cpu.X86.HasAVX2

// fastApply makes what it can of the row and returns how much; beyond tells which pixels
// of that have to be brought into the gamut.
func fastApply(r, g, b, fa, fb []float32, beyond []byte) int {
	n := len(r) &^ 7
	if !fast || n == 0 {
		return 0
	}
	_, _, _, _, _ = g[n-1], b[n-1], fa[n-1], fb[n-1], beyond[n/8-1]
	applyRowAVX2(&r[0], &g[0], &b[0], &fa[0], &fb[0], &beyond[0], n)
	return n
}

// fastRemap makes what it can of a row and returns how much.
func fastRemap(dst, src, curved []float32, g, gain float32) int {
	n := len(dst) &^ 7
	if !fast || n == 0 {
		return 0
	}
	_, _ = src[n-1], curved[n-1]
	remapRowAVX2(&dst[0], &src[0], &curved[0], g, gain, n)
	return n
}

// fastNear makes what it can of a row and returns how much.
func fastNear(out, gauss, p, up []float32, weight, g, inv float32, first, final bool) int {
	n := len(out) &^ 7
	if !fast || n == 0 {
		return 0
	}
	_, _, _ = gauss[n-1], p[n-1], up[n-1]
	addNearAVX2(&out[0], &gauss[0], &p[0], &up[0], weight, g, inv, ones(first), ones(final), n)
	return n
}

func ones(b bool) uint32 {
	if b {
		return 1<<32 - 1
	}
	return 0
}
