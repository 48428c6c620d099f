package bracket

import (
	"context"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// fuseRGB merges interpolated frames pixel by pixel, darkest first, one frame in
// memory at a time. All three channels of a pixel share one weight: different
// weights would tint edges.
func (m *merger) fuseRGB(ctx context.Context) error {
	w, h := m.ref.w, m.ref.h
	sum, weight := raster.NewRGB(w, h), raster.New(w, h)
	var alone *raster.RGB // regions that moved, from one frame each
	if m.moved != nil {
		alone = raster.NewRGB(w, h)
		defer raster.PutRGB(alone)
	}
	for i, s := range m.shots {
		p, err := m.develop(ctx, s)
		if err == nil && !s.warp.identity() {
			var q picture
			q, err = m.move(ctx, p, s.warp)
			p.release()
			p = q
		}
		if err != nil {
			return err
		}
		if err := m.add(ctx, sum, weight, p, s, i == 0); err != nil {
			return err
		}
		if alone != nil {
			if err := m.moved.take(ctx, alone, p, s.gain, i); err != nil {
				return err
			}
		}
		p.release()
	}
	err := raster.Bands(ctx, h, func(y0, y1 int) {
		soft := make([]float32, w)
		for y := y0; y < y1; y++ {
			wt := weight.Row(y)
			for c := range sum {
				row := sum[c].Row(y)
				for x := range row {
					row[x] /= wt[x]
				}
			}
			if alone != nil {
				m.moved.mixRow(sum, alone, soft, y)
			}
		}
	})
	if err != nil {
		return err
	}
	m.out.RGB = sum
	if m.ref.frame.Kind == rawfile.KindDisplay {
		m.out.Space = BT2020
		return toBT2020(ctx, sum, m.ref.frame.Coded.ToBT2020)
	}
	return nil
}

// faint is the trust of the last frame left: it gives a value where no other does.
const faint = 1e-6

// add adds one frame's pixels with weight t^2/Var, Var by the mean of the channels.
func (m *merger) add(ctx context.Context, sum *raster.RGB, weight *raster.Plane, p picture, s *shot, darkest bool) error {
	display := s.frame.Kind == rawfile.KindDisplay
	var cw *codeWeights
	if display {
		cw = s.curves.weights(s == m.shots[len(m.shots)-1])
	}
	g := s.gain
	sl, o := float32(s.noise[1].s)*g*g, float32(s.noise[1].o)*g*g
	return raster.Bands(ctx, sum.H(), func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			r, gr, b, tr := p.rgb[0].Row(y), p.rgb[1].Row(y), p.rgb[2].Row(y), p.trust.Row(y)
			sr, sg, sb, sw := sum[0].Row(y), sum[1].Row(y), sum[2].Row(y), weight.Row(y)
			for x, t := range tr {
				mean := (r[x] + 2*gr[x] + b[x]) / 4
				if s == m.ref && t < faint*faint {
					t = faint * faint
				}
				if darkest && t < faint && t > 0 || darkest && t == 0 && mean > 0 {
					t = faint
				}
				var k float32
				if display {
					k = t * cw.at(mean) / (g * g)
				} else {
					k = t / (sl*max(0, mean) + o)
				}
				sr[x] += k * g * r[x]
				sg[x] += k * g * gr[x]
				sb[x] += k * g * b[x]
				sw[x] += k
			}
		}
	})
}

// codeWeights table 1/variance of linearised codes by their value: the slope of the
// curve turns an error of a code into an error of light.
type codeWeights struct{ w [1024]float32 }

// weights make the table; codes near black, where cameras crush, count less unless
// the frame is the brightest.
func (c *curves) weights(brightest bool) *codeWeights {
	var k codeWeights
	code := float32(0)
	for i := range k.w {
		v := float32(i) / float32(len(k.w)-1)
		for code < 1 && c.at(1, code) < v*v {
			code += 1. / 512
		}
		sd := c.slope(1, code) * codeSigma / 255
		w := 1 / (sd * sd)
		if !brightest {
			q := max(0, min(1, code*255/16))
			w *= q*q*(3-2*q) + faint
		}
		k.w[i] = w
	}
	return &k
}

// at looks up by the square root, which spreads the shadows.
func (k *codeWeights) at(v float32) float32 {
	i := int(sqrt(max(0, min(1, v)))*float32(len(k.w)-1) + 0.5)
	return k.w[i]
}
