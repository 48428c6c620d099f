package denoise

// The orthonormal cosine transform of 8 samples (type II), split into its even and
// odd half. Row k of the full matrix is cos((2n+1) k pi/16) / 2, the first / sqrt 8.
const (
	c0 = 0.35355339059327376 // cos(pi/4) / 2
	c1 = 0.4903926402016152  // cos(pi/16) / 2
	c2 = 0.46193976625564337
	c3 = 0.4157348061512726
	c5 = 0.2777851165098011
	c6 = 0.1913417161825449
	c7 = 0.09754516100806412
)

// forward8 transforms 8 samples a stride apart, in place.
func forward8(b *[64]float32, o, d int) {
	x0, x1, x2, x3 := b[o], b[o+d], b[o+2*d], b[o+3*d]
	x4, x5, x6, x7 := b[o+4*d], b[o+5*d], b[o+6*d], b[o+7*d]
	s0, s1, s2, s3 := x0+x7, x1+x6, x2+x5, x3+x4
	d0, d1, d2, d3 := x0-x7, x1-x6, x2-x5, x3-x4
	e0, e1, f0, f1 := s0+s3, s1+s2, s0-s3, s1-s2
	b[o] = c0 * (e0 + e1)
	b[o+4*d] = c0 * (e0 - e1)
	b[o+2*d] = c2*f0 + c6*f1
	b[o+6*d] = c6*f0 - c2*f1
	b[o+d] = c1*d0 + c3*d1 + c5*d2 + c7*d3
	b[o+3*d] = c3*d0 - c7*d1 - c1*d2 - c5*d3
	b[o+5*d] = c5*d0 - c1*d1 + c7*d2 + c3*d3
	b[o+7*d] = c7*d0 - c5*d1 + c3*d2 - c1*d3
}

// backward8 is the inverse.
func backward8(b *[64]float32, o, d int) {
	y0, y1, y2, y3 := b[o], b[o+d], b[o+2*d], b[o+3*d]
	y4, y5, y6, y7 := b[o+4*d], b[o+5*d], b[o+6*d], b[o+7*d]
	e0, e1 := c0*(y0+y4), c0*(y0-y4)
	f0, f1 := c2*y2+c6*y6, c6*y2-c2*y6
	s0, s1, s2, s3 := e0+f0, e1+f1, e1-f1, e0-f0
	d0 := c1*y1 + c3*y3 + c5*y5 + c7*y7
	d1 := c3*y1 - c7*y3 - c1*y5 - c5*y7
	d2 := c5*y1 - c1*y3 + c7*y5 + c3*y7
	d3 := c7*y1 - c5*y3 + c3*y5 - c1*y7
	b[o], b[o+7*d] = s0+d0, s0-d0
	b[o+d], b[o+6*d] = s1+d1, s1-d1
	b[o+2*d], b[o+5*d] = s2+d2, s2-d2
	b[o+3*d], b[o+4*d] = s3+d3, s3-d3
}

func forward(b *[64]float32) {
	for i := range 8 {
		forward8(b, i, 8)
	}
	for i := range 8 {
		forward8(b, 8*i, 1)
	}
}

func backward(b *[64]float32) {
	for i := range 8 {
		backward8(b, 8*i, 1)
	}
	for i := range 8 {
		backward8(b, i, 8)
	}
}
