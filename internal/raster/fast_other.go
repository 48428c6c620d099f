//go:build !amd64

package raster

var fast = false

func fastWeigh(dst []float32, rows [][]float32, k []float32) int { return 0 }

func fastMean5(dst, a, b, c, d, e []float32) int { return 0 }

func fastMean3(dst, a, b, c []float32) int { return 0 }

func fastMean2(dst, a, b []float32) int { return 0 }

func fastHalve(dst, src []float32) int { return 0 }

func fastDouble(dst, src []float32) int { return 0 }

func fastSlide(dst, sum, in, out []float32, scale float32) int { return 0 }
