package removal

import "golang.org/x/sys/cpu"

var fast = cpu.X86.HasAVX2

// fastDiffer is differGo where fast is true.
func fastDiffer(a, b, weight []float32, stride int, limit float32) (sum, squares, n float32) {
	last := (side-1)*stride + side - 1
	_, _, _ = a[last*chans+chans-1], b[last*chans+chans-1], weight[last]
	return differAVX2(&a[0], &b[0], &weight[0], stride, limit)
}
