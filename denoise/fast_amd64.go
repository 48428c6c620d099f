package denoise

import "golang.org/x/sys/cpu"

var fast = cpu.X86.HasAVX2 && cpu.X86.HasFMA

// fastShrinkRow is shrinkRowGo; false when the processor can't.
func fastShrinkRow(sum, weight, in []float32, n int, limit *[64]float32) bool {
	if !fast || n <= 0 {
		return false
	}
	last := (n-1)*pace + 7*padded + 7
	_, _, _ = sum[last], weight[last], in[last]
	shrinkRowAVX2(&sum[0], &weight[0], &in[0], padded, n, &limit[0], &window[0])
	return true
}
