package raster

import (
	"math/bits"
	"sync"
	"unsafe"
)

// Buffers go back to a pool, filed by size rounded up to a quarter of a power of two:
// at most a fifth is wasted. The kernel hands out fresh memory one page fault at a
// time, which costs as much as a pass over the picture. Small ones lie in pools that
// the collector empties, large ones in a [store].
const large = 1 << 16 // samples

var (
	pool   sync.Map // size class -> *sync.Pool of *[]float32
	spares = store{most: 256 << 20}
)

func class(n int) int {
	if n <= 1024 {
		return 1024
	}
	step := 1 << (bits.Len(uint(n-1)) - 3)
	return (n + step - 1) / step * step
}

// take returns n samples, whose capacity is a size class.
func take(n int) []float32 {
	c := class(n)
	if c >= large {
		return spares.take(c)[:n]
	}
	p, ok := pool.Load(c)
	if !ok {
		p, _ = pool.LoadOrStore(c, &sync.Pool{})
	}
	if buf, _ := p.(*sync.Pool).Get().(*[]float32); buf != nil {
		return (*buf)[:n]
	}
	return make([]float32, n, c)
}

// give takes back what take returned; anything else is left to the collector.
func give(buf []float32) {
	buf = buf[:cap(buf)]
	if len(buf) < 1024 || class(len(buf)) != len(buf) {
		return
	}
	if len(buf) >= large {
		spares.give(buf)
	} else if p, ok := pool.Load(len(buf)); ok {
		p.(*sync.Pool).Put(&buf)
	}
}

// Get returns a plane whose samples are undefined: the caller writes every one.
func Get(w, h int) *Plane {
	check(w, h)
	return &Plane{W: w, H: h, Stride: w, Pix: take(w * h)}
}

// GetRGB returns a colour image whose samples are undefined.
func GetRGB(w, h int) *RGB { return &RGB{Get(w, h), Get(w, h), Get(w, h)} }

// Put gives planes back for reuse. The caller must hold no other reference to
// their pixels; nil planes and planes that did not come from Get are ignored.
func Put(planes ...*Plane) {
	for _, p := range planes {
		if p != nil {
			give(p.Pix)
			p.Pix = nil
		}
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

// GetWords returns n undefined words, a sensor's samples, from the same memory.
func GetWords(n int) []uint16 {
	buf := take(max(1, (n+1)/2))
	return unsafe.Slice((*uint16)(unsafe.Pointer(&buf[0])), 2*cap(buf))[:n]
}

// PutWords gives back what GetWords returned.
func PutWords(words []uint16) {
	if cap(words) > 0 {
		give(unsafe.Slice((*float32)(unsafe.Pointer(&words[:1][0])), cap(words)/2))
	}
}
