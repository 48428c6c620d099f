package deliver

// The two rows that coding spends most on exist twice: in Go, which says what they
// compute and serves every processor, and in AVX2 (rows_amd64.s, written by
// internal/avo). Both give the same to the last bit.

//go:generate sh -c "cd ../internal/avo && go run ./deliver -out ../../deliver/rows_amd64.s -stubs ../../deliver/rows_amd64.go -pkg deliver"

// detailRow writes what sharpening adds to the middle one of three rows of luma: the
// difference from the 3 x 3 binomial mean, cored and limited. column has the sum of the
// three rows, 1 2 1, with a border of one.
func detailRow(add, up, mid, down, column []float32, amount float32) {
	w := len(mid)
	detailGo(add, up, mid, down, column, amount, 0, min(1, w))
	n := 1 + fastDetail(add, up, mid, down, column, amount)
	detailGo(add, up, mid, down, column, amount, n, w)
}

func detailGo(add, up, mid, down, column []float32, amount float32, from, to int) {
	for x := from; x < to; x++ {
		l := mid[x]
		d := l - (column[x]+2*column[x+1]+column[x+2])*(1./16)
		d2 := d * d
		d *= amount * d2 / (d2 + coring*coring)
		if d > haloLimit/4 || d < -haloLimit/4 {
			d = limit(d, l, x, up, mid, down)
		}
		add[x] = d
	}
}

// limit keeps l + d within the halo limit of the neighbourhood's range.
func limit(d, l float32, x int, up, mid, down []float32) float32 {
	lo, hi := l, l
	x0, x1 := max(0, x-1), min(len(mid)-1, x+1)
	for _, v := range [9]float32{up[x0], up[x], up[x1], mid[x0], l, mid[x1], down[x0], down[x], down[x1]} {
		if v < lo {
			lo = v
		} else if v > hi {
			hi = v
		}
	}
	room := float32(haloLimit * haloRange / (haloRange + hi - lo))
	return max(lo-room, min(hi+room, l+d)) - l
}

// quantiseRow writes the bytes of a row of codes 0..1, three a pixel: a code plus add,
// and spread from start on to choose between two bytes.
func quantiseRow(out []byte, rgb *[3][]float32, add, spread []float32, start *[3]float32) {
	n := fastQuantise(out, rgb, add, spread, start)
	quantiseGo(out, rgb, add, spread, start, n)
}

func quantiseGo(out []byte, rgb *[3][]float32, add, spread []float32, start *[3]float32, from int) {
	for k, in := range rgb {
		o := out[k:]
		for x := from; x < len(spread); x++ {
			u := spread[x] + start[k]
			if u >= 1 {
				u--
			}
			// u is in [0, 1): the floor of v + u has the mean v. The small margin
			// keeps an exact code from slipping by rounding.
			v := (in[x]+add[x])*255 + u*0.998 + 0.001
			switch {
			case v < 0:
				o[3*x] = 0
			case v >= 255:
				o[3*x] = 255
			default:
				o[3*x] = byte(v)
			}
		}
	}
}
