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
