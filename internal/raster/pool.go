package raster

import (
	"math/bits"
	"sync"
)

// The kernel hands out fresh memory one page fault at a time, which costs as
// much as a pass over the picture. So big buffers go back to a pool, filed by
// size rounded up to a quarter of a power of two: at most a fifth is wasted.
var pool sync.Map // size class -> *sync.Pool of *[]float32

func class(n int) int {
	if n <= 1024 {
		return 1024
	}
	step := 1 << (bits.Len(uint(n-1)) - 3)
	return (n + step - 1) / step * step
}

// Get returns a plane whose samples are undefined: the caller writes every one.
func Get(w, h int) *Plane {
	check(w, h)
	c := class(w * h)
	p, ok := pool.Load(c)
	if !ok {
		p, _ = pool.LoadOrStore(c, &sync.Pool{})
	}
	buf, _ := p.(*sync.Pool).Get().(*[]float32)
	if buf == nil {
		b := make([]float32, c)
		buf = &b
	}
	return &Plane{W: w, H: h, Stride: w, Pix: (*buf)[:w*h]}
}

// GetRGB returns a colour image whose samples are undefined.
func GetRGB(w, h int) *RGB { return &RGB{Get(w, h), Get(w, h), Get(w, h)} }

// Put gives planes back for reuse. The caller must hold no other reference to
// their pixels; nil planes and planes that did not come from Get are ignored.
func Put(planes ...*Plane) {
	for _, p := range planes {
		if p == nil || cap(p.Pix) < 1024 || class(cap(p.Pix)) != cap(p.Pix) {
			continue
		}
		if q, ok := pool.Load(cap(p.Pix)); ok {
			buf := p.Pix[:cap(p.Pix)]
			q.(*sync.Pool).Put(&buf)
		}
		p.Pix = nil
	}
}

// PutRGB gives the planes of colour images back for reuse.
func PutRGB(images ...*RGB) {
	for _, m := range images {
		if m != nil {
			Put(m[0], m[1], m[2])
		}
	}
}
