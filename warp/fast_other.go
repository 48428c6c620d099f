//go:build !amd64

package warp

const fast = false

func fastEncode(dst, src []float32, pedestal float32) int { return 0 }

func fastDecode(dst []float32, pedestal float32) int { return 0 }

func fast6(out, block []float32, stride int, places []place, k *kernel) bool { return false }

func fast24(out, block []float32, stride int, places []place, kx, ky *kernel) bool { return false }

func fastExtremes([]float32, []float32, []float32, int, []place, int, int) bool { return false }

func fastBound([]float32, []float32, []float32) int { return 0 }
