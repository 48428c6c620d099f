//go:build !amd64

package removal

const fast = false

func fastDiffer(a, b, weight []float32, stride int, limit float32) (sum, squares, n float32) {
	return differGo(a, b, weight, stride, limit)
}
