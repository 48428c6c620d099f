package raster

// The hottest rows exist twice: in Go, which says what they compute and serves every
// processor, and in AVX2 (rows_amd64.s, written by internal/avo). They add and multiply
// in the same order, so that both give the same to the last bit.

//go:generate sh -c "cd ../avo && go run ./raster -out ../raster/rows_amd64.s -stubs ../raster/rows_amd64.go -pkg raster"

// weigh writes the sum of rows times k to dst.
func weigh(dst []float32, rows [][]float32, k []float32) {
	weighGo(dst, rows, k, fastWeigh(dst, rows, k))
}

func weighGo(dst []float32, rows [][]float32, k []float32, from int) {
	dst = dst[from:]
	clear(dst)
	for j, c := range k {
		s := rows[j][from:][:len(dst)]
		for x := range dst {
			dst[x] += c * s[x]
		}
	}
}

// mean5 weighs five rows by 1 4 6 4 1.
func mean5(dst, a, b, c, d, e []float32) {
	n := fastMean5(dst, a, b, c, d, e)
	mean5Go(dst[n:], a[n:], b[n:], c[n:], d[n:], e[n:])
}

func mean5Go(dst, a, b, c, d, e []float32) {
	a, b, c, d, e = a[:len(dst)], b[:len(dst)], c[:len(dst)], d[:len(dst)], e[:len(dst)]
	for x := range dst {
		dst[x] = (a[x]+e[x])*(1./16) + (b[x]+d[x])*(4./16) + c[x]*(6./16)
	}
}

// mean3 weighs three rows by 1 6 1.
func mean3(dst, a, b, c []float32) {
	n := fastMean3(dst, a, b, c)
	mean3Go(dst[n:], a[n:], b[n:], c[n:])
}

func mean3Go(dst, a, b, c []float32) {
	a, b, c = a[:len(dst)], b[:len(dst)], c[:len(dst)]
	for x := range dst {
		dst[x] = (a[x]+c[x])*(1./8) + b[x]*(6./8)
	}
}

// mean2 is the mean of two rows.
func mean2(dst, a, b []float32) {
	n := fastMean2(dst, a, b)
	mean2Go(dst[n:], a[n:], b[n:])
}

func mean2Go(dst, a, b []float32) {
	a, b = a[:len(dst)], b[:len(dst)]
	for x := range dst {
		dst[x] = (a[x] + b[x]) * 0.5
	}
}

// halveInner is the inner part of halveRow: dst[i] from src[2i] to src[2i+4].
func halveInner(dst, src []float32) {
	n := fastHalve(dst, src)
	halveInnerGo(dst[n:], src[2*n:])
}

func halveInnerGo(dst, src []float32) {
	for x := range dst {
		s := src[2*x : 2*x+5 : 2*x+5]
		dst[x] = (s[0]+s[4])*(1./16) + (s[1]+s[3])*(4./16) + s[2]*(6./16)
	}
}

// doubleInner is the inner part of doubleRow: dst[2i] and dst[2i+1] from src[i] to
// src[i+2], len(src)-2 of them.
func doubleInner(dst, src []float32) {
	n := fastDouble(dst, src)
	doubleInnerGo(dst[2*n:], src[n:])
}

func doubleInnerGo(dst, src []float32) {
	for i := range len(src) - 2 {
		s, d := src[i:i+3:i+3], dst[2*i:2*i+2:2*i+2]
		d[0] = (s[0]+s[2])*(1./8) + s[1]*(6./8)
		d[1] = (s[1] + s[2]) * 0.5
	}
}

// slide moves a running sum of rows on: in joins, dst has the sum times scale, out leaves.
func slide(dst, sum, in, out []float32, scale float32) {
	n := fastSlide(dst, sum, in, out, scale)
	slideGo(dst[n:], sum[n:], in[n:], out[n:], scale)
}

func slideGo(dst, sum, in, out []float32, scale float32) {
	sum, in, out = sum[:len(dst)], in[:len(dst)], out[:len(dst)]
	for x := range dst {
		s := sum[x] + in[x]
		dst[x] = s * scale
		sum[x] = s - out[x]
	}
}
