package raster

import "context"

// Guide fits a plane p, whose rows row gives (see Split), around every sample by a linear
// function a g + b of the plane g: the guided filter of He, Sun & Tang (IEEE Trans.
// Pattern Anal. Mach. Intell. 35, 2013) with windows of radius r, at most 4, in which the
// variance eps of g is none. a and b are the means of those of all windows that a sample
// lies in.
func Guide(ctx context.Context, g *Plane, r int, eps float32, row func(y int, scratch []float32) []float32) (a, b *Plane, err error) {
	a, b = Get(g.W, g.H), Get(g.W, g.H)
	err = BandsOf(ctx, g.H, 64, func(y0, y1 int) {
		f := newFit(g, r, eps, row, y0)
		defer f.release()
		for y := y0; y < y1; y++ {
			for f.fitted < min(g.H-1, y+r) {
				f.fit()
			}
			f.mean[fitA].Mean(a.Row(y), y)
			f.mean[fitB].Mean(b.Row(y), y)
		}
	})
	if err != nil {
		Put(a, b)
		return nil, nil, err
	}
	return a, b, nil
}

// The rows of which a fit takes means: the guide, what is to be fitted, their products,
// and the function that comes of it.
const (
	fitG = iota
	fitP
	fitGG
	fitGP
	fitA
	fitB
	fitRows
)

// fit goes down the rows of a band.
type fit struct {
	g             *Plane
	r             int
	eps           float32
	from          func(y int, scratch []float32) []float32
	added, fitted int // the last rows
	mean          [fitRows]*Boxes
	row           [fitRows][]float32
}

func newFit(g *Plane, r int, eps float32, row func(y int, scratch []float32) []float32, y0 int) *fit {
	f := &fit{g: g, r: r, eps: eps, from: row, added: max(0, y0-2*r) - 1, fitted: max(0, y0-r) - 1}
	for i := range f.mean {
		f.mean[i], f.row[i] = NewBoxes(g.W, g.H, r), make([]float32, g.W)
	}
	return f
}

func (f *fit) release() {
	for _, m := range f.mean {
		m.Release()
	}
}

// add takes the next row.
func (f *fit) add() {
	f.added++
	g := f.g.Row(f.added)
	p := f.from(f.added, f.row[fitP])[:len(g)]
	gg, gp := f.row[fitGG][:len(g)], f.row[fitGP][:len(g)]
	for x, v := range g {
		gg[x], gp[x] = v*v, v*p[x]
	}
	for i, row := range [4][]float32{g, p, gg, gp} {
		f.mean[i].Add(f.added, row)
	}
}

// fit makes the next row of the function.
func (f *fit) fit() {
	f.fitted++
	for f.added < min(f.g.H-1, f.fitted+f.r) {
		f.add()
	}
	for i := fitG; i <= fitGP; i++ {
		f.mean[i].Mean(f.row[i], f.fitted)
	}
	g, a, b := f.row[fitG], f.row[fitA], f.row[fitB]
	a, b = a[:len(g)], b[:len(g)]
	p, gg, gp := f.row[fitP][:len(g)], f.row[fitGG][:len(g)], f.row[fitGP][:len(g)]
	for x, m := range g {
		k := (gp[x] - m*p[x]) / (max(0, gg[x]-m*m) + f.eps)
		a[x], b[x] = k, p[x]-k*m
	}
	f.mean[fitA].Add(f.fitted, a)
	f.mean[fitB].Add(f.fitted, b)
}
