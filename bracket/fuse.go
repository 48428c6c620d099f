package bracket

import (
	"context"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// fuse makes the merged image, in the mosaic when the bracket stood still.
func (m *merger) fuse(ctx context.Context) error {
	m.scale()
	if m.still && m.shots[0].frame.Kind == rawfile.KindMosaic {
		return m.fuseMosaic(ctx)
	}
	for i, s := range m.shots {
		if s.frame.Kind == rawfile.KindDisplay {
			s.codes = s.curves.variances(i == len(m.shots)-1)
		}
	}
	return m.fuseRGB(ctx)
}

// scale turns the shots' relative gains into the radiance unit and derives what
// depends on it.
func (m *merger) scale() {
	k, abs := unit(m.ref.frame.Info)
	if m.ref.frame.Kind == rawfile.KindDisplay {
		k, abs = 1, false // a rendered file's white is not the sensor's
	}
	for _, s := range m.shots {
		before := s.gain
		s.gain = exp2(-s.refined) * float32(k)
		if s.bloom != nil {
			for i := range s.bloom.Pix {
				s.bloom.Pix[i] *= s.gain / before
			}
		}
	}
	out := m.out
	out.Absolute = abs
	out.Clip = m.shots[0].gain
	out.Noise = newNoise(float64(out.Clip), m.predict)
	out.Louder = m.louder()
	out.RangeEV = m.rangeEV()
	out.Reference = m.ref.index
	out.Camera, out.Info = m.ref.frame.Camera, m.ref.frame.Info
}

// fuseMosaic merges photosite by photosite in one pass over the rows.
func (m *merger) fuseMosaic(ctx context.Context) error {
	mosaics := make([]*rawfile.Mosaic, len(m.shots))
	tables := make([][4][]term, len(m.shots))
	for i, s := range m.shots {
		mosaics[i] = s.frame.Mosaic
		tables[i] = s.tables(i == 0)
	}
	var values [][4][]term
	if m.moved != nil {
		for _, s := range m.shots {
			values = append(values, s.values())
		}
	}
	dim := m.dim()
	w, h := m.ref.w, m.ref.h
	out := raster.Get(w, h)
	err := raster.Bands(ctx, h, func(y0, y1 int) {
		sum := make([]term, w)
		soft := make([]float32, w)
		rows, beside := make([][]uint16, len(mosaics)), make([][]uint16, len(mosaics))
		for y := y0; y < y1; y++ {
			for i, f := range mosaics {
				rows[i] = f.Pix[y*w : y*w+w]
			}
			dst := out.Row(y)
			mergeRow(dst, sum, rows, tables, y&1)
			if m.blooms(y) {
				m.mergeBloom(dst, sum, soft, rows, tables, y)
			}
			for x := range 2 {
				dim[y&1][x].again(dst, rows, x)
			}
			if m.moved != nil {
				for i, f := range mosaics {
					v := min(y^1, h-1)
					beside[i] = f.Pix[v*w : v*w+w]
				}
				m.moved.patchRow(dst, soft, rows, beside, values, tables, y)
			}
		}
	})
	if err != nil {
		return err
	}
	m.out.Mosaic, m.out.CFA = out, m.ref.frame.Mosaic.CFA
	return m.mendHot(ctx)
}

// mergeRow is the inner loop. Frames are added two at a time, which halves the
// traffic through the sums.
func mergeRow(dst []float32, sum []term, rows [][]uint16, tables [][4][]term, odd int) {
	for i := range rows {
		t0, t1 := tables[i][2*odd], tables[i][2*odd+1]
		if i == 0 {
			setTerms(sum, rows[i], t0, t1)
		} else {
			addTerms(sum, rows[i], t0, t1)
		}
	}
	for x, t := range sum[:len(dst)] {
		dst[x] = t.wv / t.w
	}
}

// blooms is true where a row lies beside something clipped that runs over.
func (m *merger) blooms(y int) bool {
	for _, s := range m.shots {
		if s.bloom != nil {
			for _, v := range s.bloom.Row(min(y/m.step, s.bloom.H-1)) {
				if v > 0 {
					return true
				}
			}
		}
	}
	return false
}

// mergeBloom is mergeRow with the frames' expected excess counted as variance: a
// weight 1/v becomes 1/(v + e^2).
func (m *merger) mergeBloom(dst []float32, sum []term, excess []float32, rows [][]uint16, tables [][4][]term, y int) {
	clear(sum)
	for i, s := range m.shots {
		t := tables[i][2*(y&1) : 2*(y&1)+2]
		if !s.bloomRow(excess, m.step, 0, y) {
			clear(excess)
		}
		for x, e := range excess {
			v := valueOf(t[x&1], rows[i][x])
			k := 1 / (1 + v.w*e*e)
			sum[x].w += v.w * k
			sum[x].wv += v.wv * k
		}
	}
	for x, t := range sum {
		dst[x] = t.wv / t.w
	}
}

func setTerms(sum []term, row []uint16, t0, t1 []term) {
	last := uint16(min(len(t0), len(t1)) - 1)
	row = row[:len(sum)]
	for x := 0; x+1 < len(sum); x += 2 {
		sum[x] = t0[min(row[x], last)]
		sum[x+1] = t1[min(row[x+1], last)]
	}
	if n := len(sum); n&1 == 1 {
		sum[n-1] = t0[min(row[n-1], last)]
	}
}

func addTerms(sum []term, row []uint16, t0, t1 []term) {
	last := uint16(min(len(t0), len(t1)) - 1)
	row = row[:len(sum)]
	for x := 0; x+1 < len(sum); x += 2 {
		a, b := t0[min(row[x], last)], t1[min(row[x+1], last)]
		s := sum[x : x+2 : x+2]
		s[0].w += a.w
		s[0].wv += a.wv
		s[1].w += b.w
		s[1].wv += b.wv
	}
	if n := len(sum); n&1 == 1 {
		a := t0[min(row[n-1], last)]
		sum[n-1].w += a.w
		sum[n-1].wv += a.wv
	}
}
