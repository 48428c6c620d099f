package bracket

import (
	"context"
	"math"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// saturated marks a proof sample under which at least one photosite clips.
const saturated = 2

// clipAt is the share of the white level from which a sample counts as clipped
// on a proof.
const clipAt = 0.97

// proof is a frame reduced for decisions: the mean of the green samples of every
// step x step block, linear, 0 black and 1 clipping.
type proof struct {
	lin  *raster.Plane
	s, o float32 // variance of a sample: s*x + o
	// share of samples that are saturated, and that are well exposed
	clipped, good float64
}

func (p *proof) release() {
	if p != nil {
		raster.Put(p.lin)
	}
}

// proofStep chooses the block: about a megapixel and a half is enough to find a
// shift to a twentieth of a pixel, and small enough to be quick.
func proofStep(w, h int) int {
	step := 2
	for w/step*(h/step) > 1_700_000 {
		step += 2
	}
	return step
}

func (m *merger) makeProofs(ctx context.Context) error {
	m.step = proofStep(m.shots[0].w, m.shots[0].h)
	if err := m.measureNoise(ctx); err != nil {
		return err
	}
	for _, s := range m.shots {
		if err := s.makeProof(ctx, m.step); err != nil {
			return err
		}
	}
	return nil
}

func (s *shot) makeProof(ctx context.Context, step int) error {
	s.proof.release()
	w, h := s.w/step, s.h/step
	p := &proof{lin: raster.Get(w, h)}
	n := float64(step * step)
	var err error
	switch s.frame.Kind {
	case rawfile.KindMosaic:
		n /= 2
		err = proofMosaic(ctx, p.lin, s.frame.Mosaic, step)
	case rawfile.KindCameraRGB:
		err = proofRGB(ctx, p.lin, s.frame.RGB, nil, step)
	default:
		err = proofRGB(ctx, p.lin, s.frame.Coded.RGB, s.curves, step)
	}
	if err != nil {
		return err
	}
	p.s, p.o = float32(s.noise[1].s/n), float32(s.noise[1].o/n)
	if s.frame.Kind == rawfile.KindDisplay {
		// Neighbouring pixels of a rendered file share their errors.
		p.s, p.o = float32(s.noise[1].s/2), float32(s.noise[1].o/2)
	}
	p.count()
	s.proof = p
	return nil
}

func (p *proof) count() {
	var clipped, good int
	for y := range p.lin.H {
		for _, v := range p.lin.Row(y) {
			if v >= saturated {
				clipped++
			} else if v < 0.9 && v*v > 64*(p.s*v+p.o) && v > 0 {
				good++
			}
		}
	}
	n := float64(p.lin.W * p.lin.H)
	p.clipped, p.good = float64(clipped)/n, float64(good)/n
}

// brightness orders frames of unknown exposure: the mean log2 of the samples,
// clipped ones counting as white.
func (p *proof) brightness() float64 {
	var sum float64
	var n int
	for y := 0; y < p.lin.H; y += 2 {
		row := p.lin.Row(y)
		for x := 0; x < len(row); x += 2 {
			sum += math.Log2(float64(max(1e-4, min(1, row[x]))))
			n++
		}
	}
	return sum / float64(max(1, n))
}

func proofMosaic(ctx context.Context, dst *raster.Plane, m *rawfile.Mosaic, step int) error {
	var black float32
	for i := range 4 {
		if m.CFA[i>>1][i&1] == 1 {
			black += m.Black[i>>1][i&1] / 2
		}
	}
	clip := uint16(black + clipAt*(m.White-black))
	scale := 2 / (float32(step*step) * (m.White - black))
	off := -black / (m.White - black)
	g0, g1 := 0, 0 // column of green in even and odd rows
	if m.CFA[0][0] != 1 {
		g0 = 1
	}
	if m.CFA[1][0] != 1 {
		g1 = 1
	}
	return raster.Bands(ctx, dst.H, func(y0, y1 int) {
		sum := make([]uint32, dst.W)
		top := make([]uint16, dst.W)
		for y := y0; y < y1; y++ {
			clear(sum)
			clear(top)
			for j := range step {
				o := (y*step + j) * m.W
				g := g0
				if j&1 == 1 {
					g = g1
				}
				sumBlocks(sum, top, m.Pix[o:o+dst.W*step], step, g)
			}
			out := dst.Row(y)
			for x := range out {
				if top[x] >= clip {
					out[x] = saturated
					continue
				}
				out[x] = float32(sum[x])*scale + off
			}
		}
	})
}

// sumBlocks adds the green samples of one row, and the largest sample of any
// colour, to each block.
func sumBlocks(sum []uint32, top, row []uint16, step, green int) {
	if step == 2 {
		for x := range sum {
			p := row[2*x : 2*x+2 : 2*x+2]
			sum[x] += uint32(p[green&1])
			t := top[x]
			if p[0] > t {
				t = p[0]
			}
			if p[1] > t {
				t = p[1]
			}
			top[x] = t
		}
		return
	}
	for x := range sum {
		p := row[x*step : x*step+step]
		t, a := top[x], uint32(0)
		for i := 0; i+1 < len(p); i += 2 {
			q := p[i : i+2 : i+2]
			a += uint32(q[green&1])
			if q[0] > t {
				t = q[0]
			}
			if q[1] > t {
				t = q[1]
			}
		}
		sum[x] += a
		top[x] = t
	}
}

// proofRGB averages the green plane, through the curves of a rendered file when
// there are any.
func proofRGB(ctx context.Context, dst *raster.Plane, m *raster.RGB, c *curves, step int) error {
	scale := 1 / float32(step*step)
	return raster.Bands(ctx, dst.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			out := dst.Row(y)
			clear(out)
			for j := range step {
				r, g, b := m[0].Row(y*step+j), m[1].Row(y*step+j), m[2].Row(y*step+j)
				for x := range out {
					var a, t float32
					for i := x * step; i < x*step+step; i++ {
						v := g[i]
						t = max(t, v, r[i], b[i])
						if c != nil {
							v = c.at(1, v)
						}
						a += v
					}
					if c != nil && t >= c.clipCode || c == nil && t >= clipAt {
						a = float32(math.Inf(1))
					}
					out[x] += a
				}
			}
			for x, v := range out {
				if v > 1e9 {
					out[x] = saturated
				} else {
					out[x] = v * scale
				}
			}
		}
	})
}
