//go:build !amd64

package deliver

var fast = false

func fastDetail(add, up, mid, down, column []float32, amount float32) int { return 0 }

func fastQuantise(out []byte, rgb *[3][]float32, add, spread []float32, start *[3]float32) int {
	return 0
}
