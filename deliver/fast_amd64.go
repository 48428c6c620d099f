package deliver

import "golang.org/x/sys/cpu"

// fast may be set to false by tests.
var fast = cpu.X86.HasAVX2

// fastDetail makes what it can of the row from its second sample on and returns how much.
func fastDetail(add, up, mid, down, column []float32, amount float32) int {
	n := (len(mid) - 2) &^ 7
	if !fast || n <= 0 {
		return 0
	}
	_, _, _, _ = add[n], up[n+1], down[n+1], column[n+2]
	detailAVX2(&add[1], &up[1], &mid[1], &down[1], &column[2], amount, n)
	return n
}

// fastQuantise makes what it can of the row and returns how much: four bytes past that
// are written too, and may not lie in another row.
func fastQuantise(out []byte, rgb *[3][]float32, add, spread []float32, start *[3]float32) int {
	n := (len(spread) - 2) &^ 7
	if !fast || n <= 0 {
		return 0
	}
	_, _, _, _, _ = out[3*n+3], rgb[0][n-1], rgb[1][n-1], rgb[2][n-1], add[n-1]
	quantiseAVX2(&out[0], &rgb[0][0], &rgb[1][0], &rgb[2][0], &add[0], &spread[0], start, n)
	return n
}
