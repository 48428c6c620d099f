//go:build !amd64

package tone

var fast = false

func fastApply(r, g, b, fa, fb []float32, beyond []byte) int { return 0 }

func fastRemap(dst, src, curved []float32, g, gain float32) int { return 0 }

func fastNear(out, gauss, p, up []float32, weight, g, inv float32, first, final bool) int { return 0 }
