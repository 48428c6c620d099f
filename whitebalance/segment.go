package whitebalance

import "math"

// surface is a connected area of one paint.
type surface struct {
	area   int
	mean   logRGB // of the picture
	paint  logRGB // relative to the others, after separate; white is found later
	share  float64
	height float64 // of its middle: 0 is the bottom of the picture, 1 the top
}

// Steps between neighbouring pixels are measured in units of these: a step of
// one is as likely paint as light. In the chroma planes a room lit by lamps at
// one end and a window at the other changes by about 0.02 a pixel at the size of
// measurement; paint that the eye tells apart steps by more than 0.05.
const (
	chromaStep = 0.05
	lumStep    = 0.25
)

type link struct {
	step float32
	a, b int32
}

// segment cuts the usable pixels into surfaces by the graph method of
// Felzenszwalb and Huttenlocher, Int. J. Comput. Vis. 59:167, 2004: two areas
// join when the step between them is small against the steps inside them.
func (v *view) segment() []surface {
	links := v.links()
	bySteps(links)
	f := newForest(v.w * v.h)
	const k = 6 // favours areas of more than k / chromatic step pixels
	for _, l := range links {
		a, b := f.root(l.a), f.root(l.b)
		if a == b {
			continue
		}
		if l.step <= f.inner[a]+k/float32(f.size[a]) && l.step <= f.inner[b]+k/float32(f.size[b]) {
			f.join(a, b, l.step)
		}
	}
	return v.collect(f)
}

// bySteps sorts links of steps under one by the bits of these, eleven at a time from the
// lowest on; what is equal keeps its order.
func bySteps(links []link) {
	const bits, size = 11, 1 << 11
	from, to := links, make([]link, len(links))
	for pass := range 3 {
		shift := pass * bits
		var at [size + 1]int
		for _, l := range from {
			at[math.Float32bits(l.step)>>shift%size+1]++
		}
		for i := range size {
			at[i+1] += at[i]
		}
		for _, l := range from {
			k := math.Float32bits(l.step) >> shift % size
			to[at[k]] = l
			at[k]++
		}
		from, to = to, from
	}
	copy(links, from)
}

// links lists the steps between usable neighbours, as far as they may lie within one
// surface.
func (v *view) links() []link {
	out := make([]link, 0, 2*v.w*v.h)
	add := func(i, j int) {
		if v.usable[i] && v.usable[j] {
			if step := v.step(i, j); step < 1 {
				out = append(out, link{step, int32(i), int32(j)})
			}
		}
	}
	for y := range v.h {
		for x := range v.w {
			i := y*v.w + x
			if x+1 < v.w {
				add(i, i+1)
			}
			if y+1 < v.h {
				add(i, i+v.w)
			}
		}
	}
	return out
}

func (v *view) step(i, j int) float32 {
	a := (v.c[0][i] - v.c[0][j]) / chromaStep
	b := (v.c[1][i] - v.c[1][j]) / chromaStep
	l := (v.c[2][i] - v.c[2][j]) / lumStep
	return a*a + b*b + l*l
}

// collect numbers the areas that are large enough to be measured.
func (v *view) collect(f *forest) []surface {
	smallest := max(12, v.w*v.h/2500)
	v.label = make([]int32, v.w*v.h)
	number := make(map[int32]int32)
	var all []surface
	for i := range v.label {
		v.label[i] = -1
		if !v.usable[i] {
			continue
		}
		r := f.root(int32(i))
		if int(f.size[r]) < smallest {
			continue
		}
		n, ok := number[r]
		if !ok {
			n = int32(len(all))
			number[r] = n
			all = append(all, surface{})
		}
		v.label[i] = n
		s := &all[n]
		s.area++
		s.height += 1 - (float64(i/v.w)+0.5)/float64(v.h)
		for k := range 3 {
			s.mean[k] += float64(v.c[k][i])
		}
	}
	for n := range all {
		s := &all[n]
		for k := range 3 {
			s.mean[k] /= float64(s.area)
		}
		s.height /= float64(s.area)
		s.share = float64(s.area) / float64(v.w*v.h)
	}
	return all
}

// forest is a union-find structure with the size of every tree and the largest
// step inside it.
type forest struct {
	parent []int32
	size   []int32
	inner  []float32
}

func newForest(n int) *forest {
	f := &forest{make([]int32, n), make([]int32, n), make([]float32, n)}
	for i := range f.parent {
		f.parent[i], f.size[i] = int32(i), 1
	}
	return f
}

func (f *forest) root(i int32) int32 {
	for f.parent[i] != i {
		f.parent[i] = f.parent[f.parent[i]]
		i = f.parent[i]
	}
	return i
}

func (f *forest) join(a, b int32, step float32) {
	if f.size[a] < f.size[b] {
		a, b = b, a
	}
	f.parent[b] = a
	f.size[a] += f.size[b]
	f.inner[a] = step // links come in rising order
}
