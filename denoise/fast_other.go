//go:build !amd64

package denoise

const fast = false

func fastShrinkRow(sum, weight, in []float32, n int, limit *[64]float32) bool { return false }
